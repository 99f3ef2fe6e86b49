"""The gamma variate through rise and top of many bins side by side: as in first_pass.py, but compiled, a lane of a vector each.

Columns are worked out in float32, whose errors lie far below the noise of a slot; the normal equations are solved in float64.
"""
# The types of a compiled function's arguments are the compiler's to infer.
# mypy: disable-error-code="no-untyped-def,no-untyped-call,call-arg"
# ruff: noqa: ANN001, ANN201, ANN202

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from shared.inflow.maps_compiled import compiled, summing
from shared.inflow.maps_exponentials import exponentials, logarithms
from shared.inflow.maps_lane_sums import TOGETHER, lane_sums
from shared.lanes import borrowed

LANES = 32
BASELINE, PEAK, ONSET, LOG_ALPHA, LOG_RISE = range(5)
CUT_OFF_SHARE = 0.9
"""That of outline.py (a test sees to it), which would bring scipy's memory into the imager."""
_BASE, _PEAK, _ONSET, _ALPHA, _PER_S, _STEEPNESS, _OF_POWER = range(7)
"""Rows of ``Room.numbers``: the parameters as float32, alpha x peak, and see ``_means_of_slots``."""
_SERIES = (
    -5221.0 / 354648294000.0, 163879.0 / 2172751257600.0, -281.0 / 1515591000.0, -571.0 / 2351462400.0, 1.0 / 204120.0,
    -139.0 / 5443200.0, 1.0 / 17010.0, 1.0 / 4320.0, -1.0 / 270.0, 1.0 / 36.0, 1.0 / 3.0, 1.0,
)  # fmt: skip
"""Of u - log(1 + u) = s^2 / 2, solved for u in powers of s, highest first; each follows from those before by comparing powers."""
_LOG_CUT_OFF = math.log(CUT_OFF_SHARE)
_FURTHEST_LOG = math.log(8.0)
_NEAR = 6.0
"""Slots so many lengths from the onset, or more, are short enough that logarithm and rate in their middle are those of the mean."""
_LEAST_EXPONENT = np.float32(-30.0)
"""Of a curve before its onset, so that no product of two columns is too small for float32, which would cost a hundredfold time."""

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]


class Room(NamedTuple):
    """Memory for ``LANES`` fits side by side; what is a slot's lies slot by slot, ``LANES`` numbers each.

    ``scaled`` and ``weights`` (slots x LANES,) are the curves and their inverse variances, ``number`` (LANES,) to how many slots
    each is fitted, ``open`` which are being fitted, ``late`` which need more steps, ``p`` (5, LANES) the parameters, ``chi`` chi
    square, ``pulls`` (slots x LANES,) the covariance of the onset with each slot's value, ``lengths_s`` (slots,) how long each slot
    is.
    """

    scaled: F32
    weights: F32
    number: NDArray[np.int64]
    open: NDArray[np.bool_]
    late: NDArray[np.bool_]
    p: F64
    chi: F64
    onset_variance: F64
    towards_onset: F64
    pulls: F32
    used: F32
    x: F32
    x_bits: NDArray[np.int32]
    scratch: F32
    scratch_bits: NDArray[np.int32]
    logs: F32
    exponents: F32
    columns: F32
    numbers: F32
    sums: F32
    matrix: F64
    right: F64
    tried: F64
    kept_matrix: F64
    kept_right: F64
    factor: F64
    step: F64
    trial: F64
    promised: F64
    least: F64
    damping: F64
    rise_limits: F64
    lengths_s: F64


def room(lengths_s: F64) -> Room:
    """Room for curves of slots of these lengths."""
    slots = lengths_s.size
    flat = slots * LANES
    scaled, weights, used, x, scratch, logs, exponents, pulls = np.ones((8, flat), np.float32)
    matrix, kept_matrix, factor = np.zeros((3, 5, 5, LANES))
    p, right, kept_right, step, trial, towards_onset = np.zeros((6, 5, LANES))
    chi, onset_variance, tried, promised, least, damping = np.zeros((6, LANES))
    number, numbers, sums = (
        np.zeros(LANES, np.int64),
        np.zeros((7, LANES), np.float32),
        np.zeros((21, LANES), np.float32),
    )
    is_open, late, columns, limits = (
        *np.zeros((2, LANES), np.bool_),
        np.ones((6, flat), np.float32),
        np.zeros((2, LANES)),
    )
    return Room(
        scaled, weights, number, is_open, late, p, chi, onset_variance, towards_onset, pulls, used, x, x.view(np.int32),
        scratch, scratch.view(np.int32), logs, exponents, columns, numbers, sums, matrix, right, tried, kept_matrix,
        kept_right, factor, step, trial, promised, least, damping, limits, lengths_s,
    )  # fmt: skip


