"""Photon-transfer noise model: how uncertain a count is, from how large it is."""

from typing import overload

import numpy as np
from numpy.typing import NDArray

QUANTISATION_COUNTS2 = 1.0 / 12.0


@overload
def variance_counts2(mean_counts_above_dark: float, counts_per_electron: float, read_noise_e: float) -> float: ...
@overload
def variance_counts2(
    mean_counts_above_dark: NDArray[np.floating], counts_per_electron: float, read_noise_e: float
) -> NDArray[np.floating]: ...
def variance_counts2(
    mean_counts_above_dark: float | NDArray[np.floating], counts_per_electron: float, read_noise_e: float
) -> float | NDArray[np.floating]:
    """Variance, in counts squared, of one pixel whose mean lies ``mean_counts_above_dark`` over the dark frame's.

    ``counts_per_electron`` is K times the analogue gain, ``read_noise_e`` in electrons. Means below dark count as dark. The
    photon transfer relation of EMVA 1288 (release 4.0 Linear, section 2): K^2 sigma_d^2 + K (mu - mu_dark) + 1/12.
    """
    still = (counts_per_electron * read_noise_e) ** 2 + QUANTISATION_COUNTS2
    if isinstance(mean_counts_above_dark, float):
        return counts_per_electron * max(mean_counts_above_dark, 0.0) + still
    shot = counts_per_electron * np.maximum(mean_counts_above_dark, 0.0)
    total = shot + still
    return float(total) if np.ndim(total) == 0 else total
