"""Washout: how fast the signal falls long after the peak.

The exponential A 2^(-t / half-life) above the baseline is fitted to the second half of the time between the peak and the end, by
least squares weighted by the noise. What the first pass still adds there is not known exactly: its fit, continued, is part of the
signal, but some of it has become what stays. That holds too where the fit's onset is not to be trusted: what falls there falls all
the same. So the fall lies between those of the signal with and without it: the middle is taken, and their distance over the root of
twelve counts as uncertainty (rectangular distribution, JCGM 100:2008, GUM, 4.3.7). Where that is not small beside the noise, the
stretch begins later, with the last quarter at the latest; there they may differ by 5 %.

The third quarter must fall as fast as the last within 25 %; where they differ beyond noise, half of the difference is in the
uncertainty. Early washout is faster than late washout (two compartments), so a half-life belongs to its time.
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
_BEGINNINGS = (0.5, 0.55, 0.6, 0.65, 0.7, 0.75)
"""Of the stretch that is fitted, as shares of the time between peak and end."""
_SMALL = 0.35
_SAME_RATE, _MOST_PASSING = 0.25, 0.05
_SURELY_BENT, _PERHAPS_BENT = 3.0, 2.0
_TOO_NOISY, _NO_EXPONENTIAL = "washout not seen: too noisy after the peak", "washout is no exponential yet"
_GAUSS_NEWTON_STEPS = 30


def half_life(series: Series, baseline: Propagated, peak_s: float, first_pass: GammaVariate | None) -> Propagated | str:
    """Half-life in seconds, or why there is none."""
    whole_s = max(float(series.times_s[-1]) - peak_s, series.step_s)
    after = (series.times_s - peak_s) / whole_s
    third, last = (after >= 0.5) & (after < 0.75), after >= 0.75
    if min(int(third.sum()), int(last.sum())) < _LEAST_POINTS:
        return "washout not seen: too little after the peak"
    (early, early_doubt), (late, late_doubt) = (_between(series, part, baseline, first_pass) for part in (third, last))
    if early is None or late is None:
        return _TOO_NOISY
    apart = (early - late).doubted(math.hypot(early_doubt, late_doubt))
    if abs(apart.value) > max(_SURELY_BENT * apart.u, _SAME_RATE * late.value):
        return _NO_EXPONENTIAL
    bent = abs(apart.value) > _PERHAPS_BENT * apart.u
    bend = math.sqrt(apart.value**2 - apart.u**2) / 2.0 if bent else 0.0
    for share in _BEGINNINGS:
        rate, doubt = _between(series, after >= share, baseline, first_pass)
        if rate is None or rate.u * (1.0 - share) * whole_s > _LARGEST_RATE_U:
            return _TOO_NOISY
        if rate.value < _LEAST_RATE * rate.u:
            seen = _rate(series, series.values, after >= share, baseline)
            falls = seen is not None and seen.value >= _LEAST_RATE * seen.u
            # what falls there may all be the first pass
            return _NO_EXPONENTIAL if falls else "washout not seen: no fall beyond the noise"
        # against the rate before: one that noise made large must not be given for that
        most = _SMALL * rate.u if share < _BEGINNINGS[-1] else _MOST_PASSING / math.sqrt(12.0) * early.value
        if doubt < most:
            return _inverted(rate.doubted(math.hypot(bend, doubt)))
    return _NO_EXPONENTIAL


def _between(
    series: Series, part: NDArray[np.bool_], baseline: Propagated, first_pass: GammaVariate | None
) -> tuple[Propagated | None, float]:
    """Rate half way between that of the signal and that of the signal without the first pass, and the doubt which of them is it."""
    whole = _rate(series, series.values, part, baseline)
    if whole is None or first_pass is None:
        return whole, 0.0
    without = _rate(series, series.values - first_pass.at(series.times_s), part, baseline)
    if without is None:
        return whole, math.inf
    return (whole + without).scaled(0.5), abs(without.value - whole.value) / math.sqrt(12.0)


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
