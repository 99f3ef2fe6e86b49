"""Where the hand had moved the picture to in each frame of a recording, and where regions marked at a moment belong."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from shared.frame import Frame
from shared.inflow.curves import RegionCurve
from shared.inflow.parameters import Estimate, InflowParameters
from shared.motion.curves import MovingCurves
from shared.motion.follower import Follower
from shared.motion.pose import Motion, line_through
from shared.motion.reduced import LEAST_SIDE
from shared.recording import Recording
from shared.region import Region

NO_LOCK = "no-motion-lock"
"""Flag of every region where more frames than ``TOLERATED_SHARE`` could not be placed."""
OUT_OF_VIEW = "out-of-view"
"""Flag of a region that was out of the picture in some frames."""
TOLERATED_SHARE = 0.01
MOST_LACKING_SHARE = 0.2
"""A curve that lacks more of its frames than this is not read."""
_MARKING_S = 1.0
"""A region belongs where a line through the motion this long before and after it was marked has it: a finger follows no tremor."""
_NAMED_SPANS = 3


@dataclass(frozen=True)
class HandMotion:
    """What ``tapetum analyse --json`` says of the hand. The share is of the lit frames; shifts are of the picture's centre, from
    where it was on average at the beginning; millimetres are None where the scale is not known.
    """

    locked_share: float
    largest_shift_mm: float | None
    largest_shift_px: float
    largest_rotation_deg: float


class FollowedHand:
    """Goes through a recording's frames once, in order, as far as it is asked to, and remembers a motion for each."""

    def __init__(
        self, recording: Recording, seen_at_s: float = 0.0, seen_at: Mapping[str, float] | None = None
    ) -> None:
        """``seen_at_s`` is the moment, since the first frame, of the view in which regions lie that were not marked; ``seen_at``
        that of single ones, by their text.
        """
        self.recording = recording
        self.unseen: dict[str, int] = {}
        """Frames a region's curve lacks because it was out of the picture."""
        self._seen_at_s, self._seen_at = seen_at_s, dict(seen_at or {})
        self._follower = Follower(recording.calibration) if min(recording.camera.shape) >= LEAST_SIDE else None
        self._motions: list[Motion | None] = []
        """From the reference view; None for frames without light."""
        self._found_at: int | None = None

    def motion(self, number: int, frame: Frame | None = None) -> Motion | None:
        """Motion from the reference view to frame ``number`` (given if at hand); None where the tissue's place is not known.

        While nothing was ever found to follow, regions stay where they were marked.
        """
        self._go_to(number, frame)
        if self._found_at is None or number < self._found_at:
            return Motion()
        return self._sure(number)

    def place_at(self, seen_at_s: float) -> Motion:
        """Motion from the reference view to the view ``seen_at_s`` after the first frame, tremor smoothed out."""
        times_s = self._times_s()
        first, last = np.searchsorted(times_s, (seen_at_s - _MARKING_S, seen_at_s + _MARKING_S))
        first = min(int(first), len(times_s) - 1)
        last = max(min(int(last), len(times_s)), first + 1)
        self._go_to(last - 1)
        near = [(number, motion) for number in range(first, last) if (motion := self._sure(number)) is not None]
        if near:
            return line_through([times_s[number] for number, _ in near], [motion for _, motion in near], seen_at_s)
        earlier = (self._sure(number) for number in reversed(range(first)))
        return next((motion for motion in earlier if motion is not None), Motion())

    def _sure(self, number: int) -> Motion | None:
        motion = self._motions[number]
        return motion if motion is not None and motion.locked else None

    def place(self, region: Region) -> Motion:
        """Motion from the reference view to the view in which the region was marked."""
        return self.place_at(self._marked_at_s(region))

    def _marked_at_s(self, region: Region) -> float:
        if str(region) in self._seen_at:
            return self._seen_at[str(region)]
        first_ns = int(self.recording.frame_table.sensor_time_ns[0])
        for event in reversed(self.recording.events):
            text = event.fields.get("region")
            if event.kind in ("region", "reference") and isinstance(text, str) and Region.parse(text) == region:
                return max((event.time_ns - first_ns) / 1e9, 0.0)
        return self._seen_at_s

    def summary(self) -> HandMotion:
        """Figures over the whole recording."""
        self._go_to(self.recording.frames - 1)
        lit = [motion for motion in self._motions if motion is not None]
        from_start = self.place_at(0.0).back()
        placed = [from_start.then(motion) for motion in lit if motion.locked]
        shift_px = max((motion.shift_px for motion in placed), default=0.0)
        turn_deg = max((abs(motion.rotation_deg) for motion in placed), default=0.0)
        scale = self.recording.camera.mm_per_px
        shift_mm = None if scale is None or not placed else round(shift_px * scale, 3)
        return HandMotion(round(len(placed) / max(len(lit), 1), 4), shift_mm, round(shift_px, 2), round(turn_deg, 2))

    def judged(self, figures: InflowParameters, name: str, reference: str) -> InflowParameters:
        """A region's figures with what must be said of the hand beside them.

        There are none where the region's curve, or the reference's, lacks more than ``MOST_LACKING_SHARE`` of the lit frames: the
        highest point of what is left of a curve is not its peak.
        """
        flags = (*figures.flags, *self._flags(name))
        lacking = next((each for each in (name, reference) if self._lacking_share(each) > MOST_LACKING_SHARE), None)
        if lacking is None:
            return replace(figures, flags=flags)
        known = {field.name: getattr(figures, field.name) for field in fields(figures)}
        nothing = {key: Estimate() for key, value in known.items() if isinstance(value, Estimate)}
        why = f"no figures: {lacking} was lost from sight in {100 * self._lacking_share(lacking):.0f} % of the frames"
        return replace(figures, **nothing, first_pass=None, signal_to_noise=None, flags=(*flags, why))

    def _flags(self, name: str) -> tuple[str, ...]:
        known = [motion for motion in self._motions if motion is not None]
        lost = sum(not motion.locked for motion in known) > TOLERATED_SHARE * len(known)
        return (*((NO_LOCK,) if lost else ()), *((OUT_OF_VIEW,) if self.unseen.get(name) else ()))

    def _lacking_share(self, name: str) -> float:
        """Share of the lit frames that a region's curve is without."""
        lit = [number for number, motion in enumerate(self._motions) if motion is not None]
        unplaced = sum(self.motion(number) is None for number in lit)
        return (unplaced + self.unseen.get(name, 0)) / max(len(lit), 1)

    def warnings(self) -> tuple[str, ...]:
        """What could not be followed, and when; what left the picture."""
        unseen = tuple(
            f"{name} was out of the picture in {frames} frames, which its curve lacks"
            for name, frames in self.unseen.items()
            if frames
        )
        return (*self._lock_warnings(), *unseen)

    def _lock_warnings(self) -> tuple[str, ...]:
        if self._found_at is None:
            return ("nothing in the picture lets the hand's motion be followed: regions stay where they were marked",)
        lost = [number for number, motion in enumerate(self._motions) if motion is not None and not motion.locked]
        if not lost:
            return ()
        before = sum(number < self._found_at for number in lost)
        found = []
        if before:
            found.append(f"the first {before} frames show nothing to follow the hand's motion by: taken as they are")
        if len(lost) > before:
            spans = _spans(lost[before:], self._times_s())
            found.append(f"{len(lost) - before} frames without motion lock are left out of every curve: {spans}")
        return tuple(found)

    def _go_to(self, number: int, frame: Frame | None = None) -> None:
        while len(self._motions) <= number:
            at = len(self._motions)
            self._take(frame if frame is not None and at == number else self.recording.frame(at))

    def _take(self, frame: Frame) -> None:
        if not frame.lit or frame.light_level <= 0:
            self._motions.append(None)
            return
        if self._follower is None:
            self._motions.append(Motion(confidence=0.0, locked=False))
            return
        motion = self._follower.follow(frame.pixels)
        if self._found_at is None and motion.locked:
            # the reference view turned out to be the lit frame before this one
            before = max(number for number, known in enumerate(self._motions) if known is not None)
            self._motions[before] = Motion()
            self._found_at = before
        self._motions.append(motion)

    def _times_s(self) -> NDArray[np.float64]:
        table = self.recording.frame_table
        return np.asarray((table.sensor_time_ns - table.sensor_time_ns[0]) / 1e9, np.float64)


