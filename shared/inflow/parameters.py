"""What is read from an inflow curve, each with a standard uncertainty.

Reviews do not agree on one definition of these figures (Goncalves 2021, Life 11:433), so here are ours. All are taken from the
smooth curve (smoothing.py) above its baseline, the mean of what came before the dye:

- peak: the highest point. Relative: in percent of the reference's peak.
- arrival: where the gamma variate that fits the rise begins (gamma_variate.py). Where none fits, the first point from which the
  curve stays above 10 % of its rise, and a flag says so (both in common use, no source).
- time to peak: from arrival to the peak. Half rise: from arrival to half of the peak.
- ingress slope: the steepest rise between arrival and peak, in percent of the reference's peak a second.
- washout half-life: of the exponential through the last quarter of the time between peak and end, if the quarter before it agrees
  within 25 %; by how much they differ is in the uncertainty.
- signal to noise: peak over the uncertainty of one frame there.

Uncertainties come from a parametric bootstrap (Efron & Tibshirani 1993, chapter 6): the smooth curve with fresh noise, read again.
The noise is the photon transfer model's, enlarged where the curve scatters more than that (Birge 1932, Phys Rev 40:207).
"""

from dataclasses import dataclass
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from shared.inflow.curves import RegionCurve
from shared.inflow.gamma_variate import Onset, fit_onset
from shared.inflow.smoothing import LocalCubic

F64 = NDArray[np.float64]

_MOST_BINS = 1500
_REPLICATES = 80
_LEAST_FRAMES = 12
_LEAST_RISE = 6.0
"""A rise is one when the peak stands this many of its own uncertainties above the baseline."""
_LARGEST_MISFIT = 0.03
"""A gamma variate describes a rise when its rms misfit, beyond noise, is below this share of the peak."""


@dataclass(frozen=True)
class Estimate:
    """A value with one standard uncertainty; both None where it cannot be known (a flag says why)."""

    value: float | None = None
    u: float | None = None


@dataclass(frozen=True)
class InflowParameters:
    """Figures of one region, named with their units; ``flags`` say what cannot be known or not be trusted, and why."""

    peak_relative_percent: Estimate
    relative_percent_at_reference_peak: Estimate
    arrival_s: Estimate
    time_to_peak_s: Estimate
    half_rise_s: Estimate
    ingress_slope_percent_per_s: Estimate
    washout_half_life_s: Estimate
    signal_to_noise: float | None
    flags: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Reading:
    """One curve read ``1 + replicates`` times: row 0 as measured, the others with fresh noise.

    ``smooth`` is (rows, bins), the others (rows,); ``peak`` above ``baseline``, times since the first frame, ``slope`` a second.
    """

    times_s: F64
    smooth: F64
    baseline: F64
    peak: F64
    peak_time_s: F64
    arrival_s: F64
    half_s: F64
    slope: F64
    half_life_s: F64
    signal_to_noise: float
    flags: tuple[str, ...]

    @property
    def rises(self) -> bool:
        """Whether there is an inflow to speak of."""
        return "no rise" not in self.flags and "too few frames" not in self.flags


@dataclass(frozen=True, eq=False)
class _Bins:
    """Curve on an even grid: (bins,) middle times, means, their sigma, weights (0 where empty)."""

    step_s: float
    times_s: F64
    means: F64
    sigma: F64
    weights: F64


def read_curve(curve: RegionCurve, injected_at_s: float | None) -> Reading:
    """Read one curve; ``injected_at_s`` since the first frame, None where unknown. The same curve gives the same uncertainties."""
    if len(curve.times_s) < _LEAST_FRAMES:
        return _unread(curve, "too few frames")
    bins = _binned(curve)
    smoother, scatter = _smoother(bins)
    sigma = bins.sigma * scatter
    smooth, _ = smoother(bins.means)
    start = _baseline_bins(bins, injected_at_s)
    level = float(np.average(bins.means[start], weights=bins.weights[start]))
    noise = float(np.std(smooth[start])) + float(np.median(sigma)) / np.sqrt(
        max(smoother.half_width_s / bins.step_s, 1)
    )
    if smooth.max() - level < _LEAST_RISE * noise:
        return _unread(curve, "no rise")
    rng = np.random.default_rng(crc32(curve.region.name.encode()))
    series = np.vstack([bins.means, smooth + sigma * rng.standard_normal((_REPLICATES, bins.means.size))])
    flags = ["saturated"] if curve.saturated.any() else []
    if scatter > 3.0:
        flags.append("noisier than the model")
    return _read(curve, bins, series, smoother, sigma, injected_at_s, flags)


