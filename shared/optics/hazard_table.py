"""Hazards of a ring by distance, reckoned once, so that a guard may ask at every message. Standard library only.

Between its rows the table stays above the truth: irradiance and retinal load fall with distance, and never faster than the inverse
square (see ``ring_irradiance``). So a row bounds what is farther, and a row times the inverse square bounds what is nearer.
"""

import math
from dataclasses import replace

from shared.optics.ring import Ring
from shared.optics.ring_hazards import Hazards, hazards

_STEP = 1.05
_ROWS = 64


class HazardTable:
    """Hazards of ``ring`` at full level: exact at ``from_mm``, a close bound to about twenty times that, a loose one elsewhere.

    Raises Refused where ``from_mm`` is outside the range for which irradiance is reckoned.
    """

    def __init__(self, ring: Ring, from_mm: float) -> None:
        full = replace(ring, level=1.0)
        self._from_mm = from_mm
        self._rows = [hazards(full, from_mm * _STEP**number) for number in range(_ROWS)]

    def at(self, distance_mm: float) -> Hazards:
        """Hazards at full level at ``distance_mm``, never less than the truth. Raises ValueError unless the distance is above 0."""
        if not 0 < distance_mm < math.inf:
            raise ValueError(f"a distance must be above 0 and finite: {distance_mm}")
        row = max(0, math.ceil(math.log(distance_mm / self._from_mm) / math.log(_STEP)))
        if row >= _ROWS:
            return self._rows[-1]
        return self._rows[row].times((self._from_mm * _STEP**row / distance_mm) ** 2)
