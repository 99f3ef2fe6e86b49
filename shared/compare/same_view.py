"""Where the tissue of one recording is found in another: several moments of both are matched, and must agree."""

from collections.abc import Sequence
from dataclasses import dataclass

from shared.calibration import Calibration
from shared.frame import Counts
from shared.motion.pose import Motion
from shared.motion.reduced import Reducer
from shared.motion.registration import Registration, Sighting

_SAME_PLACE_SHARE = 0.01
"""Matches whose places differ by less than this share of the picture's width show the same place."""
_SAME_TURN_DEG = 1.0
_SURE = 0.6
"""A single match must be as sure as this to count; two that agree need not, but then it is said."""


@dataclass(frozen=True, eq=False)
class View:
    """A raw (height, width) uint16 picture, and the motion from its recording's reference view to it."""

    pixels: Counts
    place: Motion


@dataclass(frozen=True)
class Alignment:
    """``pose`` is from the first recording's reference view to the second's. Of ``tried`` pairs of pictures ``locked`` matched, and
    ``agreeing`` of those, the best among them, put the tissue at the same place.
    """

    pose: Motion
    tried: int
    locked: int
    agreeing: int

    @property
    def is_found(self) -> bool:
        """Whether the two show the same: two matches that agree, or one that is sure by itself."""
        return self.pose.locked and (self.agreeing > 1 or self.pose.confidence >= _SURE)

    @property
    def doubts(self) -> tuple[str, ...]:
        """What speaks against it."""
        found = []
        if self.agreeing < self.locked:
            found.append(
                f"{self.locked - self.agreeing} of {self.locked} matches put the second view elsewhere: look at both"
            )
        if self.pose.confidence < _SURE:
            found.append(
                "the second view was found with little confidence: look whether the regions lie on the same tissue"
            )
        return tuple(found)


def alignment(
    first: Sequence[View], second: Sequence[View], first_calibration: Calibration, second_calibration: Calibration
) -> Alignment:
    """Match each view of the first recording with each of the second.

    Dye makes another picture of the same tissue, and nobody knows which moments of two recordings resemble each other, so all pairs
    are tried; the most agreed place wins, then the surest. Raises Refused where pictures differ in size or are too small.
    """
    reducers = Reducer(first_calibration), Reducer(second_calibration)
    references = [(Registration.of(view.pixels, reducers[0]), view.place) for view in first]
    poses = []
    for view in second:
        sighting = Sighting.of(reducers[1].texture(view.pixels))
        for registration, place in references:
            found = registration.seek(sighting)
            if found.locked:
                poses.append(place.then(found).then(view.place.back()))
    tried = len(first) * len(second)
    if not poses:
        return Alignment(Motion(confidence=0.0, locked=False), tried, 0, 0)
    width = first_calibration.camera.width

    def agreeing(pose: Motion) -> int:
        return sum(_is_same_place(pose, other, width) for other in poses)

    best = max(poses, key=lambda pose: (agreeing(pose), pose.confidence))
    return Alignment(best, tried, len(poses), agreeing(best))


def _is_same_place(one: Motion, other: Motion, width_px: int) -> bool:
    apart = one.then(other.back())
    return apart.shift_px < _SAME_PLACE_SHARE * width_px and abs(apart.rotation_deg) < _SAME_TURN_DEG