@compiled
def lent_room(room):
    """The same without owners: arrays inside a tuple would cost a reference count each at every call."""
    return Room(
        borrowed(room.scaled), borrowed(room.weights), borrowed(room.number), borrowed(room.open),
        borrowed(room.late), borrowed(room.p), borrowed(room.chi), borrowed(room.onset_variance),
        borrowed(room.towards_onset), borrowed(room.pulls), borrowed(room.used), borrowed(room.x),
        borrowed(room.x_bits), borrowed(room.scratch), borrowed(room.scratch_bits),
        borrowed(room.logs), borrowed(room.exponents), borrowed(room.columns), borrowed(room.numbers),
        borrowed(room.sums), borrowed(room.matrix), borrowed(room.right), borrowed(room.tried),
        borrowed(room.kept_matrix), borrowed(room.kept_right), borrowed(room.factor), borrowed(room.step),
        borrowed(room.trial), borrowed(room.promised), borrowed(room.least), borrowed(room.damping),
        borrowed(room.rise_limits), borrowed(room.lengths_s),
    )  # fmt: skip


@compiled
def fit_passes(times_s, room, settled, steps):
    """Fit ``room.p`` in all open lanes to the first ``room.number`` slots of each by Levenberg and Marquardt.

    It begins at what ``p`` holds, and closes a lane when a step promises to gain less chi square than ``settled``, in units of its
    mean a slot where that is over 1. Lanes that take more than ``steps`` stay open. ``room.chi`` becomes chi square. The peak
    should be near 1.
    """
    p, trial, chi, damping, limits = room.p, room.trial, room.chi, room.damping, room.rise_limits
    most = _begin(room)
    for k in range(LANES):
        damping[k] = 0.0
        if room.open[k]:
            chi[k] = math.inf
        limits[0, k], limits[1, k] = p[LOG_RISE, k] - _FURTHEST_LOG, p[LOG_RISE, k] + _FURTHEST_LOG
        for a in range(5):
            trial[a, k] = p[a, k]
    normal_equations(times_s, most, trial, room)
    _judge_trials(room)
    for _ in range(steps):
        solve(room)
        _step(room)
        left = 0
        for k in range(LANES):
            if room.open[k] and room.promised[k] < settled * max(1.0, chi[k] / room.number[k]):
                for a in range(5):
                    p[a, k] = trial[a, k]
                chi[k] -= room.promised[k]
                room.open[k] = False
            left += room.open[k]
        if left == 0:
            break
        normal_equations(times_s, most, trial, room)
        _judge_trials(room)


@compiled
def _begin(room):
    """Weights of the slots that each lane is fitted to; returns the most slots of any."""
    most = 0
    for k in range(LANES):
        if room.open[k]:
            most = max(most, room.number[k])
    used, weights, number, nothing = room.used, room.weights, room.number, np.float32(0.0)
    for i in range(most):
        for k in range(LANES):
            used[i * LANES + k] = weights[i * LANES + k] if i < number[k] else nothing
    return most


@compiled
def _judge_trials(room):
    """Take the trials that lowered chi square, with their normal equations; where one did not, the next step is shorter."""
    p, trial, damping, kept = room.p, room.trial, room.damping, room.kept_matrix
    for k in range(LANES):
        if not room.open[k]:
            continue
        if not room.tried[k] <= room.chi[k]:
            damping[k] = max(10.0 * damping[k], 1e-3)
            continue
        room.chi[k] = room.tried[k]
        damping[k] *= 0.1
        for a in range(5):
            p[a, k] = trial[a, k]
            room.kept_right[a, k] = room.right[a, k]
            for b in range(a + 1):
                kept[a, b, k] = room.matrix[a, b, k]


@compiled
def _step(room):
    """Where the steps lead, within limits; closed lanes stay where they are."""
    p, trial, step, limits, going = room.p, room.trial, room.step, room.rise_limits, room.open
    for a in range(5):
        for k in range(LANES):
            trial[a, k] = p[a, k] + (step[a, k] if going[k] else 0.0)
    for k in range(LANES):
        trial[PEAK, k] = min(max(trial[PEAK, k], 0.2), 5.0)
        trial[LOG_ALPHA, k] = min(max(trial[LOG_ALPHA, k], -1.6), 3.9)
        trial[LOG_RISE, k] = min(max(trial[LOG_RISE, k], limits[0, k]), limits[1, k])


