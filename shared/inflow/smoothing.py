"""Smooth curve and slope of a noisy, unevenly weighted series: local polynomial regression.

Cubic polynomials under tricube weights (Cleveland 1979, J Am Stat Assoc 74:829; here not robust), fitted around every point. A
cubic follows a peak's top and a rise's steepest part without flattening them, as a running mean would.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import fftconvolve

F64 = NDArray[np.float64]
_DEGREE = 3


@dataclass(frozen=True, eq=False)
class LocalCubic:
    """Linear smoother for series on an even grid of ``step_s`` with ``weights`` (points,), 0 where nothing was measured."""

    step_s: float
    weights: F64
    half_width_s: float

    def __call__(self, series: F64) -> tuple[F64, F64]:
        """Value and slope a second at every point; ``series`` is (points,) or (replicates, points), and so are both."""
        points = self.weights.size
        reach = min(max(int(self.half_width_s / self.step_s), _DEGREE), points - 1)
        steps = np.arange(-reach, reach + 1)
        distance = steps / (reach + 1.0)
        tricube = (1.0 - np.abs(distance) ** 3) ** 3
        kernels = np.array([tricube * distance**k for k in range(2 * _DEGREE + 1)])
        sums = np.array([_correlated(self.weights, kernel) for kernel in kernels])
        order = np.arange(_DEGREE + 1)
        normal = np.moveaxis(sums[order[:, None] + order], 2, 0)
        normal += np.eye(_DEGREE + 1) * (1e-13 * np.trace(normal, axis1=1, axis2=2)[:, None, None] + 1e-300)
        rows = np.linalg.inv(normal)[:, :2, :]
        moments = np.array([_correlated(self.weights * series, kernels[k]) for k in order])
        value = np.einsum("pk,k...p->...p", rows[:, 0], moments)
        slope = np.einsum("pk,k...p->...p", rows[:, 1], moments) / ((reach + 1.0) * self.step_s)
        return value, slope


def _correlated(series: F64, kernel: F64) -> F64:
    kernel = kernel[::-1].reshape((1,) * (series.ndim - 1) + (-1,))
    result: F64 = fftconvolve(series, kernel, mode="full", axes=-1)
    extra = kernel.size // 2
    return result[..., extra : extra + series.shape[-1]]
