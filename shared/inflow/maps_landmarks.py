"""Where a bin's curve rises, is highest, is half as high and steepest, on local cubics whose factors all bins share."""
# The types of a compiled function's arguments are the compiler's to infer.
# mypy: disable-error-code="no-untyped-def,no-untyped-call"
# ruff: noqa: ANN001, ANN201, ANN202

import math

from shared.inflow.maps_compiled import compiled, summing
from shared.inflow.maps_dot import dot, dot_squares
from shared.inflow.maps_local_cubic import CLASSES, RATIO

VALUE, SLOPE, CURVATURE = range(3)
_SMOOTHER = 3
_CLIMBED = 3
"""Nodes, half-way between slots too, from the highest of the smoother curve to the top, at most."""
_SLOPES_FLATTEN = 4.25
"""At the widths that are used the next terms count too: steepest slopes of gamma variates go with the power 4.2 to 5.7, but those
of quick rises in long slots with less than 4."""
_SLOPE_BEND = 14.0
"""How sharply the slope of a gamma variate bends where it is steepest, in units of itself over the square of the time from arrival
to peak: 13 to 15 for alpha from 2 to 4."""
_LUCK = 6.2 * (1.17 - 0.5)
"""Noise of a local cubic's slopes changes with time by 6.2 times the variance of its curvature, and that of the straightened slope
1.17 times as fast alongside (both worked out from the tables' factors, windows of 8 slots and more: 6.0 to 6.4, 1.17)."""
_STEADIER, _STEADIEST = 0.65, 0.75
"""The greatest of several noisy slopes scatters less than one: by 3 % where noise lifts it by 0.2 of its standard uncertainty, by
12 % at 0.43 (drawn 1500 times for ten widths and rises); the greatest of three independent ones by 25 % (David and Nagaraja 2003,
Order Statistics; from memory)."""
_WIDER = RATIO**1.9
"""What a local cubic flattens goes with the fourth power of its width, values and slopes alike (Fan & Gijbels 1996; from memory);
so it is judged by the next one that is at least so much wider. Windows that hold as few slots as they may are as wide in several
classes."""


@compiled
def estimate(tables, c, node, which, values):
    """Value, slope or curvature at a node for width class ``c``."""
    row = (c * tables.nodes_s.size + node) * 3 + which
    return dot(tables.factors, row, values, tables.first[c, node], tables.number[c, node])


@compiled
def estimate_u(tables, c, node, which, variances):
    """Standard uncertainty of the same."""
    row = (c * tables.nodes_s.size + node) * 3 + which
    return math.sqrt(dot_squares(tables.factors, row, variances, tables.first[c, node], tables.number[c, node]))


@compiled
def flattened(tables, c, node, which, values):
    """By how much smoothing falsifies the same, judged by what wider smoothing does."""
    wider, share = beyond(tables, c, node, which)
    return share * (estimate(tables, wider, node, which, values) - estimate(tables, c, node, which, values))


@compiled
def beyond(tables, c, node, which):
    """The next class that is so much wider, and the share of its difference that class ``c`` is falsified by; 0 where none is."""
    wider, least_s = c, _WIDER * tables.widths_s[c, node]
    while wider < CLASSES - 1 and tables.widths_s[wider, node] < least_s:
        wider += 1
    if tables.widths_s[wider, node] <= tables.widths_s[c, node]:
        return c, 0.0
    power = _SLOPES_FLATTEN if which == SLOPE else 4.0
    return wider, 1.0 / ((tables.widths_s[wider, node] / tables.widths_s[c, node]) ** power - 1.0)


@compiled
def straightened(tables, c, node, which, values):
    """The same less what smoothing falsifies."""
    return estimate(tables, c, node, which, values) - flattened(tables, c, node, which, values)