def inflow_parameters(region: Reading, reference: Reading, since_s: float) -> InflowParameters:
    """Figures of a region against the reference; ``since_s`` is the injection, else 0, both since the first frame."""
    flags = list(region.flags)
    if not reference.rises:
        flags.append("reference does not rise")
    if "saturated" in reference.flags and region is not reference:
        flags.append("reference saturated")
    none = Estimate()
    if not region.rises:
        at_peak = none
        if reference.rises and "saturated" not in reference.flags and region.smooth.size:
            at_peak = _at_reference_peak(region, reference)
        return InflowParameters(none, at_peak, none, none, none, none, none, None, tuple(dict.fromkeys(flags)))
    clipped = "saturated" in region.flags
    compared = reference.rises and "saturated" not in reference.flags and not clipped
    half_life = _estimate(region.half_life_s)
    if half_life.value is None:
        flags.append("washout not seen")
    return InflowParameters(
        peak_relative_percent=_estimate(100.0 * region.peak / reference.peak) if compared else none,
        relative_percent_at_reference_peak=_at_reference_peak(region, reference) if compared else none,
        arrival_s=_estimate(region.arrival_s - since_s),
        time_to_peak_s=none if clipped else _estimate(region.peak_time_s - region.arrival_s),
        half_rise_s=none if clipped else _estimate(region.half_s - region.arrival_s),
        ingress_slope_percent_per_s=_estimate(100.0 * region.slope / reference.peak) if compared else none,
        washout_half_life_s=half_life,
        signal_to_noise=round(region.signal_to_noise, 1),
        flags=tuple(dict.fromkeys(flags)),
    )


# ---- pieces ---------------------------------------------------------------------------------------------------------------


def _unread(curve: RegionCurve, flag: str) -> Reading:
    nothing = np.full(1 + _REPLICATES, np.nan)
    flags = (flag, "saturated") if curve.saturated.any() else (flag,)
    empty = np.empty(0)
    return Reading(empty, empty, nothing, nothing, nothing, nothing, nothing, nothing, nothing, 0.0, flags)


def _estimate(replicates: F64) -> Estimate:
    value, spread = replicates[0], replicates[1:][np.isfinite(replicates[1:])]
    if not np.isfinite(value) or spread.size < _REPLICATES // 2:
        return Estimate()
    return Estimate(float(value), float(np.std(spread, ddof=1)))


def _at_reference_peak(region: Reading, reference: Reading) -> Estimate:
    inside = np.clip(reference.peak_time_s, region.times_s[0], region.times_s[-1])
    there = np.array([np.interp(t, region.times_s, row) for t, row in zip(inside, region.smooth, strict=True)])
    return _estimate(100.0 * (there - region.baseline) / reference.peak)


def _binned(curve: RegionCurve) -> _Bins:
    """Means of frames over equal steps of time."""
    times = curve.times_s
    interval_s = float(np.median(np.diff(times)))
    step_s = max(interval_s, float(times[-1] - times[0]) / _MOST_BINS)
    index = np.floor((times - times[0]) / step_s + 0.5).astype(np.intp)
    count = np.bincount(index).astype(np.float64)
    seen = np.maximum(count, 1.0)
    means = np.bincount(index, curve.signal) / seen
    sigma = np.sqrt(np.bincount(index, curve.signal_u**2)) / seen
    middle = np.where(count > 0, np.bincount(index, times) / seen, times[0] + np.arange(count.size) * step_s)
    least = float(curve.signal_u.max()) * 1e-3 + 1e-12
    sigma = np.maximum(sigma, least)
    weights = np.where(count > 0, 1.0 / sigma**2, 0.0)
    return _Bins(step_s, middle, means, sigma, weights / weights.max())


