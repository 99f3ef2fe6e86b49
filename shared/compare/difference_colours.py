"""Colour for a difference: blue for less, orange for more, clear where there is none; of one lightness, so that neither shouts.

Blue and orange are told apart by the colour-blind of every common kind (common practice, no source); a number stands beside each.
"""

import math

import numpy as np
from numpy.typing import NDArray

LESS, MORE = (92, 178, 255), (255, 150, 64)
"""Red, green, blue; CIE lightness 70 and 72."""
OPACITY = 0.85
_STEPS = (10.0, 20.0, 30.0, 40.0, 50.0, 75.0, 100.0, 150.0, 200.0)


def full_scale(points: NDArray[np.floating]) -> float:
    """Round end of the scale, at either side: as far as all but 2 % of the differences reach; 20 points where all are smaller."""
    known = np.abs(points[np.isfinite(points)])
    reach = float(np.quantile(known, 0.98)) if known.size else 0.0
    return next((step for step in _STEPS[1:] if step >= reach), math.ceil(reach / 100.0) * 100.0)


def laid_over(grey: NDArray[np.floating], points: NDArray[np.floating], end: float) -> NDArray[np.float32]:
    """(height, width, 3) red, green, blue, 0 to 255: differences of up to ``end`` points over grey; nan shows the grey alone."""
    known = np.nan_to_num(points / end)
    cover = (OPACITY * np.minimum(np.abs(known), 1.0))[..., None]
    colour = np.where((known < 0)[..., None], np.array(LESS, np.float32), np.array(MORE, np.float32))
    return np.asarray((1.0 - cover) * grey[..., None] + cover * colour, np.float32)
