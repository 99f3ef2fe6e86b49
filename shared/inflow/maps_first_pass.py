"""The gamma variate through a bin's rise and top: as in first_pass.py, but compiled, for hundreds of thousands of bins."""
# The types of a compiled function's arguments are the compiler's to infer.
# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# ruff: noqa: ANN001, ANN201, ANN202

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from shared.inflow.maps_compiled import compiled, summing
from shared.inflow.maps_exponentials import exponentials, logarithms
from shared.lanes import borrowed

BASELINE, PEAK, ONSET, LOG_ALPHA, LOG_RISE = range(5)
CUT_OFF_SHARE = 0.9
"""That of outline.py (a test sees to it), which would bring scipy's memory into the imager."""
_STEPS = 10
_FURTHEST_LOG = math.log(8.0)


class Room(NamedTuple):
    """Memory for one fit after the other. ``last`` holds the parameters of the one before, with no peak where there is none."""

    scaled: NDArray[np.float64]
    weights: NDArray[np.float64]
    weighted: NDArray[np.float64]
    p: NDArray[np.float64]
    last: NDArray[np.float64]
    x: NDArray[np.float32]
    x_bits: NDArray[np.int32]
    scratch: NDArray[np.float32]
    scratch_bits: NDArray[np.int32]
    logs: NDArray[np.float32]
    exponents: NDArray[np.float32]
    units: NDArray[np.float32]
    columns: NDArray[np.float64]
    matrix: NDArray[np.float64]
    right: NDArray[np.float64]
    step: NDArray[np.float64]
    trial: NDArray[np.float64]


def room(slots: int) -> Room:
    """Room for curves of ``slots`` slots."""
    x, scratch = np.ones(slots, np.float32), np.ones(slots, np.float32)
    logs, exponents, units = np.empty((3, slots), np.float32)
    scaled, weights, weighted = np.empty((3, slots))
    p, last, right, step, trial = np.zeros((5, 5))
    bits, scratch_bits = x.view(np.int32), scratch.view(np.int32)
    columns, matrix = np.empty((6, slots)), np.empty((5, 5))
    fit = scaled, weights, weighted, p, last
    return Room(*fit, x, bits, scratch, scratch_bits, logs, exponents, units, columns, matrix, right, step, trial)


@compiled
def lent_room(room):
    """The same without owners: arrays inside a tuple would cost a reference count each at every call."""
    return Room(
        borrowed(room.scaled), borrowed(room.weights), borrowed(room.weighted), borrowed(room.p), borrowed(room.last),
        borrowed(room.x), borrowed(room.x_bits), borrowed(room.scratch), borrowed(room.scratch_bits), borrowed(room.logs),
        borrowed(room.exponents), borrowed(room.units), borrowed(room.columns), borrowed(room.matrix),
        borrowed(room.right), borrowed(room.step), borrowed(room.trial),
    )  # fmt: skip


@compiled
def fit_pass(times_s, values, weights, number, p, room, settled):
    """Fit parameters ``p`` (5,) to the first ``number`` slots by Levenberg and Marquardt; returns chi square.

    It begins at what ``p`` holds, and ends when a step promises to gain less chi square than ``settled``, in units of its mean a
    slot where that is over 1. ``weights`` are inverse variances; afterwards ``room.matrix`` holds the Cholesky factor of the normal
    equations. The peak should be near 1.
    """
    step, trial = room.step, room.trial
    low_rise, high_rise = p[LOG_RISE] - _FURTHEST_LOG, p[LOG_RISE] + _FURTHEST_LOG
    damping = 0.0
    chi = normal_equations(times_s, values, weights, number, p, room)
    for _ in range(_STEPS):
        promised = solved_step(room, damping)
        trial[:] = p
        for a in range(5):
            trial[a] += step[a]
        trial[PEAK] = min(max(trial[PEAK], 0.2), 5.0)
        trial[LOG_ALPHA] = min(max(trial[LOG_ALPHA], -1.6), 3.9)
        trial[LOG_RISE] = min(max(trial[LOG_RISE], low_rise), high_rise)
        if promised < settled * max(1.0, chi / number):
            p[:] = trial
            return chi - promised
        tried = normal_equations(times_s, values, weights, number, trial, room)
        if tried <= chi:
            chi = tried
            p[:] = trial
            damping *= 0.1
            continue
        damping = max(10.0 * damping, 1e-3)
        if damping > 1e6:
            break
        chi = normal_equations(times_s, values, weights, number, p, room)
    solved_step(room, 0.0)
    return chi


@compiled
def solved_step(room, damping):
    """Solve the normal equations into ``room.step``; returns by how much chi square should fall."""
    matrix, step, right = room.matrix, room.step, room.right
    for a in range(5):
        matrix[a, a] *= 1.0 + damping
        step[a] = right[a]
    _solve(matrix, step)
    promised = 0.0
    for a in range(5):
        promised += step[a] * right[a]
    return promised


