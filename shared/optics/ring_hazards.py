"""What a ring does to eye and skin at a distance, measured against the limits. Standard library only."""

import math
from dataclasses import dataclass
from typing import Literal

from shared.errors import Refused
from shared.optics.exposure_limits import (
    ALPHA_LEAST_BRIEF_RAD,
    ALPHA_LEAST_RAD,
    ALPHA_MOST_RAD,
    LIMITS,
    Limit,
    spectral_burn_weight,
)
from shared.optics.ring import Ring
from shared.optics.ring_irradiance import FARTHEST_MM, highest_irradiance_w_m2, nearest_distance_mm


@dataclass(frozen=True)
class Hazards:
    """What a ring does at a distance, in the quantities that are limited; all proportional to its level.

    ``retinal_...`` is burn-weighted radiance times the angle alpha of the source, because all retinal limits have the form
    constant/alpha: the first with alpha clamped for more than 10 s, the second for less.
    """

    irradiance_w_m2: float
    retinal_w_m2_sr_rad: float
    retinal_brief_w_m2_sr_rad: float

    def of(self, limit: Limit) -> float:
        """The value that this limit is about."""
        return float(getattr(self, limit.quantity))

    def at_most(self, other: "Hazards") -> bool:
        """Whether no quantity is above the other's."""
        return (
            self.irradiance_w_m2 <= other.irradiance_w_m2
            and self.retinal_w_m2_sr_rad <= other.retinal_w_m2_sr_rad
            and self.retinal_brief_w_m2_sr_rad <= other.retinal_brief_w_m2_sr_rad
        )

    def times(self, factor: float) -> "Hazards":
        """The same at another level."""
        return Hazards(
            self.irradiance_w_m2 * factor, self.retinal_w_m2_sr_rad * factor, self.retinal_brief_w_m2_sr_rad * factor
        )


def hazards(ring: Ring, distance_mm: float) -> Hazards:
    """What ``ring`` at its level does at a distance: highest irradiance on the plane, and the worst retinal image.

    Raises Refused outside the range of distances (see ``ring_irradiance``).
    """
    return Hazards(
        highest_irradiance_w_m2(ring, distance_mm),
        _retinal(ring, distance_mm, ALPHA_LEAST_RAD),
        _retinal(ring, distance_mm, ALPHA_LEAST_BRIEF_RAD),
    )


def alpha_rad(diameter_mm: float, distance_mm: float, least_rad: float = ALPHA_LEAST_RAD) -> float:
    """Angle a source of this diameter is seen under, clamped to what counts (IEC 62471:2006 4.3.6; see the constants)."""
    return min(max(diameter_mm / distance_mm, least_rad), ALPHA_MOST_RAD)


def radiance_w_m2_sr(ring: Ring, distance_mm: float, least_rad: float = ALPHA_LEAST_RAD) -> float:
    """Radiance of one LED at the ring's level, averaged over the smallest angle that counts where the LED looks smaller than that.

    L = I / (pi/4 diameter^2), the diameter at least ``least_rad`` times the distance (IEC 62471:2006 4.3.6, field of view of 11
    mrad).
    """
    diameter_m = max(ring.emitter_diameter_mm, least_rad * distance_mm) / 1e3
    return ring.intensity_w_sr / (math.pi / 4 * diameter_m**2)


def _retinal(ring: Ring, distance_mm: float, least_rad: float) -> float:
    """Largest burn-weighted radiance times alpha: of one LED, or of neighbours that share an image.

    Radiance does not add over LEDs, but neighbours may count as one larger source: n of them inside one circle of diameter c
    have the mean radiance n I / (pi/4 c^2), which is never more than that of one LED, so c >= sqrt(n) diameters. c is at least
    the distance of the centres of the outermost two (their outer halves may stick out). A group wider than 0.1 rad is still
    held to 6000/alpha: stricter than the clause, and the figure then falls with distance.
    """
    one = radiance_w_m2_sr(ring, distance_mm, least_rad) * alpha_rad(ring.emitter_diameter_mm, distance_mm, least_rad)
    crowding = 0.0
    for count in range(2, ring.leds + 1):
        arc = min(math.pi * (count - 1) / ring.leds, math.pi / 2)
        across_mm = max(
            2 * ring.radius_mm * math.sin(arc), math.sqrt(count) * ring.emitter_diameter_mm, least_rad * distance_mm
        )
        crowding = max(crowding, count / across_mm)
    group = ring.intensity_w_sr * 1e6 * crowding / (math.pi / 4 * distance_mm)
    return spectral_burn_weight(ring.wavelength_nm, ring.fwhm_nm) * max(one, group)


def allowed_time_s(at: Hazards) -> float:
    """How long steady light may last after a long pause, under all limits; ``math.inf`` where it need not end."""
    return min(limit.allowed_s(at.of(limit)) for limit in LIMITS)


def binding_limit(at: Hazards) -> Limit:
    """The limit that ends the light first or, where none does, the one nearest to its continuous value."""
    return min(LIMITS, key=lambda limit: (limit.allowed_s(at.of(limit)), -at.of(limit) / limit.continuous))


def shortest_distance_mm(ring: Ring) -> float:
    """From which distance on the light of ``ring`` at its level need not end, rounded up to 0.01 mm.

    Found by halving: all hazards fall with distance. Never less than the nearest distance that is reckoned. Raises Refused
    where even 100 m are too near.
    """

    def unlimited(distance_mm: float) -> bool:
        return math.isinf(allowed_time_s(hazards(ring, distance_mm)))

    low_mm, high_mm = nearest_distance_mm(ring), FARTHEST_MM
    if unlimited(low_mm):
        return low_mm
    if not unlimited(high_mm):
        raise Refused(
            "this ring exceeds the limits even at 100 m", f"{ring.intensity_w_sr:g} W/sr", "check its numbers"
        )
    while high_mm - low_mm > 1e-6:
        middle_mm = (low_mm + high_mm) / 2
        low_mm, high_mm = (low_mm, middle_mm) if unlimited(middle_mm) else (middle_mm, high_mm)
    rounded_mm = round(high_mm, 2)
    return rounded_mm if unlimited(rounded_mm) else math.ceil(high_mm * 100) / 100


RiskGroup = Literal["exempt", "RG1", "RG2", "RG3"]


def risk_group(at: Hazards) -> RiskGroup:
    """Risk group of IEC 62471:2006 at this distance, by infrared eye and retinal weak stimulus; for information only.

    The limits at 1000 s (exempt), 100 s (RG1) and 10 s (RG2): 100, 570 and 3200 W/m2 (from memory, reproduced by the formula of
    4.3.7), and 6000/alpha for each (from memory). A classification is measured at 200 mm by a laboratory.
    """
    if at.retinal_w_m2_sr_rad > 6000:
        return "RG3"
    groups: tuple[tuple[RiskGroup, float], ...] = (("exempt", 100.0), ("RG1", 570.0), ("RG2", 3200.0))
    return next((name for name, most in groups if at.irradiance_w_m2 <= most), "RG3")
