"""A picture as the reference view would have seen it, so that values of one place of tissue stay at one place."""

import numpy as np
from numba import njit
from numpy.typing import NDArray

from shared.motion.pose import Motion

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
Plane = NDArray[np.floating] | NDArray[np.uint16]


def into_reference(plane: Plane, motion: Motion, out: F32) -> F32:
    """Fill ``out``, float32 of the plane's shape (height, width), from ``plane`` by bilinear interpolation, and return it.

    What the frame does not show becomes nan. ``motion`` is from the reference view to the plane's frame. A nan in ``plane``
    spreads to what is interpolated from it.
    """
    _gather(plane, motion.to_frame((out.shape[0], out.shape[1])), out)
    return out


@njit(cache=True, nogil=True, fastmath={"contract", "nsz", "arcp", "reassoc"})
def _gather(plane: Plane, to_frame: F64, out: F32) -> None:
    rows, columns = plane.shape
    for row in range(out.shape[0]):
        x0 = to_frame[0, 1] * row + to_frame[0, 2]
        y0 = to_frame[1, 1] * row + to_frame[1, 2]
        begin, end = seen_columns(x0, y0, to_frame[0, 0], to_frame[1, 0], rows, columns, 0, out.shape[1])
        out[row, :begin] = np.nan
        out[row, end:] = np.nan
        sample_row(plane, x0, y0, to_frame[0, 0], to_frame[1, 0], begin, end, out[row])


@njit(inline="always")
def seen_columns(
    x0: float, y0: float, across: float, down: float, rows: int, columns: int, begin: int, end: int
) -> tuple[int, int]:
    """The part of ``begin`` to ``end`` (exclusive) in which (x0 + across k, y0 + down k) lies within a plane of that size."""
    while begin < end and not _inside(x0 + across * begin, y0 + down * begin, rows, columns):
        begin += 1
    while end > begin and not _inside(x0 + across * (end - 1), y0 + down * (end - 1), rows, columns):
        end -= 1
    return begin, end


@njit(inline="always")
def _inside(x: float, y: float, rows: int, columns: int) -> bool:
    return 0.0 <= x <= columns - 1.0 and 0.0 <= y <= rows - 1.0


@njit(inline="always")
def sample_row(plane: Plane, x0: float, y0: float, across: float, down: float, begin: int, end: int, out: F32) -> None:
    """Bilinear samples of ``plane`` at (x0 + across k, y0 + down k) into out[k], k from ``begin`` to ``end``, all of them inside.

    Taken in runs over which the same pixels follow one another, so that a run is read like memory and not pixel by pixel.
    """
    rows, columns = plane.shape
    k = begin
    while k < end:
        x, y = x0 + across * k, y0 + down * k
        i, j, run = run_from(x, y, across, down, rows, columns, end - k)
        upper, lower, target = plane[i, j:], plane[i + 1, j:], out[k:]
        right, below = np.float32(x - j), np.float32(y - i)
        right_step, below_step = np.float32(across - 1.0), np.float32(down)
        for n in range(run):
            b = right + right_step * np.float32(n)
            a = below + below_step * np.float32(n)
            first = np.float32(upper[n]) + b * (np.float32(upper[n + 1]) - np.float32(upper[n]))
            second = np.float32(lower[n]) + b * (np.float32(lower[n + 1]) - np.float32(lower[n]))
            target[n] = first + a * (second - first)
        k += run


@njit(inline="always")
def run_from(
    x: float, y: float, across: float, down: float, rows: int, columns: int, longest: int
) -> tuple[int, int, int]:
    """Row and column of the upper left of four pixels round (x, y), and how many steps (across, down) the next ones follow it."""
    i, j = min(int(y), rows - 2), min(int(x), columns - 2)
    run = min(longest, columns - 1 - j)
    if down != 0.0:
        edge = (i + 1 - y) / down if down > 0.0 else (i - y) / down
        run = min(run, int(edge) + 1)
    slip = across - 1.0
    if slip != 0.0:
        edge = (j + 1 - x) / slip if slip > 0.0 else (j - x) / slip
        run = min(run, int(edge) + 1)
    return i, j, max(run, 1)