@compiled
def variance_of(room, a):
    """Variance of parameter ``a`` out of the Cholesky factor that ``fit_pass`` leaves."""
    matrix, unit = room.matrix, room.trial
    unit[:] = 0.0
    unit[a] = 1.0
    total = 0.0
    for i in range(5):
        for k in range(i):
            unit[i] -= matrix[i, k] * unit[k]
        unit[i] /= matrix[i, i]
        total += unit[i] * unit[i]
    return total


@compiled
def falls_to(share, alpha):
    """Where, in units of the rise after the onset, a gamma variate has fallen to ``share`` of its peak."""
    wanted = math.log(share) / alpha
    x = 1.0 + math.sqrt(-2.0 * wanted) - 2.0 / 3.0 * wanted
    for _ in range(2):
        x -= (math.log(x) + 1.0 - x - wanted) / (1.0 / x - 1.0)
    return x


@compiled
def rises_to(share, alpha):
    """The same before the peak."""
    wanted = math.log(share) / alpha
    x = max(1.0 - math.sqrt(-2.0 * wanted) - 2.0 / 3.0 * wanted, math.exp(wanted - 1.0))
    for _ in range(3):
        x -= (math.log(x) + 1.0 - x - wanted) / (1.0 / x - 1.0)
    return x


@compiled
def cut_off_s(p):
    """Where the fit should end: at 90 % after the peak, at the latest half the rise after it."""
    rise_s = math.exp(p[LOG_RISE])
    return p[ONSET] + rise_s * min(falls_to(CUT_OFF_SHARE, math.exp(p[LOG_ALPHA])), 1.5)


@summing
def normal_equations(times_s, values, weights, number, p, room):
    """Fill the matrix (lower half) and right side in ``room`` at ``p``; returns chi square."""
    alpha, rise_s, peak = math.exp(p[LOG_ALPHA]), math.exp(p[LOG_RISE]), p[PEAK]
    onset_s, baseline = p[ONSET], p[BASELINE]
    x, logs, units, columns = room.x, room.logs, room.units, room.columns
    per_s, least = 1.0 / rise_s, np.float32(1e-6)
    for i in range(number):
        x[i] = max(np.float32((times_s[i] - onset_s) * per_s), least)
    logarithms(number, x, room.x_bits, room.scratch, room.scratch_bits, logs)
    exponent, one = np.float32(alpha), np.float32(1.0)
    for i in range(number):
        logs[i] = logs[i] + one - x[i]
        room.exponents[i] = exponent * logs[i]
    exponentials(number, room.exponents, room.scratch, room.scratch_bits, units)
    for i in range(number):
        unit = np.float64(units[i])
        by_x = peak * alpha * (1.0 / x[i] - 1.0) * unit
        columns[0, i] = 1.0
        columns[1, i] = unit
        columns[2, i] = -by_x * per_s
        columns[3, i] = peak * alpha * unit * logs[i]
        columns[4, i] = -by_x * x[i]
        columns[5, i] = values[i] - baseline - peak * unit
    weighted = room.weighted
    for a in range(5):
        right, own, constant = 0.0, 0.0, 0.0
        for i in range(number):
            weighted[i] = weights[i] * columns[a, i]
            right += weighted[i] * columns[5, i]
            own += weighted[i] * columns[a, i]
            constant += weighted[i]
        room.right[a], room.matrix[a, a], room.matrix[a, 0] = right, own, constant
        for b in range(1, a):
            total = 0.0
            for i in range(number):
                total += weighted[i] * columns[b, i]
            room.matrix[a, b] = total
    chi = 0.0
    for i in range(number):
        chi += weights[i] * columns[5, i] * columns[5, i]
    return chi


@compiled
def _factorise(matrix):
    """Cholesky factor into the lower half, in place; a parameter that nothing speaks of gets a variance beyond any use."""
    for i in range(5):
        for k in range(i + 1):
            total = matrix[i, k]
            for m in range(k):
                total -= matrix[i, m] * matrix[k, m]
            if i == k:
                matrix[i, i] = math.sqrt(max(total, 1e-12 * abs(matrix[i, i]) + 1e-30))
            else:
                matrix[i, k] = total / matrix[k, k]


@compiled
def _solve(matrix, step):
    """Solve in place; ``matrix`` becomes its Cholesky factor."""
    _factorise(matrix)
    for i in range(5):
        for k in range(i):
            step[i] -= matrix[i, k] * step[k]
        step[i] /= matrix[i, i]
    for i in range(4, -1, -1):
        for k in range(i + 1, 5):
            step[i] -= matrix[k, i] * step[k]
        step[i] /= matrix[i, i]