@compiled
def early_step(times_s, room):
    """Where one step from ``room.p`` leads, in open lanes, that knows but the first ``room.number`` slots, into ``room.step``."""
    most = _begin(room)
    for k in range(LANES):
        room.damping[k], room.chi[k] = 0.0, math.inf
        for a in range(5):
            room.trial[a, k] = room.p[a, k]
    normal_equations(times_s, most, room.trial, room)
    _judge_trials(room)
    solve(room)


@compiled
def solve(room):
    """Solve the kept normal equations into ``room.step``; ``promised`` is by how much chi square should fall."""
    for i in range(5):
        for j in range(i + 1):
            _factor_element(room, i, j)
    _substitute(room.factor, room.kept_right, room.step)
    step, right = room.step, room.kept_right
    for k in range(LANES):
        room.promised[k] = 0.0
        for i in range(5):
            room.promised[k] += step[i, k] * right[i, k]


@compiled
def know_onsets(slots, room):
    """Fill ``onset_variance`` and ``pulls`` of all lanes from what ``solve`` left.

    A parameter that nothing speaks of gets a variance beyond any use.
    """
    for i in range(ONSET, 5):
        _of_factor_s_inverse(room.factor, room.towards_onset, i)
    for k in range(LANES):
        room.onset_variance[k] = 0.0
    for i in range(ONSET, 5):
        for k in range(LANES):
            room.onset_variance[k] += room.towards_onset[i, k] ** 2
    for i in range(4, -1, -1):
        _of_inverse(room.factor, room.towards_onset, i)
    _pulls(slots, room)


@summing
def _of_factor_s_inverse(factor, column, i):
    """Element of that column of the factor's inverse which begins at the onset."""
    for k in range(LANES):
        column[i, k] = 1.0 if i == ONSET else 0.0
    for j in range(ONSET, i):
        for k in range(LANES):
            column[i, k] -= factor[i, j, k] * column[j, k]
    for k in range(LANES):
        column[i, k] *= factor[i, i, k]


@summing
def _of_inverse(factor, column, i):
    """Element of the onset's column of the inverse of the whole matrix, in place of that."""
    if i < ONSET:
        for k in range(LANES):
            column[i, k] = 0.0
    for j in range(i + 1, 5):
        for k in range(LANES):
            column[i, k] -= factor[j, i, k] * column[j, k]
    for k in range(LANES):
        column[i, k] *= factor[i, i, k]


@summing
def _pulls(slots, room):
    pulls, columns, numbers, number = room.pulls, room.columns, room.numbers, room.number
    for a in range(5):
        for k in range(LANES):
            numbers[a, k] = room.towards_onset[a, k]
    for i in range(slots):
        first = i * LANES
        for k in range(LANES):
            pull = numbers[0, k] * columns[0, first + k] + numbers[1, k] * columns[1, first + k]
            pull += numbers[2, k] * columns[2, first + k] + numbers[3, k] * columns[3, first + k]
            pull += numbers[4, k] * columns[4, first + k]
            pulls[first + k] = pull if i < number[k] else np.float32(0.0)


@summing
def _factor_element(room, i, j):
    """Element of the Cholesky factor of the kept matrix; on the diagonal its inverse, which is all that is needed of it."""
    element = room.factor[i, j]
    for k in range(LANES):
        element[k] = room.kept_matrix[i, j, k]
    if i == j:
        for k in range(LANES):
            element[k] *= 1.0 + room.damping[k]
            room.least[k] = 1e-12 * abs(element[k]) + 1e-30
    for m in range(j):
        one, other = room.factor[i, m], room.factor[j, m]
        for k in range(LANES):
            element[k] -= one[k] * other[k]
    if i == j:
        for k in range(LANES):
            element[k] = 1.0 / math.sqrt(max(element[k], room.least[k]))
    else:
        for k in range(LANES):
            element[k] *= room.factor[j, j, k]


