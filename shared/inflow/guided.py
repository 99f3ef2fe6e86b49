"""A smooth curve through a noisy one: the fitted first pass, and local regression on what it leaves.

The gamma variate carries the shape, so that little is flattened; the local polynomial on the residuals carries what the shape does
not describe, so that nothing rests on the model being right (parametrically guided regression: Hjort & Glad 1995, Ann Stat 23:882;
additive form: Martins-Filho, Mishra & Ullah 2008, Econom Rev 27:542; both from memory). Without a fit it is a local cubic alone.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from shared.inflow.first_pass import FirstPass
from shared.inflow.propagated import Propagated
from shared.inflow.series import Series
from shared.inflow.smoothing import CUBIC, local_factors

F64 = NDArray[np.float64]

_QUADRATIC = 2


@dataclass(frozen=True)
class Point:
    """Value, slope a second and curvature a second squared of a smooth curve at one moment."""

    value: Propagated
    slope: Propagated
    curvature: float


@dataclass(frozen=True, eq=False)
class GuidedCurve:
    """Smooth curve through ``series``, from its first point to ``until_s``; ``half_width_s`` is the local regression's,
    ``rise_s`` the time from a tenth of the peak to the peak.
    """

    series: Series
    first_pass: FirstPass | None
    half_width_s: float
    rise_s: float
    until_s: float

    @cached_property
    def _used(self) -> int:
        return int((self.series.times_s <= self.until_s).sum())

    @cached_property
    def _left_over(self) -> F64:
        values, fit = self.series.values, self.first_pass
        return values if fit is None else values - fit.at(self.series.times_s)

    @cached_property
    def _partials(self) -> F64:
        assert self.first_pass is not None
        return self.first_pass.partials(self.series.times_s)

    def plain_through(self, series: Series) -> "GuidedCurve":
        """A local cubic alone through another series, as wide as this curve's own smoothing allows."""
        return GuidedCurve(
            series, None, min(self.half_width_s, 0.4 * self.rise_s), self.rise_s, float(series.times_s[-1])
        )

    def covering(self, time_s: float) -> "GuidedCurve":
        """This curve where it reaches ``time_s``, else a local cubic through the whole series."""
        return self if time_s <= self.until_s else self.plain_through(self.series)

    def at(self, time_s: float) -> Point:
        """The curve at ``time_s``, with what the noise of each point does to it."""
        series, fit = self.series, self.first_pass
        degree = CUBIC if fit is None else _QUADRATIC
        factors = np.zeros((3, series.times_s.size))
        used = self._used
        factors[:, :used] = local_factors(
            series.times_s[:used], series.weights[:used], time_s, self.half_width_s, degree
        )
        values = factors @ self._left_over
        if fit is not None:
            shape, by_parameter = _shape_at(fit, time_s, 1e-3 * self.half_width_s)
            values = values + shape
            factors += (by_parameter - factors @ self._partials) @ fit.by_point
        shares = factors * series.sigma
        return Point(Propagated(float(values[0]), shares[0]), Propagated(float(values[1]), shares[1]), float(values[2]))


def _shape_at(fit: FirstPass, time_s: float, step_s: float) -> tuple[F64, F64]:
    """Value, slope and curvature (3,) of the fitted pass and their derivatives (3, 5) by its parameters, by central differences."""
    moments = time_s + step_s * np.array([-1.0, 0.0, 1.0])
    differences = np.array(
        [[0.0, 1.0, 0.0], [-0.5 / step_s, 0.0, 0.5 / step_s], np.array([1.0, -2.0, 1.0]) / step_s**2]
    )
    return differences @ fit.at(moments), differences @ fit.partials(moments)
