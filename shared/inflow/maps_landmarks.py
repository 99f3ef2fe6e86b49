"""Where a bin's curve rises, is highest, is half as high and steepest, on local cubics whose factors all bins share."""
# The types of a compiled function's arguments are the compiler's to infer.
# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# ruff: noqa: ANN001, ANN201

import math

from shared.inflow.maps_compiled import compiled, summing
from shared.inflow.maps_local_cubic import CLASSES, RATIO

VALUE, SLOPE, CURVATURE = range(3)
_SMOOTHER = 3
_WIDER = 2
_WIDER_BENDS = RATIO ** (4 * _WIDER) - 1.0
"""What a local cubic flattens goes with the fourth power of its width, values and slopes alike (Fan & Gijbels 1996; from memory)"""


@summing
def estimate(tables, c, node, which, values):
    """Value, slope or curvature at a node for width class ``c``."""
    begin, total = tables.first[c, node], 0.0
    for i in range(tables.number[c, node]):
        total += tables.factors[c, node, which, i] * values[begin + i]
    return total


@summing
def estimate_u(tables, c, node, which, variances):
    """Standard uncertainty of the same."""
    begin, total = tables.first[c, node], 0.0
    for i in range(tables.number[c, node]):
        factor = tables.factors[c, node, which, i]
        total += factor * factor * variances[begin + i]
    return math.sqrt(total)


@compiled
def flattened(tables, c, node, which, values):
    """By how much smoothing falsifies the same, judged by what wider smoothing does."""
    wider = min(c + _WIDER, CLASSES - 1)
    return (estimate(tables, wider, node, which, values) - estimate(tables, c, node, which, values)) / _WIDER_BENDS


@summing
def beside_u(tables, c, node, apart_s, variances):
    """Standard uncertainty of the value that a node's cubic has ``apart_s`` after it."""
    begin, total = tables.first[c, node], 0.0
    for i in range(tables.number[c, node]):
        factor = tables.factors[c, node, VALUE, i] + apart_s * tables.factors[c, node, SLOPE, i]
        factor += 0.5 * apart_s * apart_s * tables.factors[c, node, CURVATURE, i]
        total += factor * factor * variances[begin + i]
    return math.sqrt(total)


@compiled
def smooth(tables, c, values, smoothed):
    """Smoothed values at the slots, which are the even nodes; returns where they are highest."""
    top = 0
    for i in range(values.size):
        smoothed[i] = estimate(tables, c, 2 * i, VALUE, values)
        if smoothed[i] > smoothed[top]:
            top = i
    return top


@compiled
def rise_through(times_s, smoothed, level, top):
    """Roughly when the smoothed values last rise through ``level`` before slot ``top``; the first slot's time where never."""
    i = top
    while i >= 0 and smoothed[i] >= level:
        i -= 1
    if i < 0 or i == top:
        return times_s[0]
    share = (level - smoothed[i]) / max(smoothed[i + 1] - smoothed[i], 1e-30)
    return times_s[i] + share * (times_s[i + 1] - times_s[i])


@compiled
def highest_node(tables, c, values, first_s, last_s):
    """The node between two moments where the curve is highest, seen so smoothly that it is not the luckiest noise that is taken.

    Slots are looked at first, then the nodes beside the highest.
    """
    smoother, nodes_s = min(c + _SMOOTHER, CLASSES - 1), tables.nodes_s
    best, node = -math.inf, -1
    for j in range(0, nodes_s.size, 2):
        if first_s <= nodes_s[j] <= last_s:
            value = estimate(tables, smoother, j, VALUE, values)
            if value > best:
                best, node = value, j
    slot = node
    for j in range(max(slot - 1, 0), min(slot + 2, nodes_s.size), 2):
        if first_s <= nodes_s[j] <= last_s:
            value = estimate(tables, smoother, j, VALUE, values)
            if value > best:
                best, node = value, j
    return node


@compiled
def top_near(tables, c, node, values, variances):
    """Moment and value of the top near a node, with uncertainties; nan where the slope passes zero nowhere near."""
    slope, curvature = estimate(tables, c, node, SLOPE, values), estimate(tables, c, node, CURVATURE, values)
    last = tables.nodes_s.size - 1
    reach_s = tables.nodes_s[min(node + 1, last)] - tables.nodes_s[max(node - 1, 0)]
    step_s = -slope / curvature if curvature < 0 else math.inf
    if abs(step_s) > reach_s:
        return math.nan, math.nan, math.nan, math.nan
    value = estimate(tables, c, node, VALUE, values) + 0.5 * slope * step_s
    slope_u = math.hypot(estimate_u(tables, c, node, SLOPE, variances), flattened(tables, c, node, SLOPE, values))
    value_u = math.hypot(beside_u(tables, c, node, step_s, variances), flattened(tables, c, node, VALUE, values))
    return tables.nodes_s[node] + step_s, slope_u / -curvature, value, value_u


@compiled
def crossing_before(tables, c, node, level, values, variances):
    """Moment at which the curve last rises through ``level`` before ``node``, uncertainty of the curve there, and its slope."""
    j, above = node, estimate(tables, c, node, VALUE, values)
    while j > 0:
        below = estimate(tables, c, j - 1, VALUE, values)
        if below < level:
            break
        j, above = j - 1, below
    if j == 0 or above < level:
        return math.nan, math.nan, math.nan
    span_s = tables.nodes_s[j] - tables.nodes_s[j - 1]
    first = estimate(tables, c, j - 1, SLOPE, values) * span_s
    last = estimate(tables, c, j, SLOPE, values) * span_s
    share = (level - below) / (above - below)
    for _ in range(3):  # on the Hermite cubic between the two nodes
        a, b = 2.0 * (below - above) + first + last, 3.0 * (above - below) - 2.0 * first - last
        slope = (3.0 * a * share + 2.0 * b) * share + first
        if slope <= 0:
            slope = above - below
        share -= (((a * share + b) * share + first) * share + below - level) / slope
        share = min(max(share, 0.0), 1.0)
    near = j if share > 0.5 else j - 1
    curve_u = math.hypot(estimate_u(tables, c, near, VALUE, variances), flattened(tables, c, near, VALUE, values))
    return tables.nodes_s[j - 1] + share * span_s, curve_u, slope / span_s


@compiled
def steepest_between(tables, c, first_s, last_s, values, variances):
    """Greatest slope at the slots between two moments and the nodes beside it, and its uncertainty; nan where nothing rises."""
    nodes_s, best, at = tables.nodes_s, 0.0, -1
    for j in range(0, nodes_s.size, 2):
        if first_s <= nodes_s[j] <= last_s:
            slope = estimate(tables, c, j, SLOPE, values)
            if slope > best:
                best, at = slope, j
    if at < 0:
        return math.nan, math.nan
    slot = at
    for j in range(max(slot - 1, 0), min(slot + 2, nodes_s.size), 2):
        if first_s <= nodes_s[j] <= last_s:
            slope = estimate(tables, c, j, SLOPE, values)
            if slope > best:
                best, at = slope, j
    return best, math.hypot(estimate_u(tables, c, at, SLOPE, variances), flattened(tables, c, at, SLOPE, values))
