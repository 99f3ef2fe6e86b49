"""When the curves of some bins begin to rise: first passes fitted side by side, judged, and given an uncertainty."""
# The types of a compiled function's arguments are the compiler's to infer.
# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# ruff: noqa: ANN001, ANN201, ANN202

import math

import numpy as np

from shared.inflow.maps_compiled import compiled
from shared.inflow.maps_first_pass import (
    BASELINE,
    LANES,
    LOG_ALPHA,
    LOG_RISE,
    ONSET,
    PEAK,
    cut_off_s,
    early_step,
    fit_passes,
    know_onsets,
    rises_to,
)

BEFORE, HEIGHT, TENTH_S, HALF_S, RISE_S = range(5)
"""Rows of ``outlines``: level before the rise, height above it, when a tenth and half of it are passed, and
seconds from there to the top."""
ONSET_S, ONSET_U, FIT_RISE_S = range(3)
"""Rows of ``onsets``."""
LEAST_FIT_SLOTS = 8
_LARGEST_MISFIT, _LARGEST_ONSET_U = 0.03, 0.2
_LOG_EARLY = math.log(0.75)
_WELL = 0.5
_FEW_STEPS, _MANY_STEPS = 3, 10


@compiled
def first_passes(times_s, columns, room, rows):
    """Fill ``rows.onsets`` of the bins ``columns``; nan where an onset is not identifiable.

    Few fits take many steps. They are put aside after some, to be finished together.
    """
    late = 0
    for first in range(0, columns.size, LANES):
        some = columns[first : min(first + LANES, columns.size)]
        _load(times_s, some, room, rows, False)
        left = _fit(times_s, some.size, room, _FEW_STEPS)
        _judge(times_s, some, room, rows)
        for k in range(some.size if left else 0):
            if room.late[k]:
                rows.late[late] = some[k]
                late += 1
    for first in range(0, late, LANES):
        some = rows.late[first : min(first + LANES, late)]
        _load(times_s, some, room, rows, True)
        _fit(times_s, some.size, room, _MANY_STEPS)
        room.late[:] = False
        _judge(times_s, some, room, rows)


@compiled
def _load(times_s, columns, room, rows, go_on):
    """Put bins into lanes: curves with their peaks near 1, weights, where the fits begin and end."""
    scaled, weights, p, number, outlines = room.scaled, room.weights, room.p, room.number, rows.outlines
    values, variances, smoothed, tops, above = rows.values, rows.variances, rows.smoothed, rows.tops, rows.above
    room.open[:] = False
    for k in range(columns.size):
        x = columns[k]
        level, height, top, rise_s = outlines[BEFORE, x], outlines[HEIGHT, x], tops[x], outlines[RISE_S, x]
        per_height, square = 1.0 / height, height * height
        for i in range(times_s.size):
            scaled[i * LANES + k] = values[x, i] * per_height
            weights[i * LANES + k] = square / variances[x, i]
        fallen = top
        while fallen < times_s.size - 1 and smoothed[x, fallen] >= level + 0.9 * height:
            fallen += 1
        until_s = min(times_s[fallen], times_s[top] + 0.5 * rise_s)
        if go_on:
            for a in range(5):
                p[a, k] = above[a, x]
            until_s = cut_off_s(p, k)
        elif _start(p, k, above, x, level / height, outlines[TENTH_S, x], rise_s):
            until_s = cut_off_s(p, k)
        number[k] = slots_until(times_s, until_s)
        room.open[k] = number[k] >= LEAST_FIT_SLOTS
        if not room.open[k]:
            number[k] = 0


@compiled
def _fit(times_s, lanes, room, steps):
    """Fit all, and those again whose fit says that it should end elsewhere; tells whether any needs more steps (``room.late``)."""
    late = False
    fit_passes(times_s, room, _WELL, steps)
    for k in range(LANES):
        room.late[k] = room.open[k]
        late |= room.open[k]
        room.open[k] = False
    if _cut_anew(times_s, lanes, room):
        fit_passes(times_s, room, _WELL, steps)
        for k in range(LANES):
            room.late[k] |= room.open[k]
            late |= room.open[k]
            room.open[k] = False
    return late