@summing
def _substitute(factor, right, step):
    for i in range(5):
        for k in range(LANES):
            step[i, k] = right[i, k]
        for j in range(i):
            for k in range(LANES):
                step[i, k] -= factor[i, j, k] * step[j, k]
        for k in range(LANES):
            step[i, k] *= factor[i, i, k]
    for i in range(4, -1, -1):
        for j in range(i + 1, 5):
            for k in range(LANES):
                step[i, k] -= factor[j, i, k] * step[j, k]
        for k in range(LANES):
            step[i, k] *= factor[i, i, k]


@compiled
def normal_equations(times_s, most, p, room):
    """Fill ``matrix`` (lower half), ``right`` and ``tried`` (chi square) of all lanes at ``p`` over the first ``most`` slots."""
    numbers = room.numbers
    for k in range(LANES):
        numbers[_BASE, k], numbers[_PEAK, k], numbers[_ONSET, k] = p[BASELINE, k], p[PEAK, k], p[ONSET, k]
        room.x[k], room.x[LANES + k] = p[LOG_ALPHA, k], -p[LOG_RISE, k]
    exponentials(2 * LANES, room.x, room.scratch, room.scratch_bits, room.exponents)
    for k in range(LANES):
        numbers[_ALPHA, k], numbers[_PER_S, k] = room.exponents[k], room.exponents[LANES + k]
        numbers[_STEEPNESS, k] = numbers[_ALPHA, k] * numbers[_PEAK, k]
    _shapes(times_s, most, room)
    _columns(most, room)
    _sums(most, room)


@summing
def _shapes(times_s, most, room):
    """Gamma variates of peak 1 at all slots, ``columns[1]``, and logarithms of them over alpha, ``logs``."""
    x, logs, exponents, least = room.x, room.logs, room.exponents, np.float32(1e-6)
    one, two = np.float32(1.0), np.float32(2.0)
    onset, alpha, per_s = room.numbers[_ONSET], room.numbers[_ALPHA], room.numbers[_PER_S]
    for i in range(most):
        time_s, half_s = np.float32(times_s[i]), np.float32(0.5 * room.lengths_s[i])
        for k in range(LANES):
            since, half = (time_s - onset[k]) * per_s[k], half_s * per_s[k]
            inside = (since + half) * (alpha[k] + one) / (alpha[k] + two)
            x[i * LANES + k] = max(inside if since < half else since, least)
    flat = most * LANES
    logarithms(flat, x, room.x_bits, room.scratch, room.scratch_bits, logs)
    for at in range(flat):
        logs[at] = logs[at] + one - x[at]
    for i in range(most):
        for k in range(LANES):
            exponents[i * LANES + k] = max(alpha[k] * logs[i * LANES + k], _LEAST_EXPONENT)
    exponentials(flat, exponents, room.scratch, room.scratch_bits, room.columns[1])
    _means_of_slots(times_s, most, room)


@compiled
def _means_of_slots(times_s, most, room):
    """From values, logarithms and rates in the middle of slots to those of means over slots; rates go into ``columns[2]``."""
    onset, alpha, of_power = room.numbers[_ONSET], room.numbers[_ALPHA], room.numbers[_OF_POWER]
    first_s, last_s = onset[0], onset[0]
    for k in range(LANES):
        at = (alpha[k] + 1.0) / (alpha[k] + 2.0)
        of_power[k] = math.exp(-alpha[k] * math.log(at)) / (at * (alpha[k] + 1.0))
        first_s, last_s = min(first_s, onset[k]), max(last_s, onset[k])
    for i in range(most):
        near = first_s - room.lengths_s[i] < times_s[i] < last_s + _NEAR * room.lengths_s[i]
        if near:
            _mean_near_onset(np.float32(times_s[i]), np.float32(room.lengths_s[i]), i * LANES, room)
        else:
            _mean_of_slot(np.float32(room.lengths_s[i]), i * LANES, room)


@summing
def _mean_of_slot(length_s, first, room):
    """Of all lanes: the second derivative over 24, times the length squared."""
    x, unit, rate = room.x, room.columns[1], room.columns[2]
    alpha, per_s, one = room.numbers[_ALPHA], room.numbers[_PER_S], np.float32(1.0)
    half_s, share = np.float32(0.5) * length_s, length_s * length_s / np.float32(24.0)
    for k in range(LANES):
        inverse = per_s[k] / max(x[first + k], half_s * per_s[k])
        slope = alpha[k] * (inverse - per_s[k])
        unit[first + k] *= one + share * (slope * slope - alpha[k] * inverse * inverse)
        rate[first + k] = slope