@compiled
def straightened_u(tables, c, node, which, variances, shared):
    """Standard uncertainty of that less a mean which has a part ``shared[i]`` of its variance from slot i, for the first slots, and
    otherwise noise of its own that is not counted.
    """
    wider, share = beyond(tables, c, node, which)
    first, later = tables.first[wider, node], tables.first[c, node] - tables.first[wider, node]
    number, total = tables.number[c, node], 0.0
    for i in range(tables.number[wider, node]):
        factor = -share * tables.factors[wider, node, which, i]
        if later <= i < later + number:
            factor += (1.0 + share) * tables.factors[c, node, which, i - later]
        total += factor * factor * variances[first + i]
        if first + i < shared.size:
            total -= 2.0 * factor * shared[first + i]
    return math.sqrt(max(total, 0.0))


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
    for i in range(smoothed.size):
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
def top_near(tables, c, node, values, variances, pulls):
    """Moment and value of the top near a node, with uncertainties; nan where the slope passes zero nowhere near. Then the
    covariances of both with what has ``pulls`` (slots,) with the values.

    Where a curve falls more slowly than it rises, the smoother one is highest after the top: from there it is climbed.
    """
    last = tables.nodes_s.size - 1
    slope, step_s = 0.0, math.inf
    for climbed in range(_CLIMBED + 1):
        slope, curvature = estimate(tables, c, node, SLOPE, values), estimate(tables, c, node, CURVATURE, values)
        reach_s = tables.nodes_s[min(node + 1, last)] - tables.nodes_s[max(node - 1, 0)]
        step_s = -slope / curvature if curvature < 0 else math.inf
        uphill = node + 1 if slope > 0 else node - 1
        if abs(step_s) <= reach_s or climbed == _CLIMBED or not 0 <= uphill <= last:
            break
        node = uphill
    if abs(step_s) > reach_s:
        return math.nan, math.nan, math.nan, math.nan, math.nan, math.nan
    value = estimate(tables, c, node, VALUE, values) + 0.5 * slope * step_s
    slope_u = math.hypot(estimate_u(tables, c, node, SLOPE, variances), flattened(tables, c, node, SLOPE, values))
    value_u = math.hypot(beside_u(tables, c, node, step_s, variances), flattened(tables, c, node, VALUE, values))
    slope_pull = estimate(tables, c, node, SLOPE, pulls)
    value_pull = estimate(tables, c, node, VALUE, pulls) + step_s * slope_pull
    moment_s, moment_u = tables.nodes_s[node] + step_s, slope_u / -curvature
    return moment_s, moment_u, value, value_u, slope_pull / -curvature, value_pull


@compiled
def crossing_before(tables, c, node, level, values, variances, pulls):
    """Moment at which the curve last rises through ``level`` before ``node``; uncertainty of the curve there, its slope, and its
    covariance with what has ``pulls`` (slots,) with the values.
    """
    j, above = node, estimate(tables, c, node, VALUE, values)
    while j > 0:
        below = estimate(tables, c, j - 1, VALUE, values)
        if below < level:
            break
        j, above = j - 1, below
    if j == 0 or above < level:
        return math.nan, math.nan, math.nan, math.nan
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
    pull = estimate(tables, c, near, VALUE, pulls)
    return tables.nodes_s[j - 1] + share * span_s, curve_u, slope / span_s, pull


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
    value = straightened(tables, c, at, SLOPE, values) + _beyond_node(tables, c, at, values, best)
    u = straightened_u(tables, c, at, SLOPE, variances, variances[:0])
    luck = _luck(estimate_u(tables, c, at, CURVATURE, variances), best, last_s - first_s, u)
    return value - luck, max(u - _STEADIER * luck * luck / u, _STEADIEST * u)


@compiled
def _luck(curvature_u, slope, rise_s, slope_u):
    """By how much noise is expected to lift the greatest slope of a rise.

    Slopes on a parabola of curvature -k, with noise n whose own slope has a variance v, are greatest v / k beside the middle,
    where noise helps by v / k and the parabola costs half of that. Where the parabola is flat beside the noise, what is taken is
    the luckiest of a few, about one standard uncertainty up.
    """
    lifted = _LUCK * curvature_u * curvature_u * rise_s * rise_s / (_SLOPE_BEND * slope)
    return lifted * slope_u / (lifted + slope_u)


@compiled
def _beyond_node(tables, c, at, values, slope):
    """By how much the parabola through the slopes at a node and beside it is higher than at the node."""
    if at == 0 or at == tables.nodes_s.size - 1:
        return 0.0
    back_s, on_s = tables.nodes_s[at] - tables.nodes_s[at - 1], tables.nodes_s[at + 1] - tables.nodes_s[at]
    before = (slope - estimate(tables, c, at - 1, SLOPE, values)) / back_s
    after = (estimate(tables, c, at + 1, SLOPE, values) - slope) / on_s
    bend = (after - before) / (back_s + on_s)
    here = before + bend * back_s
    if bend >= 0.0 or not -on_s < 0.5 * here / bend < back_s:
        return 0.0
    return -0.25 * here * here / bend
