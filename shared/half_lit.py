"""Frames during which the light was switched or dimmed: they saw two lights, and are left out.

The mean level over an exposure would do for a ring that gives what its level promises, a change known to the microsecond, and a
global shutter. A real ring loses a share of its promise to heat, is dark for a moment while a level is set, and a rolling shutter's
rows see a change each in its own part of the exposure.
"""

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]

HALF_LIT = 0.98
"""A frame whose light was that of a neighbour for at least this share of its exposure is taken to have had it for all of it."""


def half_lit(levels: F64, rolling: bool = False) -> NDArray[np.bool_]:
    """Lit frames whose level, (frames,), lies between those of the frames before and after them; 0 is unlit.

    With a ``rolling`` shutter the frame before a change too: its last rows may have seen it.
    """
    padded = np.concatenate((levels[:1], levels, levels[-1:]))
    before, after = padded[:-2], padded[2:]
    low, high = np.minimum(before, after), np.maximum(before, after)
    step = high - low
    # of an unlit neighbour nothing may be in it: what little light there was would be multiplied by as much
    floor = np.where(low > 0, low + (1.0 - HALF_LIT) * step, low)
    found = (levels > floor) & (levels < low + HALF_LIT * step)
    if rolling:
        found |= (levels > 0) & (np.abs(after - levels) > (1.0 - HALF_LIT) * np.maximum(levels, after))
    return np.asarray(found)