def followed_curves(
    hand: FollowedHand,
    regions: Sequence[Region],
    on_progress: Callable[[float], None],
    places: Mapping[Region, Motion] | None = None,
) -> dict[str, RegionCurve]:
    """Curves of regions that follow the tissue, by name. ``places`` are motions from the reference view to the view in which each
    region lies; without it, to the one in which it was marked.
    """
    recording = hand.recording
    places = {region: hand.place(region) for region in regions} if places is None else places
    curves = MovingCurves(recording.calibration, places)
    for number in range(recording.frames):
        frame = recording.frame(number)
        curves.add(frame, hand.motion(number, frame))
        on_progress((number + 1) / recording.frames)
    hand.unseen = {region.name: curves.unseen(region.name) for region in regions}
    return curves.curves()


def _spans(numbers: Sequence[int], times_s: NDArray[np.float64]) -> str:
    """Runs of frames as ``3.2 to 4.0 s, 7.1 s``, the longest few."""
    breaks = np.flatnonzero(np.diff(numbers) > 1) + 1
    runs = sorted(np.split(np.asarray(numbers), breaks), key=len, reverse=True)
    named = [
        f"{times_s[run[0]]:.1f} s" if len(run) == 1 else f"{times_s[run[0]]:.1f} to {times_s[run[-1]]:.1f} s"
        for run in sorted(runs[:_NAMED_SPANS], key=lambda run: int(run[0]))
    ]
    more = len(runs) - len(named)
    return ", ".join(named) + (f" and {more} shorter ones" if more > 0 else "")
