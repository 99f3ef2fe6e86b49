"""Washout: how fast the signal falls long after the peak.

The exponential A 2^(-t / half-life) above the baseline is fitted to the last quarter of the time between the peak and the end, by
least squares weighted by the noise: earlier, the first pass is still running out. The quarter before it must fall at the same rate
within 25 %; where they differ beyond noise, half of the difference is in the uncertainty. What the fitted first pass, continued to
the end, changes in the rate is in it too, and may be 5 % at most. Early washout is faster than late washout (two compartments), so
a half-life belongs to its time.
"""

import math

import numpy as np
from numpy.typing import NDArray

from shared.inflow.gamma_variate import GammaVariate
from shared.inflow.propagated import Propagated
from shared.inflow.series import Series

F64 = NDArray[np.float64]

_LEAST_POINTS = 8
_LARGEST_RATE_U = 0.06
"""Share of the signal by which the fitted fall may be wrong over its stretch; it does not look at the rate found, so that it does
not favour rates that noise made large."""
_LEAST_RATE = 3.0
"""A fall is one when its rate is this many times its own uncertainty."""
_SAME_RATE, _MOST_PASSING = 0.25, 0.05
_GAUSS_NEWTON_STEPS = 30


def half_life(series: Series, baseline: Propagated, peak_s: float, first_pass: GammaVariate | None) -> Propagated | str:
    """Half-life in seconds, or why there is none."""
    end_s = float(series.times_s[-1])
    middle_s, late_s = peak_s + 0.5 * (end_s - peak_s), peak_s + 0.75 * (end_s - peak_s)
    third, last = (series.times_s >= middle_s) & (series.times_s < late_s), series.times_s >= late_s
    if min(int(third.sum()), int(last.sum())) < _LEAST_POINTS:
        return "washout not seen: too little after the peak"
    early, late = (_rate(series, series.values, part, baseline) for part in (third, last))
    if early is None or late is None or late.u * (end_s - late_s) > _LARGEST_RATE_U:
        return "washout not seen: too noisy after the peak"
    if late.value < _LEAST_RATE * late.u:
        return "washout not seen: no fall beyond the noise"
    apart = early - late
    differs = abs(apart.value) > 2.0 * apart.u
    passing = _of_first_pass(series, last, baseline, late, first_pass)
    if (differs and abs(apart.value) > _SAME_RATE * late.value) or passing > _MOST_PASSING * late.value:
        return "washout is no exponential yet"
    bend = math.sqrt(apart.value**2 - apart.u**2) / 2.0 if differs else 0.0
    return _inverted(late.doubted(math.hypot(bend, passing)))


def _of_first_pass(
    series: Series, part: NDArray[np.bool_], baseline: Propagated, rate: Propagated, first_pass: GammaVariate | None
) -> float:
    """By how much the rate differs without the fitted first pass."""
    if first_pass is None:
        return 0.0
    without = _rate(series, series.values - first_pass.at(series.times_s), part, baseline)
    return abs(without.value - rate.value) if without else math.inf


def _inverted(rate: Propagated) -> Propagated:
    half_life_s = math.log(2.0) / rate.value
    return Propagated(half_life_s, -half_life_s / rate.value * rate.shares)


def _rate(series: Series, values: F64, part: NDArray[np.bool_], baseline: Propagated) -> Propagated | None:
    """Rate (1/s) of the exponential through a part of the series, by Gauss-Newton; None where it does not settle."""
    times = series.times_s[part] - float(series.times_s[part].mean())
    above, weight = values[part] - baseline.value, 1.0 / series.sigma[part]
    height, rate = float(np.average(above, weights=weight**2)), 0.0
    if height <= 0:
        return None
    for _ in range(_GAUSS_NEWTON_STEPS):
        shape = np.exp(-rate * times)
        slopes = np.stack([shape, -height * times * shape], axis=1) * weight[:, None]
        solver = np.linalg.pinv(slopes)
        d_height, d_rate = solver @ ((above - height * shape) * weight)
        height, rate = height + float(d_height), rate + float(np.clip(d_rate, -2 / np.ptp(times), 2 / np.ptp(times)))
        if abs(d_rate) < 1e-9 * max(abs(rate), 1.0 / np.ptp(times)):
            by_value = solver[1] * weight
            shares = -float(by_value.sum()) * baseline.shares
            shares[part] += by_value * series.sigma[part]
            return Propagated(rate, shares)
    return None
