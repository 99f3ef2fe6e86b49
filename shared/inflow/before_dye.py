"""What frames tell before the dye of ambient light that the hand carries (ambient_told.py), while they go by one by one."""

from collections import deque

import numpy as np
from numpy.typing import NDArray

from shared.calibration import Calibration
from shared.frame import Counts
from shared.inflow.ambient_told import AmbientTold, Moments
from shared.inflow.fall_off import FallOff
from shared.inflow.maps_motion import MovedBins, MovedFrame, places_in_frame
from shared.inflow.maps_samples import Samples
from shared.inflow.maps_slots import Bins, defects_of
from shared.motion.pose import Motion

F64 = NDArray[np.float64]

_SPELL_S = 0.5
_HELD_BACK = 3
"""Spells of which it is waited whether dye shows right after them: its first trace is then in none that counts."""
_BRIGHTER = 1.25
"""Times what it was: what the hand carries of ambient light hardly makes a part of the picture so, dye does within seconds."""
_PARTS = (6, 8)
"""Of the picture, down and across, each of which is looked at."""
_DARK = 0.1
"""Of the brightest part: a darker one holds no tissue."""


class BeforeDye:
    """Takes the frames of a run in order, with where the hand held them, until a part of the picture grows brighter.

    ``until_s``: frames before count; infinite while none did.
    """

    def __init__(self, calibration: Calibration) -> None:
        bins = Bins.of(calibration)
        self._camera_shape, self._shape = calibration.camera.shape, bins.pixels.shape
        self._flat = FallOff.of(bins)
        self._moved = MovedBins(calibration, defects_of(calibration))
        # the first place holds all that counts
        self._samples = Samples.of(_HELD_BACK + 2, self._shape)
        self._free, self._waiting = deque(range(1, _HELD_BACK + 2)), deque[tuple[int, float]]()
        self._within: list[Moments] = []
        self._since_s: float | None = None
        self.until_s = np.inf

    def take(self, pixels: Counts, motion: Motion, factor: float, time_s: float) -> None:
        """A lit frame; ``factor`` turns its counts into signal."""
        if not np.isinf(self.until_s):
            return
        if self._since_s is not None and time_s >= self._since_s + _SPELL_S:
            self._close(self._since_s)
            self._since_s = None
        if self._since_s is None:
            self._since_s = time_s
        frame = MovedFrame(pixels, places_in_frame(motion, self._camera_shape), factor)
        self._samples.add(self._moved, [frame], self._shape)

    def told(self) -> AmbientTold:
        """What they tell."""
        counted, within = [0], self._within
        if np.isinf(self.until_s):
            waiting = [place for place, _ in self._waiting]
            counted, within = [*counted, *waiting], [*within, *(self._moments(place) for place in waiting)]
        whole = Moments.of(*self._samples.together(counted))
        alone = Moments(whole.mean, whole.middle_px, np.zeros_like(whole.goes), np.zeros_like(whole.spread))
        for one in within:
            alone = alone.plus(one)
        return AmbientTold.of(self._flat, whole, alone)

    def _close(self, since_s: float) -> None:
        place = self._free.popleft()
        self._samples.close(place)
        self._waiting.append((place, since_s))
        if self._is_brighter(place):
            self.until_s = self._waiting[0][1]
        elif len(self._waiting) > _HELD_BACK:
            oldest, _ = self._waiting.popleft()
            moments = self._moments(oldest)
            self._within = [self._within[0].plus(moments)] if self._within else [moments]
            self._samples.join(0, oldest)
            self._free.append(oldest)

    def _moments(self, place: int) -> Moments:
        return Moments.of(self._samples.sums[place].astype(np.float64), self._samples.held[place])

    def _is_brighter(self, place: int) -> bool:
        """Whether a part of the picture is, beside the first spells."""
        first = 0 if self._samples.held[0, 0] else self._waiting[0][0]
        before, now = self._parts(first), self._parts(place)
        with np.errstate(invalid="ignore"):
            return bool(((now > _BRIGHTER * before) & (before > _DARK * np.nanmax(before, initial=0.0))).any())

    def _parts(self, place: int) -> F64:
        """Means of a place's signal over parts of the picture, nan where none of it was seen in all frames."""
        mean = self._samples.sums[place, 0] / self._samples.held[place, 0]
        bands = np.array_split(mean, _PARTS[0])
        parts = [part for band in bands for part in np.array_split(band, _PARTS[1], axis=1)]
        seen = [part[np.isfinite(part)] for part in parts]
        return np.array([each.mean() if each.size else np.nan for each in seen])
