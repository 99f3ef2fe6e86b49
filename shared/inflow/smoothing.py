"""Smooth curve and slope of a noisy, unevenly spaced series: local polynomial regression.

Polynomials under tricube weights (Cleveland 1979, J Am Stat Assoc 74:829; here not robust), fitted around a point. A cubic follows
a peak's top and a rise's steepest part without flattening them, as a running mean would. What comes out is linear in the series, so
the noise of each point goes into value and slope by known factors.
"""

import math

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft

F64 = NDArray[np.float64]

CUBIC = 3


def local_factors(times_s: F64, weights: F64, at_s: float, half_width_s: float, degree: int = CUBIC) -> F64:
    """Factors (3, points) that make value, slope and curvature at ``at_s`` out of a series at ``times_s``.

    ``weights`` are inverse variances in any unit. Where fewer than ``degree + 3`` points lie within ``half_width_s``, the window
    widens to hold them.
    """
    apart = times_s - at_s
    least = min(degree + 3, times_s.size)
    width_s = max(half_width_s, 1.01 * float(np.partition(np.abs(apart), least - 1)[least - 1]))
    inside = np.flatnonzero(np.abs(apart) < width_s)
    x = apart[inside] / width_s
    powers = x ** np.arange(degree + 1)[:, None]
    weighted = powers * ((1.0 - np.abs(x) ** 3) ** 3 * weights[inside])
    solved = np.linalg.solve(weighted @ powers.T, weighted)[:3]
    factors = np.zeros((3, times_s.size))
    factors[:, inside] = solved * np.array([[1.0], [1.0 / width_s], [2.0 / width_s**2]])
    return factors


def smooth(slots: NDArray[np.intp], values: F64, weights: F64, half_width: float) -> F64:
    """Local cubic (points,) at every point of a series whose points lie at whole ``slots`` of an even grid, in their unit."""
    reach = max(math.floor(half_width), CUBIC)
    grid, weighted = np.zeros((2, int(slots[-1]) + 1))
    grid[slots], weighted[slots] = weights, weights * values
    x = np.arange(-reach, reach + 1) / (reach + 1.0)
    kernels = (1.0 - np.abs(x) ** 3) ** 3 * x ** np.arange(2 * CUBIC + 1)[:, None]
    sums = _correlated(grid, kernels)[:, slots]
    moments = _correlated(weighted, kernels[: CUBIC + 1])[:, slots]
    order = np.arange(CUBIC + 1)
    normal = np.moveaxis(sums[order[:, None] + order], 2, 0)
    normal += np.eye(CUBIC + 1) * (1e-13 * np.trace(normal, axis1=1, axis2=2)[:, None, None] + 1e-300)
    return np.asarray(np.linalg.solve(normal, moments.T[..., None])[:, 0, 0])


def _correlated(series: F64, kernels: F64) -> F64:
    """Correlations (kernels, points) of a series with each kernel, padded by zeros."""
    reach, size = kernels.shape[1] // 2, next_fast_len(series.size + kernels.shape[1] - 1, real=True)
    product = rfft(series, size) * rfft(kernels[:, ::-1], size, axis=1)
    return np.asarray(irfft(product, size, axis=1)[:, reach : reach + series.size])
