"""Arrays on pages of their own, which cost memory only where they are written.

numpy asks the C library, which hands out what others have given back: such memory is zeroed by writing it, all of it at once.
"""

import mmap
from math import prod
from typing import Any

import numpy as np
from numpy.typing import DTypeLike, NDArray


def fresh_zeros(shape: tuple[int, ...], dtype: DTypeLike) -> NDArray[Any]:
    """Zeros of ``shape`` and ``dtype``; a page becomes memory when it is first written, and is given back with the array."""
    count, kind = prod(shape), np.dtype(dtype)
    if count == 0:
        return np.zeros(shape, kind)
    pages = mmap.mmap(-1, count * kind.itemsize, flags=mmap.MAP_PRIVATE | mmap.MAP_ANONYMOUS)
    return np.frombuffer(pages, kind, count).reshape(shape)
