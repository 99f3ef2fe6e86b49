"""Irradiance that a ring of LEDs throws on a plane in front of it, and the highest anywhere on that plane. Standard library only.

Each LED is a point with a generalised Lambert lobe: on a plane parallel to the ring at distance d, at the lateral distance rho
from the LED's foot, E = I d^(m+1) / (rho^2 + d^2)^((m+3)/2). Far away the highest irradiance is on the ring's axis, near the ring
it is in front of an LED, and between those it is anywhere in between; so it is searched for, and bounded from above:

- every term falls with rho, so the highest point lies inside the circle, and by symmetry in one sector of half an LED's
  spacing;
- over a rectangle of the plane, each term is at most its value at the point of the rectangle next to its LED. Rectangles are
  halved, the one with the highest bound first, until no bound exceeds the best point found by more than ``TOLERANCE``
  (branch and bound);
- where rho^2 (m+4) <= d^2 a term is concave; in a disc about the axis where all are, the axis is the highest point, exactly.

What is returned is the bound, never less than the truth, or exactly the axis where that is proven to be the highest.

The highest irradiance falls with distance, for any ring. The lobes of one exponent on planes at different distances are one
bell (Student's t in two dimensions, m+1 degrees of freedom) at different widths; that bell is self-decomposable (Grosswald
1976, Halgreen 1979; from memory), so the pattern at the farther plane is the pattern at the nearer one blurred, and blurring
raises no maximum. Nor does it fall faster than the inverse square, because each term is d^-2 times something that falls with
rho/d. Together: E(d) <= E(near) for d >= near, and E(d) <= E(far) (far/d)^2 for d <= far. Tests check both.
"""

import heapq
import math
from functools import lru_cache

from shared.errors import Refused
from shared.optics.ring import Ring

TOLERANCE = 0.002
"""How much more than the truth the highest irradiance may be said to be, off the axis."""

NEAREST_EMITTER_DIAMETERS = 5.0
"""From here on a flat emitter counts as a point, with an error of about 1 % (common practice, no source)."""

FARTHEST_MM = 100_000.0


def nearest_distance_mm(ring: Ring) -> float:
    """Nearest distance for which irradiance is reckoned."""
    return NEAREST_EMITTER_DIAMETERS * ring.emitter_diameter_mm


def axis_irradiance_w_m2(ring: Ring, distance_mm: float) -> float:
    """Irradiance on the ring's axis, on a plane parallel to the ring. Raises Refused outside the range of distances."""
    return (
        ring.intensity_w_sr * ring.leds * _term(_checked_m(ring, distance_mm), ring.radius_mm / 1e3, ring.lobe_exponent)
    )


def highest_irradiance_w_m2(ring: Ring, distance_mm: float) -> float:
    """Highest irradiance anywhere on a plane parallel to the ring, at most ``TOLERANCE`` above the truth and never below it.

    A surface turned towards the nearest LED instead can get a little more where the highest point is off the axis. Raises Refused
    outside the range of distances.
    """
    distance_m = _checked_m(ring, distance_mm)
    return ring.intensity_w_sr * _highest(ring.leds, ring.radius_mm / 1e3, distance_m, ring.lobe_exponent)


def _checked_m(ring: Ring, distance_mm: float) -> float:
    nearest_mm = nearest_distance_mm(ring)
    if not nearest_mm <= distance_mm <= FARTHEST_MM:
        raise Refused(
            f"distance must be from {nearest_mm:g} mm ({NEAREST_EMITTER_DIAMETERS:g} emitter diameters, where an LED counts as a "
            f"point) to {FARTHEST_MM:g} mm",
            f"{distance_mm:g} mm",
            "choose a distance inside",
        )
    return distance_mm / 1e3


def _term(distance_m: float, lateral_m: float, exponent: float) -> float:
    """Irradiance by an LED of 1 W/sr; written so that nothing overflows for narrow lobes."""
    squared = lateral_m * lateral_m + distance_m * distance_m
    return float((distance_m * distance_m / squared) ** ((exponent + 1) / 2)) / squared


@lru_cache(maxsize=1024)
def _highest(leds: int, radius_m: float, distance_m: float, exponent: float) -> float:
    axis = leds * _term(distance_m, radius_m, exponent)
    if leds == 1 or radius_m == 0:
        return leds * _term(distance_m, 0.0, exponent)
    feet = [
        (radius_m * math.cos(2 * math.pi * number / leds), radius_m * math.sin(2 * math.pi * number / leds))
        for number in range(leds)
    ]

    def bound(left: float, right: float, low: float, high: float) -> float:
        total = 0.0
        for x, y in feet:
            lateral_m = math.hypot(max(left - x, 0.0, x - right), max(low - y, 0.0, y - high))
            total += _term(distance_m, lateral_m, exponent)
        return total

    def axis_is_highest_in(right: float, high: float) -> bool:
        return (exponent + 4) * (radius_m + math.hypot(right, high)) ** 2 <= distance_m * distance_m

    sector = (0.0, radius_m, 0.0, radius_m * math.sin(math.pi / leds))
    best = max(axis, bound(radius_m, radius_m, 0.0, 0.0))
    waiting = [(-bound(*sector), sector)]
    while waiting:
        highest, (left, right, low, high) = heapq.heappop(waiting)
        if -highest <= best * (1 + TOLERANCE):
            return max(best, -highest)
        if axis_is_highest_in(right, high):
            continue
        across, up = (left + right) / 2, (low + high) / 2
        best = max(best, bound(across, across, up, up))
        wide = right - left >= high - low
        halves = (
            ((left, across, low, high), (across, right, low, high))
            if wide
            else ((left, right, low, up), (left, right, up, high))
        )
        for half in halves:
            limit = bound(*half)
            if limit > best:
                heapq.heappush(waiting, (-limit, half))
    return best
