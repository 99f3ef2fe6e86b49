"""A row of bins' time slots read: what reading.py reads from a region's curve, compiled and shortened for hundreds of thousands.

Shortened: landmarks come from the local cubic alone.
"""
# The types of a compiled function's arguments are the compiler's to infer.
# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# ruff: noqa: ANN001, ANN201, ANN202

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from shared.inflow.maps_compiled import compiled
from shared.inflow.maps_dot import padded
from shared.inflow.maps_first_pass import LOG_ALPHA, PEAK, lent_room
from shared.inflow.maps_kernel import NO_DATA
from shared.inflow.maps_landmarks import (
    SLOPE,
    VALUE,
    crossing_before,
    estimate,
    estimate_u,
    highest_node,
    rise_through,
    smooth,
    steepest_between,
    straightened,
    straightened_u,
    top_near,
)
from shared.inflow.maps_local_cubic import lent_tables, width_class
from shared.inflow.maps_onset import (
    BEFORE,
    FIT_RISE_S,
    HALF_S,
    HEIGHT,
    ONSET_S,
    ONSET_U,
    RISE_S,
    TENTH_S,
    first_passes,
)
from shared.inflow.maps_washout import half_life, sums_of_falls
from shared.lanes import borrowed

LEVEL, TOP, AT_REFERENCE, ARRIVAL, TO_PEAK, HALF_RISE, STEEPEST, HALF_LIFE, TOP_TIME = range(9)
"""Rows of what is found: baseline, peak above it, height at the reference's top, onset, from there to the peak and to half of it,
steepest rise, half-life; and, not kept, when the peak is."""
FOUND = 8
MEASURED, SATURATED, NO_RISE, UNCERTAIN, UNSEEN = range(5)
"""Classes of a map's bins."""

_LEAST_RISE = 6.0
_OUTLINE_WIDTH, _PLAIN_WIDTH, _USUAL_INFORMATION = 0.45, 0.36, 400.0


class Rows(NamedTuple):
    """Memory for one row of bins: what they hold, outlines, first passes and what is found.

    ``values`` and ``variances`` (width, slots), padded; ``kinds`` (width,) classes, UNSEEN where there is nothing to read;
    ``found`` and ``found_u`` (FOUND + 1, width), nan where a thing cannot be known; ``pulls`` (width, slots), padded, covariances
    of the onset with each value, ``shared`` (slots,) of the baseline of one bin, up to where it ends; ``alike`` (slots,) variances
    that a slot may share with others, for a pixel, ``kept`` (slots,) what of those before is left in it, and ``a_pixel`` (width,)
    how many times that is a bin's, 0 where no slot shares anything.
    """

    values: NDArray[np.float64]
    variances: NDArray[np.float64]
    kinds: NDArray[np.uint8]
    found: NDArray[np.float64]
    found_u: NDArray[np.float64]
    smoothed: NDArray[np.float64]
    widths: NDArray[np.int64]
    tops: NDArray[np.int64]
    outlines: NDArray[np.float64]
    rising: NDArray[np.int64]
    late: NDArray[np.int64]
    onsets: NDArray[np.float64]
    above: NDArray[np.float64]
    falls: NDArray[np.float64]
    pulls: NDArray[np.float64]
    shared: NDArray[np.float64]
    alike: NDArray[np.float64]
    kept: NDArray[np.float64]
    a_pixel: NDArray[np.float64]


def rows_of(width: int, slots: int) -> Rows:
    """Memory for ``width`` bins."""
    values, variances, pulls = np.zeros((3, width, padded(slots)))
    smoothed = np.empty((width, slots))
    found, found_u = np.empty((2, FOUND + 1, width))
    widths, tops, rising, late = np.empty((4, width), np.int64)
    kinds, above = np.zeros(width, np.uint8), np.zeros((5, width))
    outlines, onsets = np.empty((5, width)), np.empty((3, width))
    return Rows(
        values, variances, kinds, found, found_u, smoothed, widths, tops, outlines, rising, late, onsets, above,
        sums_of_falls(), pulls, np.empty(slots), np.zeros(slots), np.zeros(slots), np.zeros(width),
    )  # fmt: skip


