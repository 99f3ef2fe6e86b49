"""One bin's time slots read: what reading.py reads from a region's curve, compiled and shortened for hundreds of thousands of bins.

Shortened: landmarks come from the local cubic alone, and uncertainties leave out that curve, baseline and top share some noise.
"""
# The types of a compiled function's arguments are the compiler's to infer.
# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# ruff: noqa: ANN001, ANN201, ANN202

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from shared.inflow.maps_compiled import compiled
from shared.inflow.maps_first_pass import (
    BASELINE,
    LOG_ALPHA,
    LOG_RISE,
    ONSET,
    PEAK,
    cut_off_s,
    fit_pass,
    lent_room,
    normal_equations,
    rises_to,
    solved_step,
    variance_of,
)
from shared.inflow.maps_kernel import NO_DATA
from shared.inflow.maps_landmarks import (
    VALUE,
    crossing_before,
    estimate,
    estimate_u,
    highest_node,
    rise_through,
    smooth,
    steepest_between,
    top_near,
)
from shared.inflow.maps_local_cubic import lent_tables, width_class
from shared.inflow.maps_washout import half_life
from shared.lanes import borrowed

LEVEL, TOP, ARRIVAL, TOP_TIME, HALF_TIME, STEEPEST, HALF_LIFE, AT_REFERENCE = range(8)
"""Rows of what is found: baseline, peak above it, moments, steepest rise, half-life, height at the reference's top."""
FOUND = 8
MEASURED, SATURATED, NO_RISE, UNCERTAIN, UNSEEN = range(5)
"""Classes of a map's bins."""

_LEAST_RISE = 6.0
_LEAST_FIT_SLOTS = 8
_OUTLINE_WIDTH, _PLAIN_WIDTH, _USUAL_INFORMATION = 0.45, 0.36, 400.0
_LARGEST_MISFIT, _LARGEST_ONSET_U, _FLAT_TOP = 0.03, 0.2, 0.15
_EARLY_SHARE = 0.75
_SLOT_DOUBT = 0.08
"""Of the length of the slot that the onset falls into: more than it was measured to move the onset (DECISION-maps.md)."""
_WELL = 0.5


@compiled
def read_bin(slots, early, tables, at_reference, values, variances, smoothed, room, found, found_u):
    """Read one bin; returns its class. ``found`` and ``found_u`` (FOUND,) hold nan where a thing cannot be known.

    ``slots`` (5, slots): start, end and mean time in seconds, frames, length in seconds; the first
    ``early`` of them came before the dye for certain; ``at_reference`` are tables of a single node, the reference's top.
    """
    times_s = slots[2]
    found[:] = math.nan
    found_u[:] = math.nan
    level, level_u = _mean_of_first(slots, early, values, variances)
    if level != level:
        return UNSEEN
    c, top, tenth_s, half_s = _outline(times_s, level, tables, values, smoothed)
    height = smoothed[top] - level
    if height < _LEAST_RISE * math.hypot(level_u, estimate_u(tables, c, 2 * top, VALUE, variances)):
        found[LEVEL], found_u[LEVEL] = level, level_u
        found[AT_REFERENCE] = estimate(at_reference, c, 0, VALUE, values) - level
        found_u[AT_REFERENCE] = math.hypot(estimate_u(at_reference, c, 0, VALUE, variances), level_u)
        return NO_RISE
    rise_s = max(times_s[top] - tenth_s, 1e-3)
    _scale(values, variances, height, room)
    onset_s, onset_u, fit_rise_s = _arrival(times_s, smoothed, level, height, top, tenth_s, rise_s, room)
    foot_s = max(2.0 * tenth_s - half_s, times_s[0])
    if onset_s == onset_s:
        blur_s = _SLOT_DOUBT * slots[4, max(_slots_until(times_s, onset_s) - 1, 0)]
        found[ARRIVAL], found_u[ARRIVAL] = onset_s, math.hypot(onset_u, blur_s)
        foot_s = onset_s - 0.02 * fit_rise_s
    base, base_u = _mean_before(slots, foot_s, values, variances)
    if base != base:
        return UNSEEN
    found[LEVEL], found_u[LEVEL] = base, base_u
    _landmarks(times_s, tables, values, variances, height, top, tenth_s, rise_s, foot_s, base, base_u, found, found_u)
    c = _plain_class(times_s, tables, variances, height, top, tenth_s, rise_s)
    found[AT_REFERENCE] = estimate(at_reference, c, 0, VALUE, values) - base
    found_u[AT_REFERENCE] = math.hypot(estimate_u(at_reference, c, 0, VALUE, variances), base_u)
    if found[TOP_TIME] == found[TOP_TIME]:
        found[HALF_LIFE], found_u[HALF_LIFE] = half_life(times_s, values, variances, base, base_u, found[TOP_TIME])
    return MEASURED


