"""The gamma variate, which a first pass of dye rises by: used to find when the rise began.

y = peak x^alpha exp(alpha (1 - x)), x = (t - t0) / rise (Thompson 1964, Circ Res 14:502, as written by Madsen 1992, Phys Med Biol
37:1597); ``rise`` is the time from the onset t0 to the peak.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

F64 = NDArray[np.float64]
MOST_ALPHA = 25.0


@dataclass(frozen=True)
class Onset:
    """A fit: onset and rise in seconds, peak and baseline in the unit of the curve, rms misfit in the same unit."""

    t0_s: float
    alpha: float
    rise_s: float
    peak: float
    baseline: float
    rms: float

    @property
    def identifiable(self) -> bool:
        """False where the curve is so nearly symmetric that the onset runs away."""
        return 0.3 < self.alpha < MOST_ALPHA


def gamma_variate(times_s: F64, t0_s: float, alpha: float, rise_s: float) -> F64:
    """Peak 1 at ``t0_s + rise_s``, 0 before ``t0_s``."""
    x = np.maximum(times_s - t0_s, 0.0) / rise_s
    with np.errstate(divide="ignore"):
        return np.asarray(np.exp(alpha * (np.log(x) + 1.0 - x)))


def fit_onset(times_s: F64, values: F64, sigma: F64, start: Onset) -> Onset:
    """Fit baseline, peak, onset, alpha and rise to a curve up to its peak, beginning at ``start``; least squares by ``sigma``."""
    scale = start.peak if start.peak > 0 else 1.0
    weight = 1.0 / np.maximum(sigma / scale, 1e-12)
    wanted = values / scale

    def misfit(p: F64) -> F64:
        model = p[0] + p[1] * gamma_variate(times_s, p[2], float(np.exp(p[3])), float(np.exp(p[4])))
        return np.asarray((model - wanted) * weight)

    first = [start.baseline / scale, start.peak / scale, start.t0_s, np.log(start.alpha), np.log(start.rise_s)]
    latest = start.t0_s + start.rise_s
    low = [-np.inf, 0.2, times_s[0] - 2 * start.rise_s - 1.0, np.log(0.2), np.log(start.rise_s / 8)]
    high = [np.inf, 3.0, latest, np.log(MOST_ALPHA * 1.2), np.log(start.rise_s * 8)]
    found = least_squares(misfit, first, bounds=(low, high), x_scale=[0.05, 0.1, 0.1 * start.rise_s, 0.3, 0.3])
    baseline, peak, t0_s, log_alpha, log_rise = (float(number) for number in found.x)
    rms = float(np.sqrt(np.mean((found.fun / weight) ** 2))) * scale
    alpha, rise_s = float(np.exp(log_alpha)), float(np.exp(log_rise))
    return Onset(t0_s, alpha, rise_s, peak * scale, baseline * scale, rms)
