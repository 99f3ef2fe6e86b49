"""Half-life of a bin's washout, by the rule of washout.py: the last quarter after the peak, if the quarter before it agrees."""
# The types of a compiled function's arguments are the compiler's to infer.
# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# ruff: noqa: ANN001, ANN201, ANN202

import math

import numpy as np

from shared.inflow.maps_compiled import compiled

_LEAST_SLOTS = 3
_LEAST_RATE = 5.0
_SAME_RATE = 0.25


@compiled
def half_life(times_s, values, variances, baseline, baseline_u, top_s):
    """Half-life and its standard uncertainty, nan where there is none."""
    end_s = times_s[-1]
    middle_s, late_s = top_s + 0.5 * (end_s - top_s), top_s + 0.75 * (end_s - top_s)
    early, early_u = _rate(times_s, values, variances, baseline, baseline_u, middle_s, late_s)
    late, late_u = _rate(times_s, values, variances, baseline, baseline_u, late_s, end_s + 1.0)
    if not (early == early and late == late) or late < _LEAST_RATE * late_u:
        return np.nan, np.nan
    apart, apart_u = abs(early - late), math.hypot(early_u, late_u)
    significant = apart > 2.0 * apart_u
    if significant and apart > _SAME_RATE * late:
        return np.nan, np.nan
    bend = math.sqrt(apart * apart - apart_u * apart_u) / 2.0 if significant else 0.0
    found_s = math.log(2.0) / late
    return found_s, found_s / late * math.hypot(late_u, bend)


@compiled
def _rate(times_s, values, variances, baseline, baseline_u, from_s, until_s):
    """Rate (1/s) of the exponential through the slots between two moments, weighted least squares on the logarithm."""
    weights, times, logs, squares, products, changes, moments, number = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0
    for i in range(times_s.size):
        if from_s <= times_s[i] < until_s:
            above, since_s = values[i] - baseline, times_s[i] - from_s
            if above <= 3.0 * math.sqrt(variances[i]):
                return np.nan, np.nan
            weight, log = above * above / variances[i], math.log(above)
            weights += weight
            times += weight * since_s
            logs += weight * log
            squares += weight * since_s * since_s
            products += weight * since_s * log
            changes += weight / above
            moments += weight / above * since_s
            number += 1
    if number < _LEAST_SLOTS:
        return np.nan, np.nan
    mean_s = times / weights
    cross, square, by_baseline = products - mean_s * logs, squares - mean_s * times, moments - mean_s * changes
    return -cross / square, math.hypot(1.0 / math.sqrt(square), by_baseline / square * baseline_u)