def _smoother(bins: _Bins) -> tuple[LocalCubic, float]:
    """Smoother as wide as half of the rise allows, and how much more the curve scatters than the noise model says."""
    smoother = LocalCubic(bins.step_s, bins.weights, max(0.03 * bins.times_s[-1], 5 * bins.step_s))
    for _ in range(2):
        smooth, _slope = smoother(bins.means)
        top = int(np.argmax(smooth))
        low = float(np.min(smooth[: top + 1]))
        below = np.flatnonzero(smooth[: top + 1] < low + 0.1 * (smooth[top] - low))
        rise_s = bins.times_s[top] - bins.times_s[below[-1] if below.size else 0]
        width_s = float(np.clip(0.45 * rise_s, 3 * bins.step_s, 0.1 * bins.times_s[-1] + 5 * bins.step_s))
        smoother = LocalCubic(bins.step_s, bins.weights, width_s)
    smooth, _slope = smoother(bins.means)
    filled = bins.weights > 0
    apart = (bins.means - smooth)[filled] / bins.sigma[filled]
    return smoother, max(1.0, 1.4826 * float(np.median(np.abs(apart))))


def _baseline_bins(bins: _Bins, injected_at_s: float | None) -> NDArray[np.bool_]:
    filled = bins.weights > 0
    before = filled & (bins.times_s < (injected_at_s or 0.0))
    if before.sum() >= 3:
        return before
    first = np.flatnonzero(filled)[: max(3, bins.means.size // 50)]
    result = np.zeros_like(filled)
    result[first] = True
    return result


def _read(
    curve: RegionCurve,
    bins: _Bins,
    series: F64,
    smoother: LocalCubic,
    sigma: F64,
    injected_at_s: float | None,
    flags: list[str],
) -> Reading:
    smooth, slope = smoother(series)
    top, peak_time, height = _tops(bins, smooth)
    level = np.average(series[:, _baseline_bins(bins, injected_at_s)], axis=1)
    arrival = _arrivals(bins, series, smooth, sigma, top, level, flags)
    before = (bins.weights > 0) & (bins.times_s < arrival[0] - 0.02 * (peak_time[0] - arrival[0]))
    if before.sum() >= 3:
        level = np.average(series[:, before], axis=1, weights=bins.weights[before])
    else:
        flags.append("no baseline")
    peak = height - level
    half = np.array(
        [
            _rise_through(bins.times_s, row, lv + 0.5 * pk, t)
            for row, lv, pk, t in zip(smooth, level, peak, top, strict=True)
        ]
    )
    rising = [(bins.times_s > a) & (np.arange(bins.times_s.size) <= t) for a, t in zip(arrival, top, strict=True)]
    steepest = np.array([row[r].max() if r.any() else np.nan for row, r in zip(slope, rising, strict=True)])
    half_life = _half_lives(bins, series, smooth, level, sigma, float(peak_time[0]))
    near = np.abs(curve.times_s - peak_time[0]) <= max(0.5, 3 * bins.step_s)
    noise = float(np.median(curve.signal_u[near] if near.any() else curve.signal_u))
    return Reading(
        bins.times_s,
        smooth,
        level,
        peak,
        peak_time,
        arrival,
        half,
        steepest,
        half_life,
        float(peak[0]) / max(noise, 1e-12),
        tuple(flags),
    )


def _tops(bins: _Bins, smooth: F64) -> tuple[NDArray[np.intp], F64, F64]:
    """Index, time and height of the highest point of each row, the last two by a parabola through it and its neighbours."""
    top = np.argmax(smooth, axis=1)
    inner = np.clip(top, 1, smooth.shape[1] - 2)
    rows = np.arange(len(smooth))
    left, middle, right = (smooth[rows, inner + k] for k in (-1, 0, 1))
    bend = left - 2 * middle + right
    with np.errstate(divide="ignore", invalid="ignore"):
        shift = np.where((bend < 0) & (top == inner), 0.5 * (left - right) / bend, 0.0)
    shift = np.clip(shift, -1.0, 1.0)
    height = np.where(top == inner, middle - 0.25 * (left - right) * shift, smooth[rows, top])
    return top, bins.times_s[top] + shift * bins.step_s, height


def _arrivals(
    bins: _Bins, series: F64, smooth: F64, sigma: F64, top: NDArray[np.intp], level: F64, flags: list[str]
) -> F64:
    tenth = np.array(
        [
            _rise_through(bins.times_s, row, lv + 0.1 * (row[t] - lv), t)
            for row, lv, t in zip(smooth, level, top, strict=True)
        ]
    )
    peak, rise_s = float(smooth[0, top[0]] - level[0]), float(bins.times_s[top[0]] - tenth[0])
    used = (bins.weights > 0) & (np.arange(bins.times_s.size) <= top[0])
    if used.sum() >= 10 and rise_s > 0:
        start = Onset(float(tenth[0]) - 0.25 * rise_s, 3.0, 1.25 * rise_s, peak, float(level[0]), 0.0)
        fit = fit_onset(bins.times_s[used], series[0, used], sigma[used], start)
        expected = float(np.sqrt(np.mean(sigma[used] ** 2)))
        misfit = np.sqrt(max(fit.rms**2 - expected**2, 0.0))
        if fit.identifiable and misfit < _LARGEST_MISFIT * peak and fit.t0_s > bins.times_s[0]:
            fits = [fit_onset(bins.times_s[used], row[used], sigma[used], fit).t0_s for row in series[1:]]
            return np.array([fit.t0_s, *fits])
    flags.append("arrival at 10 % of the rise")
    return tenth


def _rise_through(times_s: F64, row: F64, level: float, top: int) -> float:
    """Last moment before ``top`` at which the row rises through ``level``; nan where it never was below."""
    below = np.flatnonzero(row[: top + 1] < level)
    if not below.size or below[-1] >= top:
        return float("nan")
    i = int(below[-1])
    share = (level - row[i]) / (row[i + 1] - row[i])
    return float(times_s[i] + share * (times_s[i + 1] - times_s[i]))


def _half_lives(bins: _Bins, series: F64, smooth: F64, level: F64, sigma: F64, peak_time_s: float) -> F64:
    """Half-life of the exponential through the tail of each row; nan where there is none that one could trust."""
    end_s = float(bins.times_s[-1])
    from_s = 0.5 * (peak_time_s + end_s)
    nothing = np.full(len(series), np.nan)
    tail = (bins.weights > 0) & (bins.times_s >= from_s)
    shown = smooth[0] - level[0]
    tail &= shown > 3.0 * sigma
    if tail.sum() < 20:
        return nothing
    middle = 0.5 * (bins.times_s[tail][0] + bins.times_s[tail][-1])
    early, late = (
        _decay(bins.times_s[part], series[:, part], smooth[:, part], level, sigma[part])
        for part in (tail & (bins.times_s < middle), tail & (bins.times_s >= middle))
    )
    apart, spread = early[0] - late[0], float(np.std(early[1:] - late[1:]))
    if late[0] <= 4.0 * float(np.std(late[1:])) or abs(apart) > max(4.0 * spread, 0.25 * late[0]):
        return nothing
    # what the two parts differ by, beyond noise, says how far the tail is from one exponential
    curvature = np.sqrt(max(apart**2 - spread**2, 0.0)) / 2.0
    signs = np.where(np.arange(len(late)) % 2, 1.0, -1.0)
    rates = late + np.where(np.arange(len(late)) > 0, signs * curvature, 0.0)
    return np.asarray(np.log(2.0) / np.where(rates > 0, rates, np.nan))


def _decay(times_s: F64, series: F64, smooth: F64, level: F64, sigma: F64) -> F64:
    """Rate (1/s) of an exponential through each row, by weighted least squares on the logarithm, linearised at the smooth curve."""
    shown = np.maximum(smooth - level[:, None], 1e-12)
    logs = np.log(shown) + (series - smooth) / shown
    weights = (shown / sigma) ** 2
    total = weights.sum(axis=1)
    middle = (weights * times_s).sum(axis=1) / total
    away = times_s - middle[:, None]
    return np.asarray(-(weights * away * logs).sum(axis=1) / (weights * away**2).sum(axis=1))
