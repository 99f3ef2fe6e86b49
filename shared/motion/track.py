"""Where the tissue of one view lay in every frame of a run so far, where regions marked at a moment belong, and what was lost."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from shared.calibration import Calibration
from shared.frame import Frame
from shared.motion.carried import carried
from shared.motion.follower import Follower
from shared.motion.pose import Motion, place_near
from shared.motion.reduced import LEAST_SIDE, Reducer
from shared.region import Region

LOST_S = 1.0
"""Tissue that was not found for so long may be put anew by hand."""
_NAMED_SPANS = 3
_PATIENCE_FRAMES = 60
"""Frames with light after which a run in which nothing was found says so."""


@dataclass(eq=False)
class Track:
    """Takes frames in order and remembers a motion for each: from the reference view; None for frames without light.

    The reference view is the first one that the next frame shows again. ``mark`` says where a region was put; where the tissue is
    lost, a region that is put anew says where the reference view lies now, and the track goes on from there.
    """

    calibration: Calibration
    reducers: Sequence[Reducer] = ()
    """Of the calibration, lent so that making a track takes no time; none where pictures are too small to be followed."""
    motions: list[Motion | None] = field(default_factory=list)
    times_s: list[float] = field(default_factory=list)
    """Since the first frame, when each was read out."""
    found_at: int | None = None
    """Number of the frame that is the reference view, None as long as nothing was found to follow."""
    joined_s: list[float] = field(default_factory=list)
    """When regions were put anew."""
    _joined: Motion = field(default_factory=Motion)
    _marks: dict[str, tuple[Region, float]] = field(default_factory=dict)
    _first_ns: int | None = None
    _last_found_s: float = 0.0

    def __post_init__(self) -> None:
        self._follower = self._new_follower()

    def take(self, frame: Frame) -> Motion | None:
        """Take the next frame; returns the motion to it as ``motion`` does."""
        if self._first_ns is None:
            self._first_ns = frame.sensor_time_ns
        self.times_s.append((frame.sensor_time_ns - self._first_ns) / 1e9)
        self.motions.append(self._followed(frame) if frame.lit and frame.light_level > 0 else None)
        return self.motion(len(self.motions) - 1)

    def motion(self, number: int) -> Motion | None:
        """Motion from the reference view to frame ``number``; None where the tissue's place is not known.

        While nothing was ever found to follow, regions stay where they were marked.
        """
        return Motion() if self.found_at is None or number < self.found_at else self._sure(number)

    @property
    def lost_s(self) -> float:
        """For how long the tissue has not been found; 0 while it is, or where nothing was ever found."""
        return 0.0 if self.found_at is None else max(self.times_s[-1] - self._last_found_s, 0.0)

    def mark(self, region: Region, at_s: float) -> None:
        """A region lies so in the view ``at_s`` after the first frame. Put anew while the tissue is lost, it shows where it is."""
        before = self._marks.get(region.name)
        if before is not None and before[0] == region:
            return
        if before is not None and self.times_s and self.lost_s > LOST_S:
            x, y = _middle(before[0])
            matrix = self.place_at(before[1]).back().to_frame(self.calibration.camera.shape)
            old_x, old_y = matrix @ (x, y, 1.0)
            new_x, new_y = _middle(region)
            self._joined = Motion(float(new_x - old_x), float(new_y - old_y))
            self._follower = self._new_follower()
            self.joined_s.append(at_s)
        self._marks[region.name] = (region, at_s)

    def place(self, region: Region) -> Motion:
        """Motion from the reference view to the view in which the region was marked last."""
        known = self._marks.get(region.name)
        return self.place_at(known[1] if known is not None and known[0] == region else 0.0)

    def in_reference_view(self, region: Region) -> Region:
        """A marked region as it lies in the reference view."""
        return carried(region, self.place(region).back(), self.calibration.camera.shape)

    def place_at(self, seen_at_s: float) -> Motion:
        """Motion from the reference view to the view ``seen_at_s`` after the first frame, tremor smoothed out."""
        if not self.times_s:
            return Motion()
        if seen_at_s in self.joined_s:
            return self._joined
        return place_near(self.times_s, self._sure, seen_at_s)

    @property
    def trouble(self) -> str:
        """What must be said while the run goes on; empty where the tissue is found."""
        if self.lost_s > LOST_S:
            return (
                f"the tissue has been lost from sight for {self.lost_s:.0f} s, and the maps lack these frames: "
                "go back to the same view, or mark the reference anew on the same tissue"
            )
        if self.found_at is None and self.lit > _PATIENCE_FRAMES:
            return "nothing in the picture lets the hand's motion be followed: hold still, or the maps blur"
        return ""

    @property
    def lit(self) -> int:
        """Frames with light."""
        return sum(motion is not None for motion in self.motions)

    @property
    def lost(self) -> list[int]:
        """Numbers of the frames with light whose place is not known."""
        return [number for number, motion in enumerate(self.motions) if motion is not None and not motion.locked]

    @property
    def place_u_px(self) -> float | None:
        """Standard uncertainty of a frame's place along each axis, root mean square over the frames found; None without any."""
        squares = [motion.u_px**2 for motion in self.motions if motion is not None and motion.locked]
        return math.sqrt(sum(squares) / len(squares)) if squares else None

    @property
    def shared_u_px(self) -> tuple[float, ...]:
        """What of that the frames of each second share, root mean square; that of the second before where none was found."""
        seconds: list[list[float]] = [[] for _ in range(int(self.times_s[-1]) + 1 if self.times_s else 0)]
        for at_s, motion in zip(self.times_s, self.motions, strict=True):
            if motion is not None and motion.locked:
                seconds[int(at_s)].append(motion.shared_px**2)
        found, last = [], 0.0
        for squares in seconds:
            last = round(math.sqrt(sum(squares) / len(squares)), 4) if squares else last
            found.append(last)
        return tuple(found)

    def warnings(self) -> tuple[str, ...]:
        """What could not be followed, and when; what was joined by hand."""
        if self.found_at is None:
            return ("nothing in the picture lets the hand's motion be followed: regions stay where they were marked",)
        lost = self.lost
        before = sum(number < self.found_at for number in lost)
        found = []
        if before:
            found.append(f"the first {before} frames show nothing to follow the hand's motion by: taken as they are")
        if len(lost) > before:
            spans = _spans(lost[before:], np.array(self.times_s))
            found.append(f"{len(lost) - before} frames without motion lock are left out of every curve: {spans}")
        if self.joined_s:
            moments = ", ".join(f"{at_s:.1f} s" for at_s in self.joined_s)
            found.append(f"the tissue was lost, and shown again by hand, at {moments}: as sure as that hand")
        return tuple(found)

    def _new_follower(self) -> Follower | None:
        if min(self.calibration.camera.shape) < LEAST_SIDE:
            return None
        return Follower(self.calibration, self.reducers)

    def _followed(self, frame: Frame) -> Motion:
        if self._follower is None:
            return Motion(confidence=0.0, locked=False)
        is_new = not self._follower.views
        found = self._follower.follow(frame.pixels)
        if not found.locked:
            return found
        self._last_found_s = self.times_s[-1]
        if is_new:
            # the view turned out to be the lit frame before this one
            before = max(number for number, known in enumerate(self.motions) if known is not None)
            self.motions[before] = self._joined
            if self.found_at is None:
                self.found_at = before
        return self._joined.then(found)

    def _sure(self, number: int) -> Motion | None:
        motion = self.motions[number]
        return motion if motion is not None and motion.locked else None


def _middle(region: Region) -> tuple[float, float]:
    """Of the box round it, x and y in pixels."""
    left, top, right, bottom = region.bounds
    return (left + right - 1) / 2, (top + bottom - 1) / 2


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
