"""Half-life of a bin's washout, by the rule of washout.py, on the logarithms of its slots.

A slot's mean holds so many frames that its logarithm is hardly bent by noise: where it were, the fall is too noisy to be given.
"""
# The types of a compiled function's arguments are the compiler's to infer.
# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# ruff: noqa: ANN001, ANN201, ANN202

import math

import numpy as np
from numpy.typing import NDArray

from shared.inflow.maps_compiled import compiled

_PARTS = 6
_PART = 0.05
"""The third quarter in five parts, where the stretch may begin, and the last quarter."""
_WEIGHT, _TIME, _LOG, _SQUARE, _PRODUCT, _CHANGE, _MOMENT, _NUMBER = range(8)
_LEAST_SLOTS, _LEAST_SIGMAS = 3, 3.0
_LARGEST_RATE_U, _LEAST_RATE = 0.06, 3.0
_SAME_RATE, _SMALL, _MOST_PASSING = 0.25, 0.35, 0.05 / math.sqrt(12.0)
_SURELY_BENT, _PERHAPS_BENT = 3.0, 2.0
_NEGLIGIBLE = 1e-4


def sums_of_falls() -> NDArray[np.float64]:
    """Memory for the sums of one bin: of its signal, and of what the first pass changes in them."""
    return np.zeros((2, _PARTS, 8))


@compiled
def half_life(times_s, values, variances, baseline, baseline_u, top_s, first_pass, sums):
    """Half-life and its standard uncertainty, nan where there is none.

    ``first_pass``: height, onset, alpha and rise of the fitted gamma variate; height 0 where there is none. ``sums`` is memory.
    """
    whole_s = times_s[-1] - top_s
    knows = _gather(times_s, values, variances, baseline, top_s, first_pass, sums)
    if whole_s <= 0 or knows < 0:
        return np.nan, np.nan
    early, early_noise, early_base, early_doubt = _between(sums, 0, _PARTS - 1, baseline_u, knows)
    late, late_noise, late_base, late_doubt = _between(sums, _PARTS - 1, _PARTS, baseline_u, knows)
    if not (early == early and late == late):
        return np.nan, np.nan
    apart, shared_u = abs(early - late), (early_base - late_base) * baseline_u
    apart_u = math.sqrt(early_noise + late_noise + shared_u**2 + early_doubt**2 + late_doubt**2)
    if apart > max(_SURELY_BENT * apart_u, _SAME_RATE * late):
        return np.nan, np.nan
    bend = math.sqrt(apart * apart - apart_u * apart_u) / 2.0 if apart > _PERHAPS_BENT * apart_u else 0.0
    for begin in range(_PARTS):
        rate, noise, base, doubt = _between(sums, begin, _PARTS, baseline_u, knows)
        rate_u = math.sqrt(noise + (base * baseline_u) ** 2)
        if not rate_u * (0.5 - _PART * begin) * whole_s <= _LARGEST_RATE_U or rate < _LEAST_RATE * rate_u:
            return np.nan, np.nan
        # against the rate before: one that noise made large must not be given for that
        most = _SMALL * rate_u if begin < _PARTS - 1 else _MOST_PASSING * early
        if doubt < most:
            found_s = math.log(2.0) / rate
            return found_s, found_s / rate * math.sqrt(rate_u**2 + bend * bend + doubt * doubt)
    return np.nan, np.nan


@compiled
def _gather(times_s, values, variances, baseline, top_s, first_pass, sums):
    """Sums over the slots of each part. Returns in how many parts the signal without the first pass is above noise; -1 where the
    signal itself is not.
    """
    height, onset_s, alpha, rise_s = first_pass
    middle_s, part_s = 0.5 * (times_s[-1] + top_s), _PART * (times_s[-1] - top_s)
    passing, blind = height > 0.0, 0
    sums[:] = 0.0
    i = times_s.size
    while i > 0 and times_s[i - 1] >= middle_s:
        i -= 1
    while i < times_s.size:
        part, since_s = min(int((times_s[i] - middle_s) / part_s), _PARTS - 1), times_s[i] - middle_s
        above, least = values[i] - baseline, _LEAST_SIGMAS * math.sqrt(variances[i])
        if above <= least:
            return -1
        log = math.log(above)
        _add(sums[0, part], 1.0, above * above / variances[i], since_s, log, above)
        if passing:
            x = (times_s[i] - onset_s) / rise_s
            first = height * math.exp(alpha * (math.log(x) + 1.0 - x))
            rest = above - first
            if rest <= least:
                blind = part + 1
            else:
                _add(sums[1, part], -1.0, above * above / variances[i], since_s, log, above)
                _add(sums[1, part], 1.0, rest * rest / variances[i], since_s, math.log(rest), rest)
            passing = first > _NEGLIGIBLE * above
        i += 1
    return blind


@compiled
def _add(sums, sign, weight, since_s, log, above):
    weight *= sign
    sums[_WEIGHT] += weight
    sums[_TIME] += weight * since_s
    sums[_LOG] += weight * log
    sums[_SQUARE] += weight * since_s * since_s
    sums[_PRODUCT] += weight * since_s * log
    sums[_CHANGE] += weight / above
    sums[_MOMENT] += weight / above * since_s
    sums[_NUMBER] += sign


@compiled
def _between(sums, first, last, baseline_u, blind):
    """Rate half way between that of the signal and that of the signal without the first pass, its variance from noise, its
    sensitivity to the baseline, and the doubt which of them it is.
    """
    rate, noise, base = _rate(sums, first, last, 0.0)
    if blind > first:
        return rate, noise, base, math.inf
    without, without_noise, without_base = _rate(sums, first, last, 1.0)
    if math.isnan(without):
        return rate, noise, base, math.inf
    doubt = abs(without - rate) / math.sqrt(12.0)
    spread = (0.5 * (math.sqrt(noise) + math.sqrt(without_noise))) ** 2
    return 0.5 * (rate + without), spread, 0.5 * (base + without_base), doubt


@compiled
def _rate(sums, first, last, without):
    """Rate (1/s) of the exponential through some parts, weighted least squares; nan through too few slots."""
    weights, times, logs, squares, products, changes, moments, number = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for part in range(first, last):
        one, other = sums[0, part], sums[1, part]
        weights += one[_WEIGHT] + without * other[_WEIGHT]
        times += one[_TIME] + without * other[_TIME]
        logs += one[_LOG] + without * other[_LOG]
        squares += one[_SQUARE] + without * other[_SQUARE]
        products += one[_PRODUCT] + without * other[_PRODUCT]
        changes += one[_CHANGE] + without * other[_CHANGE]
        moments += one[_MOMENT] + without * other[_MOMENT]
        number += one[_NUMBER]
    if number < _LEAST_SLOTS:
        return np.nan, np.nan, np.nan
    mean_s = times / weights
    square = squares - mean_s * times
    return -(products - mean_s * logs) / square, 1.0 / square, (moments - mean_s * changes) / square