class Rows(NamedTuple):
    """Memory for one row of bins: their values, and what is worked out from one of them."""

    values: NDArray[np.float64]
    variances: NDArray[np.float64]
    smoothed: NDArray[np.float64]
    found: NDArray[np.float64]
    found_u: NDArray[np.float64]


def rows_of(width: int, slots: int) -> Rows:
    """Memory for ``width`` bins."""
    return Rows(np.empty((width, slots)), np.empty(slots), np.empty(slots), np.empty(FOUND), np.empty(FOUND))


# fmt: off
@compiled
def read_rows(
    planes, order, steps, noise, bins, slots, early, tables, at_reference, room, rows,
    first_row, last_row, found, found_u, classes,
):
    """Read all bins of some rows into ``found``, ``found_u`` (FOUND, height, width) float32 and ``classes`` (height, width).

    ``planes`` (places, height, width) int16, ``order`` (slots,) their places in order of time, ``steps`` (slots,), ``noise``
    (2, slots): shot and rest of each slot; ``bins``: inverse flat and number of good pixels (height, width).
    """
    inverse_flat, pixels = bins
    number, width = order.size, inverse_flat.shape[1]
    room, tables, at_reference, slots = lent_room(room), lent_tables(tables), lent_tables(at_reference), borrowed(slots)
    values, variances, smoothed = borrowed(rows.values), borrowed(rows.variances), borrowed(rows.smoothed)
    one, one_u = borrowed(rows.found), borrowed(rows.found_u)
    unseen = np.empty(width, np.bool_)
    for y in range(first_row, last_row):
        unseen[:] = False
        for i in range(number):
            for x in range(width):
                stored = planes[order[i], y, x]
                values[x, i] = stored * steps[i]
                unseen[x] |= stored == NO_DATA
        for x in range(width):
            f = inverse_flat[y, x]
            if unseen[x] or f == 0:
                classes[y, x] = UNSEEN
                continue
            rest = pixels[y, x] * f * f
            for i in range(number):
                variances[i] = max(values[x, i], 0.0) * noise[0, i] * f + noise[1, i] * rest
            classes[y, x] = read_bin(
                slots, early, tables, at_reference, values[x], variances, smoothed, room, one, one_u
            )
            for k in range(FOUND):
                found[k, y, x] = one[k]
                found_u[k, y, x] = one_u[k]


# ---- pieces ---------------------------------------------------------------------------------------------------------------


@compiled
def _mean_of_first(slots, number, values, variances):
    total, frames, square = 0.0, 0.0, 0.0
    for i in range(number):
        total += slots[3, i] * values[i]
        frames += slots[3, i]
        square += slots[3, i] ** 2 * variances[i]
    if frames == 0:
        return math.nan, math.nan
    return total / frames, math.sqrt(square) / frames


@compiled
def _mean_before(slots, until_s, values, variances):
    """Mean of the slots that end before a moment, nan where that is no three frames."""
    number, frames = 0, 0.0
    while number < values.size and slots[1, number] < until_s:
        frames += slots[3, number]
        number += 1
    if frames < 3:
        return math.nan, math.nan
    return _mean_of_first(slots, number, values, variances)


@compiled
def _outline(times_s, level, tables, values, smoothed):
    """Width class, slot of the top, and when a tenth and half of the rise are passed, roughly."""
    duration_s = times_s[-1] - times_s[0]
    half_width_s = 0.03 * duration_s
    for _ in range(3):
        c = width_class(half_width_s, tables.narrowest_s)
        top = smooth(tables, c, values, smoothed)
        height = smoothed[top] - level
        tenth_s = rise_through(times_s, smoothed, level + 0.1 * height, top)
        half_width_s = min(_OUTLINE_WIDTH * (times_s[top] - tenth_s), 0.1 * duration_s)
        half_width_s = max(half_width_s, tables.narrowest_s)
        if width_class(half_width_s, tables.narrowest_s) == c:
            break
    return c, top, tenth_s, rise_through(times_s, smoothed, level + 0.5 * height, top)


@compiled
def _scale(values, variances, height, room):
    """What the first pass is fitted to: peak near 1."""
    for i in range(values.size):
        room.scaled[i], room.weights[i] = values[i] / height, height * height / variances[i]