@compiled
def lent_rows(rows):
    """The same without owners, as in maps_first_pass.lent_room."""
    return Rows(
        borrowed(rows.values), borrowed(rows.variances), borrowed(rows.kinds), borrowed(rows.found),
        borrowed(rows.found_u), borrowed(rows.smoothed), borrowed(rows.widths), borrowed(rows.tops),
        borrowed(rows.outlines), borrowed(rows.rising), borrowed(rows.late), borrowed(rows.onsets), borrowed(rows.above),
        borrowed(rows.falls), borrowed(rows.pulls), borrowed(rows.shared), borrowed(rows.alike), borrowed(rows.kept),
        borrowed(rows.a_pixel),
    )  # fmt: skip


# fmt: off
@compiled
def read_rows(
    planes, order, steps, noise, bins, relief2, off, factors, slots, early, tables, at_reference, moment_u_s, room, rows,
    first_row, last_row, found, found_u, classes,
):
    """Read all bins of some rows into ``found``, ``found_u`` (FOUND, height, width) float32 and ``classes`` (height, width).

    ``planes`` (places, height, width) int16, ``order`` (slots,) their places in order of time, ``steps`` (slots,), ``noise``
    (5, slots): shot and rest of each slot, the variance of its place in pixels, and ``alike`` and ``kept`` of ``Rows``; ``bins``:
    inverse flat and number of good pixels (height, width); ``relief2`` (height, width), the square of the share of itself by which
    a bin changes a pixel. The sum of ``off`` (parts, last_row - first_row, width) float32 times ``factors`` (parts, slots) is what
    ambient light did to these rows, and is taken off.
    """
    inverse_flat, pixels = bins
    number, width = order.size, inverse_flat.shape[1]
    lent, lent_at = lent_tables(tables), lent_tables(at_reference)
    room, rows, slots = lent_room(room), lent_rows(rows), borrowed(slots)
    for i in range(number):
        rows.alike[i], rows.kept[i] = noise[3, i], noise[4, i]
    some_alike = rows.alike.any()
    for y in range(first_row, last_row):
        _unpack(planes, order, steps, y, inverse_flat, rows)
        for x in range(width):
            f = inverse_flat[y, x]
            rest = pixels[y, x] * f * f
            rows.a_pixel[x] = rest if some_alike else 0.0
            rough2 = np.float64(relief2[y, x])
            for i in range(number):
                value = max(rows.values[x, i], 0.0)
                rows.variances[x, i] = value * (noise[0, i] * f + value * rough2 * noise[2, i]) + noise[1, i] * rest
            for part in range(factors.shape[0]):
                much = np.float64(off[part, y - first_row, x])
                for i in range(number):
                    rows.values[x, i] -= factors[part, i] * much
        read_row(slots, early, lent, lent_at, moment_u_s, room, rows)
        for x in range(width):
            classes[y, x] = rows.kinds[x]
        for k in range(FOUND):
            for x in range(width):
                found[k, y, x] = rows.found[k, x]
                found_u[k, y, x] = rows.found_u[k, x]
# fmt: on


@compiled
def _unpack(planes, order, steps, y, inverse_flat, rows):
    """Values of a row's bins, and which of them are seen."""
    width = inverse_flat.shape[1]
    for x in range(width):
        rows.kinds[x] = UNSEEN if inverse_flat[y, x] == 0 else MEASURED
    for i in range(order.size):
        for x in range(width):
            stored = planes[order[i], y, x]
            rows.values[x, i] = stored * steps[i]
            if stored == NO_DATA:
                rows.kinds[x] = UNSEEN


@compiled
def read_row(slots, early, tables, at_reference, moment_u_s, room, rows):
    """Read the bins of one row, all but those that are UNSEEN.

    ``slots`` (5, slots): start, end and mean time in seconds, frames, length in seconds; the first
    ``early`` of them came before the dye for certain; ``at_reference`` are tables of a single node, the reference's top, which is
    known to ``moment_u_s``.
    ``rows.above`` holds the fits of the row before, with no peak where there is none.
    """
    rows.found[:] = math.nan
    rows.found_u[:] = math.nan
    number = 0
    for x in range(rows.kinds.size):
        if rows.kinds[x] == UNSEEN:
            continue
        rows.kinds[x] = _look(slots, early, tables, at_reference, moment_u_s, rows, x)
        if rows.kinds[x] == MEASURED:
            rows.rising[number] = x
            number += 1
    first_passes(slots[2], rows.rising[:number], room, rows)
    for i in range(number):
        x = rows.rising[i]
        rows.kinds[x] = _read_rising(slots, tables, at_reference, moment_u_s, rows, x)


