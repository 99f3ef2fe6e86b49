"""By how much a hand that moves during an exposure smears the picture, and when that matters to a region.

A smear does not move a region, for registration finds the middle of it too; it carries light across the region's edges. Along a
step that lies on an edge, a smear of w takes an eighth of w times the step in or out, for each pixel of edge (integral of the
smeared step on one side of it): a tenth of the region's width is 1.25 % of the step.
"""

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]

MOST_SHARE = 0.1
"""Of a region's narrower side."""


def smear_px(places_px: F64, times_s: F64, exposures_s: F64) -> F64:
    """(frames,) how far the tissue moved during each exposure: its speed between neighbours, times the exposure.

    ``places_px`` (frames, 2) and ``times_s`` are of frames whose place is known, in order; 0 where there are fewer than two.
    """
    if len(times_s) < 2:
        return np.zeros(len(times_s))
    speed = np.hypot(*(np.diff(places_px, axis=0) / np.diff(times_s)[:, None]).T)
    around = np.concatenate([speed[:1], speed, speed[-1:]])
    return np.asarray(np.maximum(around[:-1], around[1:]) * exposures_s)
