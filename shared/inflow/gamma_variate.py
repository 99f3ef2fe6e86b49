"""The gamma variate, which a first pass of dye follows, and where its landmarks lie.

y = peak x^alpha exp(alpha (1 - x)), x = (t - onset) / rise (Thompson 1964, Circ Res 14:502, as written by Madsen 1992, Phys Med
Biol 37:1597); ``rise`` is the time from the onset to the peak, alpha times beta in Thompson's form.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gamma, lambertw

F64 = NDArray[np.float64]

_CORNER = 1e-3
"""Share of the rise below which derivatives stay as they are: where alpha is below 1 they would grow without bound."""


@dataclass(frozen=True)
class GammaVariate:
    """``onset_s`` and ``rise_s`` in seconds, ``peak`` in the unit of the curve, ``alpha`` without one."""

    onset_s: float
    alpha: float
    rise_s: float
    peak: float

    @property
    def beta_s(self) -> float:
        """Thompson's beta."""
        return self.rise_s / self.alpha

    @property
    def peak_s(self) -> float:
        """When it is highest."""
        return self.onset_s + self.rise_s

    @property
    def area(self) -> float:
        """Its integral over all time, unit of the curve times seconds: A beta^(alpha + 1) Gamma(alpha + 1) in Thompson's form."""
        return float(self.peak * self.beta_s * gamma(self.alpha + 1) * (math.e / self.alpha) ** self.alpha)

    @property
    def mean_s(self) -> float:
        """Centre of gravity in time."""
        return self.onset_s + self.beta_s * (self.alpha + 1)

    @property
    def steepest_s(self) -> float:
        """When it rises fastest; at the onset where alpha is at most 1."""
        return self.onset_s + self.beta_s * max(self.alpha - math.sqrt(self.alpha), 0.0)

    def crossing_s(self, share: float, falling: bool = False) -> float:
        """When it passes ``share`` (0 to 1) of its peak, by Lambert's W."""
        at = -(share ** (1.0 / self.alpha)) / math.e
        return self.onset_s - self.rise_s * float(lambertw(at, -1 if falling else 0).real)

    def at(self, times_s: F64) -> F64:
        """Its value at ``times_s``, 0 before the onset."""
        return self.peak * unit_gamma_variate(times_s, self.onset_s, self.alpha, self.rise_s)

    def slope_at(self, time_s: float) -> float:
        """Its slope a second."""
        x = (time_s - self.onset_s) / self.rise_s
        if x <= 0:
            return 0.0
        height = self.peak * math.exp(self.alpha * (math.log(x) + 1.0 - x))
        return height * self.alpha * (1.0 / x - 1.0) / self.rise_s


def unit_gamma_variate(times_s: F64, onset_s: float, alpha: float, rise_s: float) -> F64:
    """Peak 1 at ``onset_s + rise_s``, 0 before ``onset_s``."""
    x = np.maximum((times_s - onset_s) / rise_s, 1e-300)
    return np.asarray(np.exp(alpha * (np.log(x) + 1.0 - x)))


def partials(times_s: F64, onset_s: float, alpha: float, rise_s: float) -> F64:
    """Derivatives (times, 3) of the unit gamma variate by onset, ln alpha and ln rise."""
    since = (times_s - onset_s) / rise_s
    x = np.maximum(since, _CORNER)
    log = np.log(x)
    unit = np.where(since > 0, np.exp(alpha * (log + 1.0 - x)), 0.0)
    by_x = alpha * unit * (1.0 / x - 1.0)
    return np.stack([-by_x / rise_s, alpha * unit * (log + 1.0 - x), -by_x * x], axis=1)