# ---- pieces ---------------------------------------------------------------------------------------------------------------


@compiled
def _look(slots, early, tables, at_reference, moment_u_s, rows, x):
    """Outline of a bin's curve; returns its class. One that does not rise is read here."""
    values, variances, outlines = rows.values[x], rows.variances[x], rows.outlines
    times_s, found, found_u = slots[2], rows.found, rows.found_u
    level, level_u = _mean_of_first(slots, early, values, variances, rows, x)
    if level != level:
        return UNSEEN
    c, top, tenth_s, half_s = _outline(times_s, level, tables, values, rows.smoothed[x])
    height = rows.smoothed[x, top] - level
    if height < _LEAST_RISE * math.hypot(level_u, estimate_u(tables, c, 2 * top, VALUE, variances)):
        found[LEVEL, x], found_u[LEVEL, x] = level, level_u
        found[AT_REFERENCE, x], curve_u = _at_moment(
            at_reference, moment_u_s, c, values, variances, rows.shared[:early]
        )
        found[AT_REFERENCE, x] -= level
        found_u[AT_REFERENCE, x] = math.hypot(curve_u, level_u)
        return NO_RISE
    rise_s = max(times_s[top] - tenth_s, 1e-3)
    rows.tops[x] = top
    outlines[BEFORE, x], outlines[HEIGHT, x] = level, height
    outlines[TENTH_S, x], outlines[HALF_S, x], outlines[RISE_S, x] = tenth_s, half_s, rise_s
    rows.widths[x] = _plain_class(times_s, tables, variances, height, top, tenth_s, rise_s)
    return MEASURED


@compiled
def _read_rising(slots, tables, at_reference, moment_u_s, rows, x):
    """All that is known of a bin whose curve rises, after its first pass was fitted; returns its class."""
    values, variances, outlines, times_s = rows.values[x], rows.variances[x], rows.outlines, slots[2]
    found, found_u = rows.found[:, x], rows.found_u[:, x]
    onset_s = rows.onsets[ONSET_S, x]
    foot_s = max(2.0 * outlines[TENTH_S, x] - outlines[HALF_S, x], times_s[0])
    if onset_s == onset_s:
        found[ARRIVAL], found_u[ARRIVAL] = onset_s, rows.onsets[ONSET_U, x]
        foot_s = onset_s - 0.02 * rows.onsets[FIT_RISE_S, x]
    before = _slots_before(slots, foot_s)
    base, base_u = _mean_of_first(slots, before, values, variances, rows, x)
    if base != base:
        found[:] = math.nan
        found_u[:] = math.nan
        return UNSEEN
    found[LEVEL], found_u[LEVEL] = base, base_u
    if rows.a_pixel[x] > 0.0:
        alike = rows.a_pixel[x] * _alike_of_onset(rows.pulls[x], variances, rows)
        # what slots have alike may cancel, but not more than half of what they have of their own
        found_u[ARRIVAL] = math.sqrt(max(found_u[ARRIVAL] ** 2 + alike, 0.5 * found_u[ARRIVAL] ** 2))
    c, top_s, reach_s = rows.widths[x], times_s[rows.tops[x]], 0.5 * outlines[RISE_S, x]
    node = highest_node(tables, c, values, top_s - reach_s, top_s + reach_s)
    if node >= 0:
        _landmarks(tables, c, node, values, variances, foot_s, rows.pulls[x], found, found_u)
    found[AT_REFERENCE], curve_u = _at_moment(at_reference, moment_u_s, c, values, variances, rows.shared[:before])
    found[AT_REFERENCE] -= base
    found_u[AT_REFERENCE] = math.hypot(curve_u, base_u)
    if found[TOP_TIME] == found[TOP_TIME]:
        found[HALF_LIFE], found_u[HALF_LIFE] = half_life(
            times_s, values, variances, base, base_u, found[TOP_TIME], _first_pass(rows, x), rows.falls
        )
    return MEASURED


@compiled
def _at_moment(at_reference, moment_u_s, c, values, variances, shared):
    """Value at the reference's top, and its uncertainty above the baseline but for the baseline's own: that of the curve, less what
    it has in common with the baseline, and of the moment where the curve is steep.
    """
    curve_u = straightened_u(at_reference, c, 0, VALUE, variances, shared)
    by_moment = estimate(at_reference, c, 0, SLOPE, values) * moment_u_s
    return straightened(at_reference, c, 0, VALUE, values), math.hypot(curve_u, by_moment)


