"""Where the tissue of one recording is found in another: several moments of both are matched, and must agree.

A hand never comes back to quite the same distance, and a hundredth of it makes a wide picture unlike itself towards its edges. So
the second recording's pictures are tried at other sizes too, the nearest first, until the first's are found in them; then that size
is taken at which the surest pair is most alike.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shared.calibration import Calibration
from shared.frame import Counts
from shared.motion.follower import reducers_of
from shared.motion.pose import Motion
from shared.motion.reduced import Reducer
from shared.motion.registration import Registration, Sighting
from shared.motion.resample import into_reference
from shared.signal import DefectSources

SAME_PLACE_SHARE = 0.01
"""Matches whose places differ by less than this share of the picture's width show the same place."""
_SAME_TURN_DEG = 1.0
_SURE = 0.6
"""A single match must be as sure as this to count; two that agree need not, but then it is said."""
_SIZE_STEP, _MOST_STEPS = 0.06, 5
"""Pictures whose sizes differ by half a step are still found in each other; steps either way: up to a third nearer or farther."""
_NEAR, _MOST_LOOKS, _SETTLED = 0.015, 5, 0.001
"""How far about a size that is nearly right others are looked at, how often, and when that has come to rest."""
_OTHER_SIZE = 3.0
"""A size that differs from 1 by less than so many of its standard uncertainties is taken for the same."""


@dataclass(frozen=True, eq=False)
class View:
    """A raw (height, width) uint16 picture, and the motion from its recording's reference view to it."""

    pixels: Counts
    place: Motion


@dataclass(frozen=True)
class Alignment:
    """``pose`` is from the first recording's reference view to the second's, by the ``pair`` of views that tells it best. Of
    ``tried`` pairs ``locked`` matched, and ``agreeing`` of those, that one among them, put the tissue at the same place.
    """

    pose: Motion
    tried: int
    locked: int
    agreeing: int
    pair: tuple[int, int] = (0, 0)

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
    are tried; the most agreed place wins, and there the pair with the smallest uncertainty. Both cameras' pictures have one size.
    Raises Refused where that is too small.
    """
    pairs = _Pairs(first, second, first_calibration, second_calibration)
    as_they_are = found = pairs.matched(1.0)
    if found.pose.confidence < _SURE:
        tries = (pairs.matched(size, level=1) for size in _other_sizes())
        # so many more tries ask for more than one match of any kind
        found = next((each for each in tries if each.agreeing > 1 and each.pose.confidence >= _SURE), found)
    for reach in (_SIZE_STEP, *(_MOST_LOOKS * (_NEAR,))):
        if not found.is_found:
            return as_they_are
        size, before = pairs.most_alike_size(found, reach), found.pose.magnification
        if size == before:
            break
        found = pairs.matched(size)  # another pair may be the surest now
        if abs(size - before) < _SETTLED:
            break
    return found


def _other_sizes() -> Iterator[float]:
    """The nearest first."""
    for step in range(1, _MOST_STEPS + 1):
        yield (1.0 + _SIZE_STEP) ** step
        yield (1.0 + _SIZE_STEP) ** -step


class _Pairs:
    """All pairs of a view of the first and one of the second, which is seen as from another distance."""

    def __init__(
        self,
        first: Sequence[View],
        second: Sequence[View],
        first_calibration: Calibration,
        second_calibration: Calibration,
    ) -> None:
        self._first, self._second = first, second
        self._levels = tuple(zip(reducers_of(first_calibration), reducers_of(second_calibration), strict=True))
        self._sources = DefectSources.around(second_calibration.defects)
        self._shape = second_calibration.camera.shape

    def matched(self, size: float, level: int = 0) -> Alignment:
        """With the second's pictures taken to show everything ``size`` times as large as the first's; ``level`` 0 is the finest."""
        mine, theirs = self._levels[min(level, len(self._levels) - 1)]
        references = [Registration.of(view.pixels, mine) for view in self._first]
        poses: list[tuple[Motion, tuple[int, int]]] = []
        for other, view in enumerate(self._second):
            sighting = self._sighting(other, size, theirs)
            for one, registration in enumerate(references):
                found = registration.seek(sighting)
                if found.locked:
                    larger = found.then(Motion(magnification=size))
                    poses.append((self._first[one].place.then(larger).then(view.place.back()), (one, other)))
        tried = len(self._first) * len(self._second)
        if not poses:
            return Alignment(Motion(confidence=0.0, locked=False), tried, 0, 0)
        groups = [[pair for pair in poses if _is_same_place(pose, pair[0], self._shape[1])] for pose, _ in poses]
        most = max(range(len(poses)), key=lambda at: (len(groups[at]), poses[at][0].confidence))
        pose, pair = min(groups[most], key=lambda pair: pair[0].u_px)
        return Alignment(pose, tried, len(poses), len(groups[most]), pair)

    def most_alike_size(self, found: Alignment, reach: float) -> float:
        """How large the second shows everything, by the surest pair: by what share more or less, ``reach`` at most.

        Looked at half a texel apart at the picture's edge, and with the finest texels: coarser ones are pulled by the dye.
        """
        one, other = found.pair
        turn_deg = self._first[one].place.back().then(found.pose).then(self._second[other].place).rotation_deg
        mine, theirs = self._levels[0]
        texels, middle = max(mine.rows, mine.columns), found.pose.magnification
        registration, step = Registration.of(self._first[one].pixels, mine), middle / texels
        most = round(reach * texels)
        seen = [
            registration.match(self._sighting(other, middle + k * step, theirs), turn_deg)
            for k in range(-most, most + 1)
        ]
        alike = [motion.likeness if motion.locked else 0.0 for motion in seen]
        best = int(np.argmax(alike))
        size = middle + (best - most) * step
        if 0 < best < len(alike) - 1:
            before, here, after = alike[best - 1 : best + 2]
            size += 0.5 * (before - after) / (before - 2.0 * here + after) * step
        sure_to = found.pose.u_px / float(np.hypot(*self._shape) / np.sqrt(12.0))
        return 1.0 if abs(size - 1.0) < _OTHER_SIZE * sure_to else size

    def _sighting(self, number: int, size: float, reducer: Reducer) -> Sighting:
        """A view of the second, everything in it made ``size`` times smaller."""
        pixels = self._second[number].pixels
        if size == 1.0:
            return Sighting.of(reducer.texture(pixels))
        plane = pixels.astype(np.float32)
        self._sources.replace(plane)
        smaller = into_reference(plane, Motion(magnification=size), np.empty_like(plane))
        return Sighting.of(reducer.texture(np.rint(_to_the_edge(smaller)).astype(np.uint16)))


def _to_the_edge(plane: NDArray[np.float32]) -> NDArray[np.float32]:
    """The plane with the frame of nan round it filled by what is nearest."""
    rows, columns = (np.flatnonzero(np.isfinite(plane).any(axis=axis)) for axis in (1, 0))
    seen = plane[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    around = [(int(part[0]), size - 1 - int(part[-1])) for part, size in zip((rows, columns), plane.shape, strict=True)]
    return np.pad(seen, around, mode="edge")


def _is_same_place(one: Motion, other: Motion, width_px: int) -> bool:
    apart = one.then(other.back())
    return apart.shift_px < SAME_PLACE_SHARE * width_px and abs(apart.rotation_deg) < _SAME_TURN_DEG