@compiled
def _arrival(times_s, smoothed, level, height, top, tenth_s, rise_s, room):
    """Onset of the first pass, its uncertainty and the rise of the fit; nan where it is not identifiable."""
    fallen = top
    while fallen < times_s.size - 1 and smoothed[fallen] >= level + 0.9 * height:
        fallen += 1
    until_s = min(times_s[fallen], times_s[top] + 0.5 * rise_s)
    scaled, weights = room.scaled, room.weights
    p = room.p
    if _start(p, room.last, level / height, tenth_s, rise_s):
        until_s = cut_off_s(p)
    chi, number, used = 0.0, 0, _slots_until(times_s, until_s)
    for _ in range(2):
        if used < _LEAST_FIT_SLOTS:
            return math.nan, math.nan, math.nan
        number = used
        chi = fit_pass(times_s, scaled, weights, number, p, room, _WELL)
        used = _slots_until(times_s, cut_off_s(p))
        if used == number:
            break
    fit_rise_s, alpha = math.exp(p[LOG_RISE]), math.exp(p[LOG_ALPHA])
    onset_u = math.sqrt(variance_of(room, ONSET))
    onset_s, excess = p[ONSET], chi / max(number - 5, 1) - 1.0
    if _in_trouble(times_s, weights, number, p, excess, onset_u):
        room.last[PEAK] = 0.0
        return math.nan, math.nan, math.nan
    if excess > 3.0 * math.sqrt(2.0 / max(number - 5, 1)):
        early = _slots_until(times_s, onset_s + fit_rise_s * rises_to(_EARLY_SHARE, alpha))
        if early >= _LEAST_FIT_SLOTS:
            normal_equations(times_s, scaled, weights, early, p, room)
            solved_step(room, 0.0)
            onset_u = math.hypot(onset_u, room.step[ONSET])
    room.last[:] = p
    return onset_s, onset_u, fit_rise_s


@compiled
def _start(p, last, level, tenth_s, rise_s):
    """Begin with the bin before, if it rose about then and as fast, else with a usual shape; returns whether it did."""
    p[BASELINE], p[PEAK], p[ONSET] = level, 1.0, tenth_s - 0.25 * rise_s
    p[LOG_ALPHA], p[LOG_RISE] = math.log(3.0), math.log(1.25 * rise_s)
    if last[PEAK] > 0 and abs(last[ONSET] - p[ONSET]) < 0.3 * rise_s and abs(last[LOG_RISE] - p[LOG_RISE]) < 0.3:
        p[ONSET], p[LOG_ALPHA], p[LOG_RISE] = last[ONSET], last[LOG_ALPHA], last[LOG_RISE]
        return True
    return False


@compiled
def _slots_until(times_s, until_s):
    number = 0
    while number < times_s.size and times_s[number] <= until_s:
        number += 1
    return number


@compiled
def _in_trouble(times_s, weights, number, p, excess, onset_u):
    alpha = math.exp(p[LOG_ALPHA])
    mean_variance = 0.0
    for i in range(number):
        mean_variance += 1.0 / weights[i] / number
    misfit = math.sqrt(max(excess, 0.0) * mean_variance) / p[PEAK]
    too_wide = onset_u > _LARGEST_ONSET_U * math.exp(p[LOG_RISE])
    return p[ONSET] <= times_s[0] or not 0.4 < alpha < 25.0 or misfit > _LARGEST_MISFIT or too_wide


@compiled
def _plain_class(times_s, tables, variances, height, top, tenth_s, rise_s):
    """Width class at which the cubic's flattening stays well below the noise (reading.py)."""
    information = 0.0
    for i in range(top + 1):
        if times_s[i] >= tenth_s:
            information += height * height / variances[i]
    share = _PLAIN_WIDTH * (_USUAL_INFORMATION / max(math.sqrt(information), 1.0)) ** (2.0 / 9.0)
    return width_class(max(min(share, 0.6) * rise_s, tables.narrowest_s), tables.narrowest_s)


@compiled
def _landmarks(times_s, tables, values, variances, height, top, tenth_s, rise_s, foot_s, base, base_u, found, found_u):
    """Top, half rise and steepest rise, in ``found``."""
    c = _plain_class(times_s, tables, variances, height, top, tenth_s, rise_s)
    reach_s = 0.5 * rise_s
    node = highest_node(tables, c, values, times_s[top] - reach_s, times_s[top] + reach_s)
    if node < 0:
        return
    top_s, top_s_u, value, value_u = top_near(tables, c, node, values, variances)
    if top_s != top_s:
        return
    peak = value - base
    found[TOP], found_u[TOP] = peak, math.hypot(value_u, base_u)
    found[TOP_TIME], found_u[TOP_TIME] = top_s, top_s_u
    at_s, curve_u, slope = crossing_before(tables, c, node, base + 0.5 * peak, values, variances)
    found[HALF_TIME] = at_s
    found_u[HALF_TIME] = math.sqrt(curve_u**2 + 0.25 * value_u**2 + 0.25 * base_u**2) / slope
    found[STEEPEST], found_u[STEEPEST] = steepest_between(tables, c, foot_s, top_s, values, variances)
