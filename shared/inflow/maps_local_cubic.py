"""Local cubic regression for all bins at once: the factors depend on times and frames of the slots, which the bins share.

The same regression as in smoothing.py (Cleveland 1979), weighted by the number of frames a slot holds, except that the cubic is
fitted to the slots' means and not to their middles, so that long slots flatten nothing. Widths come in classes, each a quarter
wider than the one before.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from shared.inflow.maps_compiled import compiled
from shared.inflow.maps_dot import padded, whole
from shared.lanes import borrowed

F64 = NDArray[np.float64]

CLASSES = 16
RATIO = 1.25
LEAST_POINTS = 6


class Tables(NamedTuple):
    """For width class c and node j: slots ``first[c, j]`` on, ``number[c, j]`` of them, give value, slope and curvature by
    ``factors[c, j, 0:3]``; the last of them are 0, so that they fill whole vectors (maps_dot.py). ``nodes_s`` are moments,
    ``narrowest_s`` the half-width of class 0, ``widths_s[c, j]`` what it is really, as a window widens where slots are few.
    """

    nodes_s: F64
    narrowest_s: float
    first: NDArray[np.int32]
    number: NDArray[np.int32]
    factors: F64
    widths_s: F64


def tables_at(nodes_s: F64, slots: F64, narrowest_s: float) -> Tables:
    """Tables for moments ``nodes_s`` and ``slots`` (5, slots): start, end and mean time in seconds, frames, length in seconds."""
    times_s, frames, lengths_s = slots[2:]
    shape = (CLASSES, nodes_s.size)
    first, count = np.zeros(shape, np.int32), np.zeros(shape, np.int32)
    factors = np.zeros((*shape, 3, padded(times_s.size)))
    widths_s = np.empty(shape)
    _fill(nodes_s, times_s, lengths_s, frames, narrowest_s, first, count, factors, widths_s)
    count = whole(count)
    return Tables(nodes_s, narrowest_s, first, count, np.ascontiguousarray(factors[..., : int(count.max())]), widths_s)


@compiled
def lent_tables(tables):  # type: ignore[no-untyped-def] # noqa: ANN001, ANN201
    """The same without owners, as in maps_first_pass.lent_room."""
    first, number, factors = borrowed(tables.first), borrowed(tables.number), borrowed(tables.factors)
    return Tables(borrowed(tables.nodes_s), tables.narrowest_s, first, number, factors, borrowed(tables.widths_s))


@compiled
def width_class(half_width_s, narrowest_s):  # type: ignore[no-untyped-def] # noqa: ANN001, ANN201
    """The class whose half-width is nearest, as a ratio."""
    nearest = int(np.floor(np.log(half_width_s / narrowest_s) / np.log(RATIO) + 0.5))
    return min(max(nearest, 0), CLASSES - 1)


@compiled
def _fill(nodes_s, times_s, lengths_s, frames, narrowest_s, first, count, factors, widths_s):  # type: ignore[no-untyped-def] # noqa: ANN001, ANN202
    slots = times_s.size
    normal, inverse, means = np.empty((4, 4)), np.empty((4, 4)), np.empty((slots, 4))
    for c in range(CLASSES):
        for j in range(nodes_s.size):
            begin, end, width_s = _window(nodes_s[j], times_s, narrowest_s * RATIO**c)
            normal[:] = 0.0
            for i in range(begin, end):
                x = (times_s[i] - nodes_s[j]) / width_s
                spread = (lengths_s[i] / width_s) ** 2 / 12.0
                means[i, 0], means[i, 1], means[i, 2], means[i, 3] = (
                    1.0,
                    x,
                    x * x + spread,
                    x * x * x + 3.0 * x * spread,
                )
                weight = (1.0 - abs(x) ** 3) ** 3 * frames[i]
                for a in range(4):
                    for b in range(4):
                        normal[a, b] += weight * means[i, a] * means[i, b]
            _invert(normal, inverse)
            first[c, j], count[c, j], widths_s[c, j] = begin, end - begin, width_s
            for i in range(begin, end):
                weight = (1.0 - (abs(times_s[i] - nodes_s[j]) / width_s) ** 3) ** 3 * frames[i]
                for a in range(3):
                    total = 0.0
                    for b in range(4):
                        total += inverse[a, b] * means[i, b]
                    scale = 1.0 if a == 0 else 1.0 / width_s if a == 1 else 2.0 / width_s**2
                    factors[c, j, a, i - begin] = total * weight * scale


@compiled
def _window(node_s, times_s, width_s):  # type: ignore[no-untyped-def] # noqa: ANN001, ANN202
    """Slots within a half-width of a node, widened until there are enough: first, last plus one, half-width."""
    least = min(LEAST_POINTS, times_s.size)
    while True:
        begin, end = 0, times_s.size
        while begin < end and node_s - times_s[begin] >= width_s:
            begin += 1
        while end > begin and times_s[end - 1] - node_s >= width_s:
            end -= 1
        if end - begin >= least:
            return begin, end, width_s
        before = node_s - times_s[begin - 1] if begin > 0 else np.inf
        after = times_s[end] - node_s if end < times_s.size else np.inf
        width_s = 1.01 * min(before, after)


@compiled
def _invert(matrix, inverse):  # type: ignore[no-untyped-def] # noqa: ANN001, ANN202
    """Inverse of a symmetric positive matrix by Gauss and Jordan; ``matrix`` is used up."""
    size = matrix.shape[0]
    inverse[:] = 0.0
    for a in range(size):
        inverse[a, a] = 1.0
    for a in range(size):
        pivot = matrix[a, a] if matrix[a, a] > 1e-300 else 1e-300
        for b in range(size):
            matrix[a, b] /= pivot
            inverse[a, b] /= pivot
        for row in range(size):
            if row != a:
                share = matrix[row, a]
                for b in range(size):
                    matrix[row, b] -= share * matrix[a, b]
                    inverse[row, b] -= share * inverse[a, b]
