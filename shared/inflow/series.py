"""A curve as the estimators take it: at most some thousand points at equal steps, gaps left out, each with its noise."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from shared.inflow.curves import RegionCurve

F64 = NDArray[np.float64]

_MOST_POINTS = 1500
_VARIANCE_FRAMES = 15


@dataclass(frozen=True, eq=False)
class Series:
    """(points,) arrays: ``times_s`` rising, ``values`` and their standard uncertainties ``sigma`` in the curve's unit.

    ``slots`` are the points' places on an even grid of ``step_s``; ``clipped`` marks points that hold a saturated frame. ``beside``
    is by how much they would differ a pixel beside, 0 where that is not known.
    """

    step_s: float
    slots: NDArray[np.intp]
    times_s: F64
    values: F64
    sigma: F64
    clipped: NDArray[np.bool_]
    beside: F64

    @cached_property
    def weights(self) -> F64:
        """Inverse variances, at most 1."""
        weights = (self.sigma.min() / self.sigma) ** 2
        return np.asarray(weights)


def series_of(curve: RegionCurve) -> Series:
    """Means of frames over equal steps of time, a frame each where there are few."""
    times = curve.times_s
    interval_s = float(np.median(np.diff(times)))
    step_s = max(interval_s, float(times[-1] - times[0]) / _MOST_POINTS)
    slot = np.floor((times - times[0]) / step_s + 0.5).astype(np.intp)
    slots, place, count = np.unique(slot, return_inverse=True, return_counts=True)
    # A count that happens to be high claims more noise, so weights by single points would lean to the low ones.
    variance = uniform_filter1d(curve.signal_u**2, min(_VARIANCE_FRAMES, times.size), mode="nearest")
    sigma = np.sqrt(np.bincount(place, variance)) / count
    least = float(curve.signal_u.max()) * 1e-3 + 1e-12
    return Series(
        step_s,
        slots,
        np.bincount(place, times) / count,
        np.bincount(place, curve.signal) / count,
        np.maximum(sigma, least),
        np.bincount(place, curve.saturated) > 0,
        np.bincount(place, _beside(curve)) / count,
    )


def _beside(curve: RegionCurve) -> F64:
    if curve.by_place is None or curve.place_px is None:
        return np.zeros(curve.times_s.size)
    return np.asarray(np.hypot(*curve.by_place[:2]) / curve.place_px)
