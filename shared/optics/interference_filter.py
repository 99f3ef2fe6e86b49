"""An interference filter: what it passes, and how its pass band moves to shorter wavelengths with the angle of the light.

lambda(theta) = lambda(0) sqrt(1 - (sin theta / n_eff)^2), for collimated light, n_eff 1.5 to 2.5 (general form, from memory).
Beyond about 30 degrees the bands of the two polarisations part and the formula is not trusted.
"""

import math
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from shared.bounded import Length, Within
from shared.optics.spectrum import F64, STEP_NM, WAVELENGTH_NM, check_table, from_table

TRUSTED_ANGLE_DEG = 30.0
_HALF = math.log10(2)

Nanometres = Annotated[float, Within(300, 2000)]


def shift_factor(angle_deg: F64 | float, n_eff: float) -> F64:
    """Wavelength at an angle beside that at normal incidence."""
    return np.asarray(np.sqrt(1 - (np.sin(np.radians(angle_deg)) / n_eff) ** 2))


@dataclass(frozen=True)
class InterferenceFilter:
    """A pass band with its edges at half transmission (either may be absent), or a table from the data sheet.

    ``edge_nm`` is how far outside the edge the filter reaches ``blocking_od``; 0 is an ideal edge. Beyond the ends of a table, and
    where it says less, the filter blocks by ``blocking_od``.
    """

    cut_on_nm: Nanometres | None = None
    cut_off_nm: Nanometres | None = None
    transmission: Annotated[float, Within(0.01, 1)] = 0.9
    blocking_od: Annotated[float, Within(0.3, 10)] = 5.0
    edge_nm: Annotated[float, Within(0, 100)] = 0.0
    n_eff: Annotated[float, Within(1.2, 3)] = 2.0
    wavelength_nm: Annotated[tuple[Nanometres, ...], Length(0, 5000)] = ()
    transmission_at: Annotated[tuple[Annotated[float, Within(0, 1)], ...], Length(0, 5000)] = ()

    def __post_init__(self) -> None:
        edges = self.cut_on_nm is not None or self.cut_off_nm is not None
        if self.tabled:
            check_table("transmission_at", self.wavelength_nm, self.transmission_at)
            if edges:
                raise ValueError("cut_on_nm or cut_off_nm stands beside a table; keep one of the two")
        elif not edges:
            raise ValueError(
                "cut_on_nm and cut_off_nm are both absent; give one, both, or wavelength_nm with transmission_at"
            )
        if self.cut_on_nm is not None and self.cut_off_nm is not None and self.cut_on_nm >= self.cut_off_nm:
            raise ValueError(f"cut_on_nm {self.cut_on_nm:g} is not below cut_off_nm {self.cut_off_nm:g}; swap them")

    @property
    def tabled(self) -> bool:
        """Whether a table says what it passes."""
        return bool(self.wavelength_nm or self.transmission_at)

    @property
    def words(self) -> str:
        """The pass band as people say it."""
        if self.tabled:
            return f"table {self.wavelength_nm[0]:g}-{self.wavelength_nm[-1]:g} nm"
        if self.cut_off_nm is None:
            return f"{self.cut_on_nm:g} nm long-pass OD {self.blocking_od:g}"
        if self.cut_on_nm is None:
            return f"{self.cut_off_nm:g} nm short-pass OD {self.blocking_od:g}"
        return f"{self.cut_on_nm:g}-{self.cut_off_nm:g} nm OD {self.blocking_od:g}"

    def at_angle(self, angle_deg: float) -> F64:
        """Transmission on the grid for collimated light at an angle to the filter's normal."""
        factor = float(shift_factor(angle_deg, self.n_eff))
        blocked = 10.0**-self.blocking_od
        if self.tabled:
            moved = tuple(wavelength * factor for wavelength in self.wavelength_nm)
            return np.asarray(np.maximum(from_table(moved, self.transmission_at), blocked))
        unmoved = WAVELENGTH_NM / factor
        if self.edge_nm == 0:
            inside = self._inside(unmoved, STEP_NM / factor)
            return np.asarray(self.transmission * inside + blocked * (1 - inside))
        return np.asarray(self.transmission * 10.0 ** -self._density(unmoved))

    def over(self, angles_deg: F64) -> F64:
        """Mean transmission over rays at these angles."""
        return np.asarray(np.mean([self.at_angle(float(angle)) for angle in angles_deg], axis=0))

    def _inside(self, wavelength_nm: F64, bin_nm: float) -> F64:
        """Share of each bin that lies within ideal edges."""
        inside = np.ones_like(wavelength_nm)
        if self.cut_on_nm is not None:
            inside *= np.clip((wavelength_nm - self.cut_on_nm) / bin_nm + 0.5, 0, 1)
        if self.cut_off_nm is not None:
            inside *= np.clip((self.cut_off_nm - wavelength_nm) / bin_nm + 0.5, 0, 1)
        return inside

    def _density(self, wavelength_nm: F64) -> F64:
        """Optical density below the peak: half transmission at the edge, full a tenth of ``edge_nm`` inside, blocking outside."""
        deepest = max(self.blocking_od + math.log10(self.transmission), 0.0)
        half = min(_HALF, deepest)
        outside_nm = np.full_like(wavelength_nm, -np.inf)
        if self.cut_on_nm is not None:
            outside_nm = np.maximum(outside_nm, self.cut_on_nm - wavelength_nm)
        if self.cut_off_nm is not None:
            outside_nm = np.maximum(outside_nm, wavelength_nm - self.cut_off_nm)
        return np.interp(outside_nm, (-self.edge_nm / 10, 0, self.edge_nm), (0, half, deepest))
