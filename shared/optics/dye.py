"""Indocyanine green: what it absorbs, how dense a layer of it is, and where it glows.

Absorbance A = epsilon c l (decadic, Beer-Lambert). A layer absorbs 1 - 10^-A of what falls on it, which beside the thin layer's
A ln 10 is the inner filter factor (Lakowicz, Principles of Fluorescence Spectroscopy; from memory).

No openly licensed table of the emission was found, so its shape is a model: the mirror image of the protein-bound absorption in
wavenumber, epsilon/nu mirrored to photons/nu^3 per wavenumber (Strickler and Berg 1962, J Chem Phys 37:814; from memory), moved so
that it peaks where the parts file says. The absorption's shoulder below 760 nm, part of which does not glow, becomes a tail above
890 nm that is probably too strong.
"""

import math
from dataclasses import dataclass
from functools import cache

import numpy as np

from shared.bounded import from_toml
from shared.errors import Refused
from shared.optics.spectrum import F64, WAVELENGTH_NM, normalised
from shared.optics.stock import stock_path

LN10 = math.log(10)
_PER_CM = 1e7  # wavenumber in 1/cm = 1e7 / wavelength in nm


@dataclass(frozen=True)
class AbsorptionTable:
    """A published table: one row of epsilon a concentration, or a single row that holds for every concentration."""

    origin: str
    concentration_um: tuple[float, ...]
    wavelength_nm: tuple[float, ...]
    epsilon_per_cm_per_molar: tuple[tuple[float, ...], ...]

    @property
    def low_nm(self) -> float:
        """Shortest wavelength of the table."""
        return self.wavelength_nm[0]

    @property
    def high_nm(self) -> float:
        """Longest wavelength of the table."""
        return self.wavelength_nm[-1]

    def epsilon(self, concentration_um: float) -> F64:
        """Epsilon on the grid, decadic, per cm and mol/L; 0 outside the table.

        Between the table's concentrations it is interpolated in log concentration; below the first and above the last, those hold.
        """
        rows = np.array(self.epsilon_per_cm_per_molar)
        row = rows[0]
        if len(rows) > 1:
            places = np.interp(
                math.log(max(concentration_um, 1e-9)), np.log(self.concentration_um), np.arange(len(rows))
            )
            below = min(int(places), len(rows) - 2)
            row = rows[below] + (places - below) * (rows[below + 1] - rows[below])
        return np.asarray(np.interp(WAVELENGTH_NM, self.wavelength_nm, row, left=0.0, right=0.0))


@cache
def absorption_table(name: str) -> AbsorptionTable:
    """A table that comes with the program; raises Refused naming those there are."""
    return from_toml(AbsorptionTable, stock_path("dyes", name))


def absorbance(epsilon_per_cm_per_molar: F64, concentration_um: float, path_mm: float) -> F64:
    """A = epsilon c l, without unit."""
    return epsilon_per_cm_per_molar * (concentration_um * 1e-6) * (path_mm / 10)


def absorbed_share(absorbance_decadic: F64) -> F64:
    """1 - 10^-A, exact for thin layers too."""
    return -np.expm1(-LN10 * absorbance_decadic)


def inner_filter_share(absorbance_decadic: F64) -> F64:
    """(1 - 10^-A) / (A ln 10): what a layer absorbs beside what it would if no part of it shaded another; 1 where A is 0."""
    thin = LN10 * np.asarray(absorbance_decadic, float)
    return np.divide(-np.expm1(-thin), thin, out=np.ones_like(thin), where=thin > 0)


@cache
def _mirrored(crossing_nm: float) -> F64:
    wavenumber = _PER_CM / WAVELENGTH_NM
    mirrored = 2 * _PER_CM / crossing_nm - wavenumber
    table = absorption_table("icg-plasma")
    epsilon = np.interp(_PER_CM / mirrored, table.wavelength_nm, table.epsilon_per_cm_per_molar[0], left=0.0, right=0.0)
    photons_per_wavenumber = epsilon / mirrored * wavenumber**3
    return photons_per_wavenumber * wavenumber**2 / _PER_CM


@cache
def mirror_emission(peak_nm: float) -> F64:
    """Photons per nm of the emission model described above, integral 1, with its peak at ``peak_nm`` to half a grid step."""
    low_nm, high_nm = 700.0, 900.0
    for _ in range(40):
        crossing_nm = (low_nm + high_nm) / 2
        if float(WAVELENGTH_NM[np.argmax(_mirrored(crossing_nm))]) < peak_nm:
            low_nm = crossing_nm
        else:
            high_nm = crossing_nm
    if not np.any(_mirrored(high_nm)):
        raise Refused("no emission model peaks at this wavelength", peak_nm, "choose 810 to 840 nm")
    return normalised(_mirrored(high_nm))
