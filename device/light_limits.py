"""What ``tapetum light-limits`` says: a ring against the exposure limits, distance by distance."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from shared.bounded import plain
from shared.optics.exposure_limits import COUNTED_FROM_NM, EYE_INFRARED, LIMITS, Limit
from shared.optics.ring import Ring
from shared.optics.ring_hazards import (
    Hazards,
    allowed_time_s,
    binding_limit,
    hazards,
    risk_group,
    shortest_distance_mm,
)
from shared.optics.ring_irradiance import axis_irradiance_w_m2, nearest_distance_mm

DISTANCES_MM = (100.0, 150.0, 200.0, 250.0, 300.0, 400.0)

CAUTIONS = (
    "An estimate from the figures given, neither a measurement nor a classification; limits partly second-hand or from memory.",
    "Nobody looks into the ring; goggles made for this wavelength for patient and staff near the eyes.",
    "Local rules and a competent person decide. Not a certified medical device.",
)


@dataclass(frozen=True)
class AtDistance:
    """The ring at one distance."""

    distance_mm: float
    hazards: Hazards
    axis_irradiance_w_m2: float

    @property
    def allowed_time_s(self) -> float:
        """How long steady light may last after a long pause; ``math.inf``: without end."""
        return allowed_time_s(self.hazards)

    def share(self, limit: Limit) -> float:
        """How much is reached of what ``limit`` allows without end."""
        return self.hazards.of(limit) / limit.continuous


@dataclass(frozen=True)
class LightLimits:
    """The ring at several distances, and from where on its light need not end."""

    ring: Ring
    at: tuple[AtDistance, ...]
    shortest_distance_mm: float
    warnings: tuple[str, ...]

    @property
    def share_above_780_nm(self) -> float:
        """Share of the ring's light in the band for which the infrared limits are written."""
        return self.ring.share_above(COUNTED_FROM_NM)

    def as_json(self) -> dict[str, Any]:
        """The object that ``tapetum light-limits --json`` prints; a time without end is null beside ``"unlimited": true``."""
        return {
            "ring": {
                **plain(self.ring),
                "lobe_exponent": self.ring.lobe_exponent,
                "axis_intensity_w_sr": self.ring.intensity_w_sr,
            },
            "at": [self._row(one) for one in self.at],
            "shortest_distance_mm": self.shortest_distance_mm,
            "share_above_780_nm": self.share_above_780_nm,
            "warnings": list(self.warnings),
            "cautions": list(CAUTIONS),
        }

    def _row(self, one: AtDistance) -> dict[str, Any]:
        at, binding = one.hazards, binding_limit(one.hazards)
        in_band_w_m2 = at.irradiance_w_m2 * self.share_above_780_nm
        return {
            "distance_mm": one.distance_mm,
            "irradiance_w_m2": at.irradiance_w_m2,
            "limit_w_m2": at.irradiance_w_m2 * binding.continuous / at.of(binding),
            **_time(one.allowed_time_s),
            "binding_limit": binding.sentence,
            "axis_irradiance_w_m2": one.axis_irradiance_w_m2,
            "risk_group": risk_group(at),
            "limits": [
                {
                    "name": limit.name,
                    "limit": limit.sentence,
                    "quantity": limit.quantity,
                    "value": at.of(limit),
                    "continuous_limit": limit.continuous,
                    **_time(limit.allowed_s(at.of(limit))),
                }
                for limit in LIMITS
            ],
            "above_780_nm_only": {"irradiance_w_m2": in_band_w_m2, **_time(EYE_INFRARED.allowed_s(in_band_w_m2))},
        }


def light_limits(ring: Ring, distances_mm: Sequence[float] = ()) -> LightLimits:
    """Judge ``ring`` at the distances, or at some usual ones. Raises Refused for a distance that cannot be reckoned."""
    if not distances_mm:
        distances_mm = [mm for mm in DISTANCES_MM if mm >= nearest_distance_mm(ring)]
    rows = tuple(AtDistance(mm, hazards(ring, mm), axis_irradiance_w_m2(ring, mm)) for mm in distances_mm)
    return LightLimits(ring, rows, shortest_distance_mm(ring), _warnings(ring))


def _warnings(ring: Ring) -> tuple[str, ...]:
    above = ring.share_above(COUNTED_FROM_NM)
    if above >= 0.99:
        return ()
    return (
        f"all light counts, though the infrared limits start at {COUNTED_FROM_NM:g} nm: "
        f"{above * 100:.1f} % of this ring's lies above",
    )


def _time(time_s: float) -> dict[str, Any]:
    return {"allowed_time_s": None if math.isinf(time_s) else time_s, "unlimited": math.isinf(time_s)}
