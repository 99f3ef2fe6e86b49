"""A number worked out from a curve, with what the noise of each point of the curve does to it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Propagated:
    """``shares`` (points,): sensitivity to each point of the curve times that point's standard uncertainty, in the value's unit.

    Points are independent, so the standard uncertainty is the root of the sum of squares, and two numbers from the same curve keep
    what they have in common (law of propagation, JCGM 100:2008, GUM, 5.1.2 and 5.2.2). A doubt that is not noise is one share
    more, behind those of the points.
    """

    value: float
    shares: F64

    @property
    def u(self) -> float:
        """Standard uncertainty, in the unit of the value."""
        return float(np.linalg.norm(self.shares))

    def __add__(self, other: "Propagated") -> "Propagated":
        """Sum of two numbers from the same curve."""
        return self._with(other, self.value + other.value, 1.0, 1.0)

    def __sub__(self, other: "Propagated") -> "Propagated":
        """Difference of two numbers from the same curve."""
        return self._with(other, self.value - other.value, 1.0, -1.0)

    def over(self, other: "Propagated") -> "Propagated":
        """Ratio of two numbers from the same curve."""
        ratio = self.value / other.value
        return self._with(other, ratio, 1.0 / other.value, -ratio / other.value)

    def over_independent(self, other: "Propagated") -> "Propagated":
        """Ratio to a number from another curve, whose noise is its own."""
        ratio = self.value / other.value
        return Propagated(ratio, np.concatenate([self.shares, -ratio * other.shares]) / other.value)

    def scaled(self, factor: float) -> "Propagated":
        """Times an exact number."""
        return Propagated(self.value * factor, self.shares * factor)

    def doubted(self, doubt: float) -> "Propagated":
        """The same with a further standard uncertainty that is not noise."""
        return Propagated(self.value, np.append(self.shares, doubt))

    def _with(self, other: "Propagated", value: float, by_self: float, by_other: float) -> "Propagated":
        shares = np.zeros(max(self.shares.size, other.shares.size))
        shares[: self.shares.size] += by_self * self.shares
        shares[: other.shares.size] += by_other * other.shares
        return Propagated(value, shares)
