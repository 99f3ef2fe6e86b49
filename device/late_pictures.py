"""Both runs of a comparison as pictures of their ends, in one view, and their difference, each bin with its uncertainty.

What is shown is what ``relative_percent_at_end`` says of a region: relative intensity over the last tenth of a run, above what was
there before the dye, with left-over dye taken out of the second run. Where frames are dense, as many as ``_MOST_FRAMES`` are used.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from device.comparison import Comparison, Runs
from shared.compare.late_level import LATE_SHARE, late_place_u, late_signal
from shared.compare.remainder import brighter
from shared.inflow.map_pictures import grey_beneath
from shared.inflow.map_values import MEASURED, SATURATED, UNCERTAIN, UNSEEN
from shared.inflow.maps_place import add_place_u
from shared.live_picture import block_any, block_means
from shared.motion.pose import Motion
from shared.motion.resample import into_reference
from shared.noise import variance_counts2
from shared.recording import Recording
from shared.relative import ZERO
from shared.review.ambient_beside import AmbientBeside
from shared.settings import PictureSettings
from shared.signal import DefectSources, Measured, corrected_counts, saturated

F32 = NDArray[np.float32]
Bytes = NDArray[np.uint8]

WIDEST_U_PERCENT = PictureSettings().widest_u_percent
"""One standard uncertainty above this many points reads "uncertain", as in the live picture unless that is set otherwise."""
_MOST_FRAMES = 40
_LEAST_BEFORE = 3
_MODEL_SHARE = 0.05
"""Doubt about what was left that is no noise, as for regions (shared.compare.remainder)."""


@dataclass(frozen=True, eq=False)
class PercentPicture:
    """(height, width) of 2x2 bins: percent of the reference, its standard uncertainty (nan where not seen), class, grey beneath."""

    percent: F32
    u: F32
    classes: Bytes
    grey: Bytes


@dataclass(frozen=True, eq=False)
class LatePictures:
    """Both runs' ends and second minus first, in points; the difference's grey is the first one's."""

    first: PercentPicture
    second: PercentPicture
    difference: PercentPicture


def late_pictures(compared: Comparison) -> LatePictures | None:
    """None where nothing can be a percentage: a reference is saturated at an end, or no brighter than before the dye."""
    runs = compared.runs
    reference = compared.reference
    ends = late_signal(runs.before.curves[reference]), late_signal(runs.clean_reference)
    baseline = runs.before.readings[reference].baseline
    before = ZERO if baseline is None else Measured(baseline.value, baseline.u)
    if ends[0] is None or ends[1] is None:
        return None
    befores = before, runs.second_before or ZERO
    curves = runs.before.curves[reference], runs.clean_reference
    above = [
        Measured(end.value - low.value, math.hypot(end.u, low.u, *late_place_u(curve)))
        for end, low, curve in zip((ends[0], ends[1]), befores, curves, strict=True)
    ]
    if min(level.value for level in above) <= 0:
        return None
    one = _Ends(compared.first, runs.views.to_first)
    other = _Ends(compared.second, runs.views.to_second)
    base = one.mean(one.before(_first_until_s(runs)))
    first_end = one.late()
    second_end = other.late()
    place_u_px = runs.views.place_u_px()
    first = _percent(first_end, (base,), above[0], one.grey(), place_u_px[0])
    then = None if base is None else base.magnified(runs.magnification)
    left = _left(runs, one, other, then, first_end.magnified(runs.magnification))
    second = _percent(second_end, (then, left), above[1], other.grey(), place_u_px[1])
    return LatePictures(first, second, _difference(first, second))


@dataclass(frozen=True, eq=False)
class _Level:
    """Mean signal in the common view with its variance, by bin; ``at_s`` is the mean time, ``saturated`` any of its frames."""

    signal: F32
    variance: F32
    saturated: NDArray[np.bool_]
    at_s: float

    def magnified(self, magnification: float) -> "_Level":
        """The same in the light of a picture in which the tissue is so many times as large."""
        unit = brighter(Measured(1.0, 0.0), magnification)
        doubt = np.square(unit.u * self.signal)
        return replace(
            self, signal=self.signal * np.float32(unit.value), variance=self.variance * unit.value**2 + doubt
        )


