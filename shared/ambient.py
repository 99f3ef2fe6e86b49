"""Ambient infrared: measured in frames without light between those with it, and taken off.

Counts of a lit frame above dark are the ring's and the room's. The room's go with exposure and gain but not with the ring's level,
so an unlit frame measures them alone: as a rate, counts a millisecond at unit gain.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from shared.calibration import Calibration
from shared.frame import CameraDescription, Frame
from shared.half_lit import half_lit
from shared.light_steps import RatesAtSteps, against_first, are_measured
from shared.signal import DefectSources, Measured, RegionPixels, counts_variance

F64 = NDArray[np.float64]

Way = Literal["whole", "steps", "nothing"]
"""What of the ambient light is taken off: all of it, what steps of the ring's level made of it, or nothing."""

LONGEST_BETWEEN_S = 3.0
"""Ambient light is known in lit frames no farther than this from an unlit one; farther, it would be guessed."""

MOST_UNMEASURED_SHARE = 0.1
"""Where more of the lit frames are farther from an unlit one, nothing is taken off: the curves would lack too much."""

LEAST_SPELLS = 3
"""Fewer dark spells between lit frames are somebody's finger, and not unlit frames on purpose."""

NEW_SHARE = 0.25
"""Of an unlit frame in the running mean."""

_BAND_ROWS = 64
_ALL_NEW = 20.0
"""How much older what began anew counts as, in powers of e: nothing of what was before is left."""

JUMP_SIGMAS = 8.0
"""A change of the whole picture's mean by more than so many standard uncertainties (a lamp switched) starts the mean anew."""


