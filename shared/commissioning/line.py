"""A straight line through points of known uncertainty, by weighted least squares."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shared.errors import Refused
from shared.signal import Measured

F64 = NDArray[np.float64]


@dataclass(frozen=True)
class Line:
    """y = offset + slope x. ``scatter`` is the standard deviation of the residuals, of weighted ones where there are weights."""

    offset: Measured
    slope: Measured
    scatter: float

    def at(self, x: float) -> float:
        """Value at ``x``."""
        return self.offset.value + self.slope.value * x


def line(x: F64, y: F64, u: F64 | None = None) -> Line:
    """Fit; ``u`` are the standard uncertainties of ``y``. Raises Refused for fewer than three points, or all at one x.

    Uncertainties of slope and offset come from ``u`` where it is given, else from the scatter of the residuals
    (GUM, JCGM 100:2008, H.3).
    """
    if not len(x) == len(y) == len(x if u is None else u) or not all(np.isfinite(one).all() for one in (x, y)):
        raise Refused("points of a line must be pairs of numbers", (len(x), len(y)), "measure again")
    if len(x) < 3 or float(np.ptp(x)) == 0.0:
        raise Refused("too few points for a line", len(x), "at least three different ones are needed")
    if u is not None and not (np.isfinite(u).all() and (u > 0).all()):
        raise Refused("uncertainties must be positive numbers", float(u.min()), "measure again")
    weights = np.ones_like(x) if u is None else 1.0 / u**2
    total = weights.sum()
    x_mean, y_mean = float((weights * x).sum() / total), float((weights * y).sum() / total)
    spread = float((weights * (x - x_mean) ** 2).sum())
    slope = float((weights * (x - x_mean) * (y - y_mean)).sum()) / spread
    offset = y_mean - slope * x_mean
    scatter = math.sqrt(float((weights * (y - offset - slope * x) ** 2).sum()) / (len(x) - 2))
    unit = scatter if u is None else 1.0
    u_offset = unit * math.sqrt(1.0 / total + x_mean**2 / spread)
    return Line(Measured(offset, u_offset), Measured(slope, unit / math.sqrt(spread)), scatter)


def through_origin(x: F64, y: F64) -> Measured:
    """Slope of y = slope x by unweighted least squares; raises Refused below two points that are not nought.

    Its uncertainty comes from the residuals, which are taken to grow as x does, as the variance of a variance does (GUM,
    JCGM 100:2008, 5.1.2, with u(y) = c x): were they all alike, brighter points would count for surer than they are.
    """
    if np.count_nonzero(x) < 2:
        raise Refused("too few points for a slope", int(np.count_nonzero(x)), "at least two are needed")
    square, fourth = float((x**2).sum()), float((x**4).sum())
    slope = float((x * y).sum()) / square
    share2 = float(((y - slope * x) ** 2).sum()) / (square - fourth / square)
    return Measured(slope, math.sqrt(share2 * fourth) / square)
