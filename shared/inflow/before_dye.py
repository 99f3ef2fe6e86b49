"""What frames tell before the dye of ambient light that the hand carries (ambient_told.py), while they go by one by one."""

from collections import deque

import numpy as np
from numpy.typing import NDArray

from shared.calibration import Calibration
from shared.frame import Counts
from shared.inflow.ambient_told import FEWEST_BY_THEMSELVES, AmbientTold, Moments
from shared.inflow.fall_off import FallOff
from shared.inflow.maps_motion import MovedBins, MovedFrame, places_in_frame
from shared.inflow.maps_samples import Samples
from shared.inflow.maps_slots import Bins, defects_of
from shared.motion.pose import Motion

F64 = NDArray[np.float64]

_SPELL_S = 0.5
_ALL, _LATEST = 0, 1
"""Places of what counts: all but the latest spells, which hold too few frames yet for a line by themselves."""
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
        self._samples = Samples.of(_HELD_BACK + 3, self._shape)
        self._free, self._waiting = deque(range(_LATEST + 1, _HELD_BACK + 3)), deque[tuple[int, float]]()
        self._within: Moments | None = None
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
        latest = [_LATEST]
        if np.isinf(self.until_s):
            latest += [place for place, _ in self._waiting]
        within = Moments.within(self._samples, latest)
        if self._within is not None:
            within = within.plus(self._within)
        return AmbientTold.of(self._flat, Moments.of(*self._samples.together([_ALL, *latest])), within)

    def _close(self, since_s: float) -> None:
        place = self._free.popleft()
        self._samples.close(place)
        self._waiting.append((place, since_s))
        if self._is_brighter(place):
            self.until_s = self._waiting[0][1]
        elif len(self._waiting) > _HELD_BACK:
            oldest, _ = self._waiting.popleft()
            self._samples.join(_LATEST, oldest)
            if self._samples.held[_LATEST, 0] >= FEWEST_BY_THEMSELVES:
                within = Moments.within(self._samples, [_LATEST])
                self._within = within if self._within is None else self._within.plus(within)
                self._samples.move(_LATEST, _ALL)
            self._free.append(oldest)

    def _is_brighter(self, place: int) -> bool:
        """Whether a part of the picture is, beside the first spells."""
        first = next((place for place in (_ALL, _LATEST) if self._samples.held[place, 0]), self._waiting[0][0])
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