@compiled
def slots_until(times_s, until_s):
    """How many slots lie no later than a moment."""
    number = 0
    while number < times_s.size and times_s[number] <= until_s:
        number += 1
    return number


@compiled
def _start(p, k, above, x, level, tenth_s, rise_s):
    """Begin with the bin above, if it rose about then and as fast, else with a usual shape; returns whether it did."""
    p[BASELINE, k], p[PEAK, k], p[ONSET, k] = level, 1.0, tenth_s - 0.25 * rise_s
    p[LOG_ALPHA, k], p[LOG_RISE, k] = math.log(3.0), math.log(1.25 * rise_s)
    near = abs(above[ONSET, x] - p[ONSET, k]) < 0.3 * rise_s and abs(above[LOG_RISE, x] - p[LOG_RISE, k]) < 0.3
    if above[PEAK, x] > 0 and near:
        for a in (ONSET, LOG_ALPHA, LOG_RISE):
            p[a, k] = above[a, x]
        return True
    return False


@compiled
def _cut_anew(times_s, lanes, room):
    """Open those lanes whose fit says that it should end elsewhere; returns whether there are any."""
    any_open = False
    for k in range(lanes):
        if room.number[k] == 0 or room.late[k]:
            continue
        used = slots_until(times_s, cut_off_s(room.p, k))
        if used < LEAST_FIT_SLOTS:
            room.number[k] = 0
        elif used != room.number[k]:
            room.number[k], room.open[k], any_open = used, True, True
    return any_open


@compiled
def _judge(times_s, columns, room, rows):
    """Take over the fits that are finished and can be trusted; the others' parameters are kept as they are.

    Where a curve fits less well than noise allows, its uncertainty also holds where the onset goes when only the early rise is
    believed.
    """
    p, any_open = room.p, False
    know_onsets(times_s.size, room)
    for k in range(columns.size):
        x, number = columns[k], room.number[k]
        for a in range(5):
            rows.above[a, x] = p[a, k]
        if room.late[k]:
            continue
        rows.onsets[ONSET_S, x] = math.nan
        excess = room.chi[k] / max(number - 5, 1) - 1.0
        onset_u, rise_s, alpha = math.sqrt(room.onset_variance[k]), math.exp(p[LOG_RISE, k]), math.exp(p[LOG_ALPHA, k])
        if number == 0 or _in_trouble(times_s, p, room.weights, number, k, excess, onset_u, rise_s, alpha):
            rows.above[PEAK, x] = 0.0
            continue
        rows.onsets[ONSET_S, x], rows.onsets[ONSET_U, x], rows.onsets[FIT_RISE_S, x] = p[ONSET, k], onset_u, rise_s
        for i in range(times_s.size):
            rows.pulls[x, i] = room.pulls[i * LANES + k] * rows.outlines[HEIGHT, x]
        if excess > 3.0 * math.sqrt(2.0 / max(number - 5, 1)):
            early = slots_until(times_s, p[ONSET, k] + rise_s * rises_to(_LOG_EARLY, alpha))
            if early >= LEAST_FIT_SLOTS:
                room.number[k], room.open[k], any_open = early, True, True
    if any_open:
        early_step(times_s, room)
        know_onsets(times_s.size, room)
        for k in range(columns.size):
            if room.open[k]:
                x = columns[k]
                variance = rows.onsets[ONSET_U, x] ** 2
                # knowing less, the early rise alone would put the onset elsewhere by noise too
                by_noise = max(room.onset_variance[k] - variance, 0.0)
                rows.onsets[ONSET_U, x] = math.sqrt(variance + max(room.step[ONSET, k] ** 2 - by_noise, 0.0))


@compiled
def _in_trouble(times_s, p, weights, number, k, excess, onset_u, rise_s, alpha):
    mean_variance = 0.0
    for i in range(number):
        mean_variance += 1.0 / np.float64(weights[i * LANES + k])
    misfit = math.sqrt(max(excess, 0.0) * mean_variance / number) / p[PEAK, k]
    too_wide = onset_u > _LARGEST_ONSET_U * rise_s
    return p[ONSET, k] <= times_s[0] or not 0.4 < alpha < 25.0 or misfit > _LARGEST_MISFIT or too_wide