@summing
def _mean_near_onset(time_s, length_s, first, room):
    """The same where logarithm and rate count too. In the slot that the onset falls into the mean of the power is in closed form:
    the value was taken at (alpha + 1) / (alpha + 2) of what the dye has of that slot, which is the mean moment of its dye; what the
    exponential bends round there is added.
    """
    x, unit, rate, logs = room.x, room.columns[1], room.columns[2], room.logs
    onset, alpha, per_s, of_power = (
        room.numbers[_ONSET],
        room.numbers[_ALPHA],
        room.numbers[_PER_S],
        room.numbers[_OF_POWER],
    )
    half, one, two, three = np.float32(0.5), np.float32(1.0), np.float32(2.0), np.float32(3.0)
    half_s, share, least = half * length_s, length_s * length_s / np.float32(24.0), np.float32(1e-3)
    for k in range(LANES):
        begins = abs(time_s - onset[k]) < half_s
        here, at = x[first + k], (alpha[k] + one) / (alpha[k] + two)
        inverse = per_s[k] / max(here, half_s * per_s[k])
        apart, bend = inverse - per_s[k], alpha[k] * inverse * inverse
        slope = alpha[k] * apart
        whole = one + share * (slope * slope - bend)
        whole_rate = (slope + share * (slope * slope * slope - three * slope * bend + two * bend * inverse)) / whole
        spread = half * alpha[k] * alpha[k] * here * here / ((alpha[k] + one) * (alpha[k] + three))
        part = max(of_power[k] * here / (length_s * per_s[k]) * (one + spread), least)
        unit[first + k] *= part if begins else whole
        rate[first + k] = per_s[k] * at * ((alpha[k] + one) / here - alpha[k]) if begins else whole_rate
        more = share / whole * (two * apart * slope - inverse * inverse)
        logs[first + k] += np.float32(0.0) if begins else more


@summing
def _columns(most, room):
    """Derivatives by the parameters, and what is left. One column a loop: in one loop for all the compiler takes no lanes."""
    x, logs, scaled, one = room.x, room.logs, room.scaled, np.float32(1.0)
    base, peak, steepness = room.numbers[_BASE], room.numbers[_PEAK], room.numbers[_STEEPNESS]
    unit, by_onset, by_alpha = room.columns[1], room.columns[2], room.columns[3]
    by_rise, residual = room.columns[4], room.columns[5]
    for i in range(most):
        first = i * LANES
        for k in range(LANES):
            by_rise[first + k] = steepness[k] * unit[first + k] * (x[first + k] - one)
        for k in range(LANES):
            by_onset[first + k] *= -peak[k] * unit[first + k]
        for k in range(LANES):
            by_alpha[first + k] = steepness[k] * unit[first + k] * logs[first + k]
        for k in range(LANES):
            residual[first + k] = scaled[first + k] - base[k] - peak[k] * unit[first + k]


@compiled
def _sums(most, room):
    """Sums over the slots of the products of the columns."""
    sums = room.sums
    for first in range(0, LANES, TOGETHER):
        lane_sums(room.used, room.columns, most, LANES, first, sums)
    at = 0
    for a in range(5):
        for b in range(a + 1):
            for k in range(LANES):
                room.matrix[a, b, k] = sums[at, k]
            at += 1
    for b in range(5):
        for k in range(LANES):
            room.right[b, k] = sums[at, k]
        at += 1
    for k in range(LANES):
        room.tried[k] = sums[at, k]


@compiled
def falls_to(log_share, alpha):
    """Where, in units of the rise after the onset, a gamma variate has fallen to a share of its peak, given as its logarithm.

    By a series good to 1e-8 where alpha is at least 0.4 (tested against Lambert's W).
    """
    return _crossed(math.sqrt(-2.0 * log_share / alpha))


@compiled
def rises_to(log_share, alpha):
    """The same before the peak."""
    return _crossed(-math.sqrt(-2.0 * log_share / alpha))


@compiled
def _crossed(s):
    u = 0.0
    for coefficient in _SERIES:
        u = (u + coefficient) * s
    return 1.0 + u


@compiled
def cut_off_s(p, k):
    """Where the fit of lane ``k`` should end: at 90 % after the peak, at the latest half the rise after it."""
    rise_s = math.exp(p[LOG_RISE, k])
    return p[ONSET, k] + rise_s * min(falls_to(_LOG_CUT_OFF, math.exp(p[LOG_ALPHA, k])), 1.5)
