"""Spectra as arrays on one grid of wavelengths, so that parts multiply.

The grid is bins of 0.25 nm from 600 to 1100 nm, each known by its middle; integrals are sums over bins.
"""

import itertools
import math

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]

STEP_NM = 0.25
LOW_NM, HIGH_NM = 600.0, 1100.0
WAVELENGTH_NM: F64 = np.arange(LOW_NM + STEP_NM / 2, HIGH_NM, STEP_NM)
FWHM_PER_SIGMA = 2 * math.sqrt(2 * math.log(2))


def integral(density: F64) -> float:
    """Integral over the grid of a density per nm, along its last axis."""
    return float(np.sum(density) * STEP_NM)


def mean(values: F64, weights: F64) -> float:
    """Mean of ``values`` where the light is: weighted by the spectrum ``weights``."""
    return float(np.dot(values, weights) / np.sum(weights))


def normalised(density: F64) -> F64:
    """The same shape with integral 1."""
    return density / integral(density)


def gaussian(centre_nm: float, fwhm_nm: float) -> F64:
    """Gaussian density per nm with integral 1."""
    sigma_nm = fwhm_nm / FWHM_PER_SIGMA
    return normalised(np.exp(-0.5 * ((WAVELENGTH_NM - centre_nm) / sigma_nm) ** 2))


def in_photons(power: F64) -> F64:
    """Photons per nm of a spectrum given as power per nm, with integral 1: a photon's energy falls as 1 / wavelength."""
    return normalised(power * WAVELENGTH_NM)


def from_table(wavelength_nm: tuple[float, ...], values: tuple[float, ...], outside: float = 0.0) -> F64:
    """A table on the grid, straight lines between its points; ``outside`` beyond its ends."""
    return np.interp(WAVELENGTH_NM, wavelength_nm, values, left=outside, right=outside)


def share_outside(density: F64, low_nm: float, high_nm: float) -> float:
    """Share of a spectrum that lies outside low..high, for refusing tables that end where there is light."""
    outside = (low_nm > WAVELENGTH_NM) | (high_nm < WAVELENGTH_NM)
    return float(np.sum(density[outside]) / np.sum(density))


def check_table(key: str, wavelength_nm: tuple[float, ...], values: tuple[float, ...]) -> None:
    """Raise ValueError naming ``key`` where a table has unequal columns, too few points or wavelengths that do not rise."""
    if len(wavelength_nm) != len(values):
        raise ValueError(
            f"wavelength_nm has {len(wavelength_nm)} numbers and {key} has {len(values)}; give as many of each"
        )
    if len(values) < 2:
        raise ValueError(f"{key} has {len(values)} points; give two or more")
    for before, after in itertools.pairwise(wavelength_nm):
        if after <= before:
            raise ValueError(f"wavelength_nm does not rise from {before:g} to {after:g}; sort the table by wavelength")
    if max(values) <= 0:
        raise ValueError(f"{key} is nowhere above 0; correct the table")