def unmeasured(times_s: F64, lit: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Lit frames so far from every unlit one that ambient light would be guessed, (frames,) each."""
    dark_s = times_s[~lit]
    if not dark_s.size:
        return lit.copy()
    after = np.searchsorted(dark_s, times_s)
    to_next = np.where(after < dark_s.size, dark_s[np.minimum(after, dark_s.size - 1)] - times_s, np.inf)
    since_last = np.where(after > 0, times_s - dark_s[np.maximum(after - 1, 0)], np.inf)
    return np.asarray(lit & (np.minimum(to_next, since_last) > LONGEST_BETWEEN_S))


def is_followed(times_s: F64, lit: NDArray[np.bool_]) -> bool:
    """Whether unlit frames come often enough for ambient light to be taken off; lit ones far from them are then left out."""
    if not lit.any():
        return False
    between_lit = lit[np.argmax(lit) :]
    if np.count_nonzero(between_lit[1:] & ~between_lit[:-1]) < LEAST_SPELLS:
        return False
    return bool(np.count_nonzero(unmeasured(times_s, lit)) <= MOST_UNMEASURED_SHARE * np.count_nonzero(lit))


def as_rate(unlit: Frame) -> Frame:
    """The frame as if under full light: what is called signal of it is then the rate of its ambient light."""
    return unlit.with_light(1.0, lit=True)


def between(times_s: F64, dark_s: F64, rates: F64, rates_u: F64) -> tuple[F64, F64]:
    """Rates at ``times_s``, and their uncertainty: linear between unlit frames at ``dark_s`` (rising), constant beyond them."""
    values = np.interp(times_s, dark_s, rates)
    right = np.clip(np.searchsorted(dark_s, times_s), 1, max(dark_s.size - 1, 1))
    right = np.minimum(right, dark_s.size - 1)
    left = np.maximum(right - 1, 0)
    span = np.where(right > left, dark_s[right] - dark_s[left], 1.0)
    share = np.clip((times_s - dark_s[left]) / span, 0.0, 1.0)
    return values, np.hypot((1.0 - share) * rates_u[left], share * rates_u[right])


def taken_off(times_s: F64, levels: F64) -> Way:
    """What of the ambient light is taken off a run's lit frames; ``times_s`` and ``levels`` (frames,), half lit ones left out."""
    if is_followed(times_s, levels > 0):
        return "whole"
    return "steps" if are_measured(times_s, levels) else "nothing"


@dataclass(frozen=True, eq=False)
class Counting:
    """Frames of a region that count, ambient light taken off: ``rows`` as ``AmbientTrack.taken_off`` has them; ``by_ambient``
    (moments, frames) is what each of them would change if the ambient light measured at a moment were one standard uncertainty
    less, where many frames have that in common.
    """

    rows: F64
    by_ambient: F64 | None = None


class AmbientTrack:
    """Light of a recording's frames: which of them count, and the ambient light of regions, from its unlit frames."""

    def __init__(self, camera: CameraDescription) -> None:
        self._rolling = camera.shutter == "rolling"
        self._times_s: list[float] = []
        self._levels: list[float] = []
        self._outputs: list[float] = []
        self._rates: dict[str, list[tuple[float, float, float]]] = {}

    def see(self, time_s: float, level: float, output: float) -> None:
        """Every frame in order: middle of its exposure, level of the ring, 0 where it was off, and its light output then."""
        self._times_s.append(time_s)
        self._levels.append(level)
        self._outputs.append(output)

    def measured(self, name: str, time_s: float, rate: Measured) -> None:
        """What an unlit frame (``as_rate``) gave for a region."""
        self._rates.setdefault(name, []).append((time_s, rate.value, rate.u))

    @property
    def is_followed(self) -> bool:
        """Whether there are unlit frames enough for all of the ambient light to be taken off."""
        return is_followed(np.array(self._times_s), np.array(self._levels) > 0)

    @property
    def way(self) -> Way:
        """What of the ambient light is taken off."""
        times_s, levels = np.array(self._times_s), np.array(self._levels)
        whole = ~half_lit(levels, self._rolling)
        return taken_off(times_s[whole], levels[whole])

    @property
    def first_output(self) -> float:
        """Of the first lit frame that is not half lit; 1 where there is none."""
        levels = np.array(self._levels)
        lit = np.flatnonzero((levels > 0) & ~half_lit(levels, self._rolling))
        return self._outputs[int(lit[0])] if lit.size else 1.0

    def taken_off(self, name: str, rows: F64, carried: F64 | float = 0.0) -> Counting:
        """``rows`` of frames that count, a frame each: time, signal, its uncertainty, saturated, light output, and what else there
        is. ``carried`` (unlit frames that show the region,) is what of their rates at steps the hand's way made, which is left out.

        Half lit ones do not. Where ambient light is followed it is taken off, its noise counted, and frames of which it is not
        known are left out too; where it was measured at each step of the level, what steps made of it is. A region that no unlit
        frame shows keeps those of which nothing is to be taken off.
        """
        times_s, levels = np.array(self._times_s), np.array(self._levels)
        out = half_lit(levels, self._rolling)
        way = self.way
        if way == "whole":
            out = out | unmeasured(times_s, levels > 0)
        rows = rows[~np.isin(rows[:, 0], times_s[out])]
        if way == "nothing":
            return Counting(rows)
        dark_s, rates, rates_u = np.array(self._rates.get(name, []), np.float64).reshape(-1, 3).T
        if way == "steps":
            known = RatesAtSteps.of(dark_s, rates - carried, rates_u, times_s[~out], levels[~out])
            return _against_first(rows, known, self.first_output)
        if not dark_s.size:
            return Counting(rows[:0])
        ambient, ambient_u = between(rows[:, 0], dark_s, rates, rates_u)
        rows[:, 1] -= ambient / rows[:, 4]
        rows[:, 2] = np.hypot(rows[:, 2], ambient_u / rows[:, 4])
        return Counting(rows)


def _against_first(rows: F64, known: RatesAtSteps, first_output: float) -> Counting:
    changed_by = against_first(rows[:, 4], first_output)
    if not known.rates.size:  # never seen in the dark: what was taken at another level is not known
        return Counting(rows[changed_by == 0])
    by_rate = known.shares(rows[:, 0]) * changed_by
    rows[:, 1] -= known.rates @ by_rate
    by_ambient = known.rates_u[:, None] * by_rate
    return Counting(rows, by_ambient[by_ambient.any(axis=1)])


class RunningRate:
    """Recursive mean of unlit frames: ``rate`` (height, width) float32, counts a millisecond at unit gain, before the flat.

    Its noise is ``noise_share`` of a frame's variance; of an earlier mean it keeps exp(its ``age`` - ``age``), and so much of that
    one's noise (covariance of a recursive mean with an earlier one, by its definition).
    """

    def __init__(self, shape: tuple[int, int]) -> None:
        self.rate = np.zeros(shape, np.float32)
        self.mean = 0.0
        self.noise_share = 0.0
        self.age = 0.0
        self.frames = 0
        self._mean_u = 0.0

    def begin_anew(self) -> None:
        """Let the next frame stand alone, as the first one did."""
        self.frames = 0

    def mix(self, new: NDArray[np.float32], mean: float, mean_u: float) -> None:
        """Mix a frame's rates in, of so much on average; the first one, and one after a jump of the ambient light, stands alone."""
        self.rate += np.float32(self.take_share(mean, mean_u)) * (new - self.rate)

    def take_share(self, mean: float, mean_u: float) -> float:
        """Count a frame in, of so much on average, and return its share in the mean."""
        if not self.frames or abs(mean - self.mean) > JUMP_SIGMAS * math.hypot(mean_u, self._mean_u) + 0.05 * self.mean:
            self.frames, share = 0, 1.0
        else:
            share = max(NEW_SHARE, 1.0 / (self.frames + 1))
        self.noise_share = share**2 + (1.0 - share) ** 2 * self.noise_share
        self.age += -math.log1p(-share) if share < 1.0 else _ALL_NEW
        self.mean += share * (mean - self.mean)
        self._mean_u = math.hypot(share * mean_u, (1.0 - share) * self._mean_u)
        self.frames += 1
        return share


class AmbientPlane(RunningRate):
    """The same of whole frames, pixel by pixel."""

    def __init__(self, calibration: Calibration) -> None:
        super().__init__(calibration.camera.shape)
        self._calibration = calibration
        self._sources, self._good = DefectSources.around(calibration.defects), ~calibration.defects
        self._taken_with = 1000.0, 1.0
        self._taken_ns = 0

    def take(self, frame: Frame) -> None:
        """Mix an unlit frame in; after longer than ``LONGEST_BETWEEN_S`` it stands alone."""
        if frame.sensor_time_ns - self._taken_ns > LONGEST_BETWEEN_S * 1e9:
            self.begin_anew()
        self._taken_ns = frame.sensor_time_ns
        per_ms = 1000.0 / (frame.exposure_us * frame.gain)
        pixels, dark, good = frame.pixels, self._calibration.dark_counts, self._good
        number = np.count_nonzero(good)
        bands = [np.s_[first : first + _BAND_ROWS] for first in range(0, pixels.shape[0], _BAND_ROWS)]
        counts = (
            sum(float((pixels[band] - dark[band]).sum(where=good[band], dtype=np.float64)) for band in bands) / number
        )
        noise = float(counts_variance(counts, frame.gain, self._calibration)) / number
        share = np.float32(self.take_share(counts * per_ms, math.sqrt(noise) * per_ms))
        for band in bands:  # a few rows at a time: whole planes between would stay in the process's memory
            new = (pixels[band] - dark[band]) * np.float32(per_ms)
            self.rate[band] += share * (new - self.rate[band])
        self._sources.replace(self.rate)
        self._taken_with = frame.exposure_us, frame.gain

    def counts(self, exposure_us: float, gain: float) -> NDArray[np.float32]:
        """What ambient light adds to a frame's counts, (height, width) float32."""
        return self.rate * np.float32(exposure_us * gain / 1000.0)

    def variance_counts2(self, exposure_us: float, gain: float) -> float:
        """How far the running mean may be off in one pixel of ``counts``: the picture's mean variance, counts squared."""
        taken_us, taken_gain = self._taken_with
        scale = taken_us * taken_gain / 1000.0
        variance = float(counts_variance(self.mean * scale, taken_gain, self._calibration)) * self.noise_share
        return variance * (exposure_us * gain / 1000.0 / scale) ** 2

    def region_rate(self, region: RegionPixels) -> Measured:
        """The rate in a region's mean corrected counts, with the uncertainty that the running mean leaves."""
        exposure_us, gain = self._taken_with
        scale = exposure_us * gain / 1000.0
        raw = self.rate.reshape(-1)[region.indices] * np.float32(scale)
        number = len(raw)
        shot = self._calibration.counts_per_electron * gain * max(float(np.dot(raw, region.squares)), 0.0)
        constant = float(counts_variance(0.0, gain, self._calibration)) * region.sum_of_squares
        variance = (shot + constant) / number**2 * self.noise_share
        return Measured(float(np.dot(raw, region.inverse_flat)) / number / scale, math.sqrt(variance) / scale)