class _Ends:
    """One recording, seen from the common view."""

    def __init__(self, recording: Recording, motion: Callable[[int], Motion | None]) -> None:
        self._recording, self._motion = recording, motion
        self._sources = DefectSources.around(recording.calibration.defects)
        table = recording.frame_table
        self.times_s = np.asarray((table.sensor_time_ns - table.sensor_time_ns[0]) / 1e9, np.float64)
        is_lit = table.lit & (table.light_level > 0)
        self._ambient = AmbientBeside(recording, self.times_s, is_lit)
        self._lit = np.flatnonzero(is_lit & ~self._ambient.left_out)

    def before(self, until_s: float) -> Sequence[int]:
        """Frames before anything of this run's dye can be in them."""
        return self._spread(self._lit[self.times_s[self._lit] < until_s])

    def late(self) -> "_Level":
        """Over the last tenth."""
        count = max(int(self._lit.size * LATE_SHARE), 1)
        found = self.mean(self._spread(self._lit[-count:]))
        assert found is not None
        return found

    def grey(self) -> Bytes:
        """The last lit frame, in the common view."""
        number = int(self._lit[-1])
        grey = grey_beneath(self._recording.frame(number), self._recording.calibration)
        motion = self._motion(number) or Motion()
        half = replace(motion, dx_px=motion.dx_px / 2, dy_px=motion.dy_px / 2)
        seen = into_reference(grey.astype(np.float32), half, np.empty(grey.shape, np.float32))
        return np.asarray(np.nan_to_num(seen), np.uint8)

    def mean(self, numbers: Sequence[int]) -> "_Level | None":
        """Mean of frames in the common view; None where there are too few."""
        calibration, shape = self._recording.calibration, self._recording.camera.shape
        total, spread, in_common = np.zeros(shape), np.zeros(shape), np.zeros(shape)
        clipped = np.zeros(shape, np.bool_)
        seen, taken = np.empty(shape, np.float32), []
        for number in numbers:
            motion, frame = self._motion(number), self._recording.frame(number)
            if motion is None:
                continue
            factor = calibration.counts_to_signal(frame.exposure_us, frame.gain, frame.light_level)
            counts = corrected_counts(frame.pixels, calibration, self._sources)
            noise = variance_counts2(
                counts * calibration.flat,
                calibration.counts_per_electron * frame.gain,
                calibration.read_noise_electrons,
            )
            if self._ambient.is_off(number):
                ambient, variance = self._ambient.counts(number, calibration, reduced=False)
                ambient /= calibration.flat
                self._sources.replace(ambient)
                counts -= ambient
                in_common += variance * np.square(factor / calibration.flat)
            total += into_reference((counts * factor).astype(np.float32), motion, seen)
            spread += into_reference((noise * np.square(factor / calibration.flat)).astype(np.float32), motion, seen)
            clipped |= into_reference(saturated(frame.pixels, calibration).astype(np.float32), motion, seen) > 0
            taken.append(self.times_s[number])
        if not taken:
            return None
        count = len(taken)
        # neighbours share pixels where they are interpolated, so four of a bin are counted as little more than one
        return _Level(
            block_means(total / count).astype(np.float32),
            block_means(spread / count**2 + in_common / count).astype(np.float32) / 2.0,
            block_any(clipped),
            float(np.mean(taken)),
        )

    def _spread(self, numbers: NDArray[np.intp]) -> Sequence[int]:
        if numbers.size <= _MOST_FRAMES:
            return [int(number) for number in numbers]
        return [int(numbers[at]) for at in np.linspace(0, numbers.size - 1, _MOST_FRAMES).round().astype(int)]


def _first_until_s(runs: Runs) -> float:
    """Until when nothing of the first dye can be in the picture."""
    marked = runs.before.injected_at_s
    if marked is not None and marked > 0:
        return marked
    arrival = runs.before.readings[runs.before.reference.name].arrival_s
    return 0.0 if arrival is None else arrival.value - 2.0 * arrival.u


def _left(runs: Runs, one: _Ends, other: _Ends, base: _Level | None, first_end: _Level) -> _Level | None:
    """What was left of the first dye, as it is at the second run's end, above ``base``; None where nothing is taken out."""
    found = runs.remainder
    at_s = float(np.mean(other.times_s[-max(int(other.times_s.size * LATE_SHARE), 1) :]))
    if found.method == "no second injection":
        return None
    early = other.mean(other.before(runs.mark_s)) if runs.mark_s is not None and runs.mark_s > 0 else None
    if found.half_life_s is None or found.left is None:
        return None if early is None else _less(early, base, 1.0)
    half_life_s = found.half_life_s.value
    if early is not None:
        return _less(early, base, 2.0 ** (-(at_s - early.at_s) / half_life_s))
    if runs.offset_s is None:
        return None
    gap_s = runs.offset_s + at_s - first_end.at_s
    return _less(first_end, base, 2.0 ** (-gap_s / half_life_s))


def _less(level: _Level, base: _Level | None, share: float) -> _Level:
    """A share of what lies above ``base``, with the doubt that one half-life for the whole picture brings."""
    above = level.signal - (0.0 if base is None else base.signal)
    variance = level.variance + (0.0 if base is None else base.variance)
    doubt = np.square(_MODEL_SHARE * share * above)
    return _Level(share * above, share**2 * variance + doubt, level.saturated, level.at_s)


def _percent(
    end: _Level, taken_off: Sequence[_Level | None], reference: Measured, grey: Bytes, place_u_px: float
) -> PercentPicture:
    """Percent of the reference's height, first-order propagation (JCGM 100:2008, GUM, 5.1.2), an unsure place counted."""
    off = [level for level in taken_off if level is not None]
    signal = end.signal - sum((level.signal for level in off), np.float32(0))
    variance = end.variance + sum((level.variance for level in off), np.float32(0))
    share = signal / reference.value
    percent = np.asarray(100.0 * share, np.float32)
    u = np.asarray(100.0 * np.sqrt(variance + np.square(share * reference.u)) / reference.value, np.float32)
    if place_u_px > 0:
        add_place_u(percent, u, 0, percent.shape[0], place_u_px / 2.0)
    return _classed(percent, u, end.saturated, grey)


def _difference(first: PercentPicture, second: PercentPicture) -> PercentPicture:
    clipped = (first.classes == SATURATED) | (second.classes == SATURATED)
    return _classed(second.percent - first.percent, np.hypot(first.u, second.u), clipped, first.grey)


def _classed(percent: F32, u: F32, clipped: NDArray[np.bool_], grey: Bytes) -> PercentPicture:
    classes = np.full(percent.shape, MEASURED, np.uint8)
    classes[u > WIDEST_U_PERCENT] = UNCERTAIN
    classes[clipped] = SATURATED
    classes[~np.isfinite(percent)] = UNSEEN
    return PercentPicture(percent.astype(np.float32), u.astype(np.float32), classes, grey)
