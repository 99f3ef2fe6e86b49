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


@njit(cache=True, nogil=True)
def _gather(plane: Plane, to_frame: F64, out: F32) -> None:
    height, width = plane.shape
    across, down = np.float32(to_frame[0, 0]), np.float32(to_frame[1, 0])
    for row in range(out.shape[0]):
        x0 = np.float32(to_frame[0, 1] * row + to_frame[0, 2])
        y0 = np.float32(to_frame[1, 1] * row + to_frame[1, 2])
        for column in range(out.shape[1]):
            x, y = x0 + across * np.float32(column), y0 + down * np.float32(column)
            if x < 0 or y < 0 or x > width - 1 or y > height - 1:
                out[row, column] = np.nan
                continue
            i, j = min(np.int32(y), height - 2), min(np.int32(x), width - 2)
            a, b = y - np.float32(i), x - np.float32(j)
            left, right = np.float32(plane[i, j]), np.float32(plane[i, j + 1])
            upper = left + b * (right - left)
            left, right = np.float32(plane[i + 1, j]), np.float32(plane[i + 1, j + 1])
            out[row, column] = upper + a * (left + b * (right - left) - upper)