@compiled
def _first_pass(rows, x):
    """Height, onset, alpha and rise of a bin's fit; height 0 where it has none to be trusted."""
    onset_s, above = rows.onsets[ONSET_S, x], rows.above
    height = rows.outlines[HEIGHT, x] * above[PEAK, x] if onset_s == onset_s else 0.0
    return height, onset_s, math.exp(above[LOG_ALPHA, x]), rows.onsets[FIT_RISE_S, x]


@compiled
def _mean_of_first(slots, number, values, variances, rows, x):
    """Mean of some first slots, weighted by their frames, and its uncertainty; ``rows.shared`` (slots,) becomes its covariance with
    each of them, but for what slots have alike.
    """
    total, frames, square, alike, before, shared = 0.0, 0.0, 0.0, 0.0, 0.0, rows.shared
    for i in range(number):
        weight = slots[3, i]
        total += weight * values[i]
        before *= rows.kept[i]
        alike += 2.0 * weight * before
        before += weight * rows.alike[i]
        frames += weight
        shared[i] = weight * variances[i]
        square += weight * shared[i]
    if frames == 0:
        return math.nan, math.nan
    per_frame = 1.0 / frames
    for i in range(number):
        shared[i] *= per_frame
    return total * per_frame, math.sqrt(square + rows.a_pixel[x] * alike) * per_frame


@compiled
def _alike_of_onset(pulls, variances, rows):
    """What the onset's variance gains by what slots have alike, times what it is for a pixel."""
    alike, before = 0.0, 0.0
    for i in range(rows.alike.size):
        weight = pulls[i] / variances[i]
        before *= rows.kept[i]
        alike += 2.0 * weight * before
        before += weight * rows.alike[i]
    return alike


@compiled
def _slots_before(slots, until_s):
    """How many slots end before a moment, 0 where they hold no three frames."""
    number, frames = 0, 0.0
    while number < slots.shape[1] and slots[1, number] < until_s:
        frames += slots[3, number]
        number += 1
    return number if frames >= 3 else 0


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
def _plain_class(times_s, tables, variances, height, top, tenth_s, rise_s):
    """Width class at which the cubic's flattening stays well below the noise (reading.py)."""
    information = 0.0
    for i in range(top + 1):
        if times_s[i] >= tenth_s:
            information += height * height / variances[i]
    share = _PLAIN_WIDTH * (_USUAL_INFORMATION / max(math.sqrt(information), 1.0)) ** (2.0 / 9.0)
    return width_class(max(min(share, 0.6) * rise_s, tables.narrowest_s), tables.narrowest_s)


@compiled
def _landmarks(tables, c, node, values, variances, foot_s, pulls, found, found_u):
    """Top, half rise and steepest rise, in ``found``; ``node`` is the one nearest to the top.

    Arrival and moments rest on the same slots: ``pulls`` (slots,) are covariances of the arrival with the values.
    """
    top_s, top_s_u, value, value_u, top_pull, value_pull = top_near(tables, c, node, values, variances, pulls)
    if top_s != top_s:
        return
    base, base_u, arrival_s, arrival_u = found[LEVEL], found_u[LEVEL], found[ARRIVAL], found_u[ARRIVAL]
    found[TOP], found_u[TOP] = value - base, math.hypot(value_u, base_u)
    found[TOP_TIME], found_u[TOP_TIME] = top_s, top_s_u
    found[TO_PEAK], found_u[TO_PEAK] = top_s - arrival_s, _apart_u(top_s_u, arrival_u, top_pull)
    half_s, curve_u, slope, curve_pull = crossing_before(
        tables, c, node, 0.5 * (value + base), values, variances, pulls
    )
    half_u = math.sqrt(curve_u**2 + 0.25 * value_u**2 + 0.25 * base_u**2) / slope
    # all slots of the baseline have the same
    half_pull = (0.5 * (value_pull + pulls[0]) - curve_pull) / slope
    found[HALF_RISE], found_u[HALF_RISE] = half_s - arrival_s, _apart_u(half_u, arrival_u, half_pull)
    found[STEEPEST], found_u[STEEPEST] = steepest_between(tables, c, foot_s, top_s, values, variances)


@compiled
def _apart_u(one_u, other_u, covariance):
    """Standard uncertainty of a difference."""
    return math.sqrt(max(one_u * one_u + other_u * other_u - 2.0 * covariance, 0.0))
