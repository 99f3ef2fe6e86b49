"""Irradiance that a ring of LEDs throws on a plane in front of it, and the highest anywhere on that plane. Standard library only.

Each LED is a point with a generalised Lambert lobe: on a plane parallel to the ring at distance d, at the lateral distance rho
from the LED's foot, E = I d^(m+1) / (rho^2 + d^2)^((m+3)/2). Far away the highest irradiance is on the ring's axis, near the ring
it is in front of an LED, and between those it is anywhere in between; so it is searched for, and bounded from above:

- every term falls with rho, so the highest point lies inside the circle, and by symmetry in one sector of half an LED's
  spacing;
- over a rectangle of the plane no term exceeds its value at the point of the rectangle next to its LED; nor does the sum exceed
  the tangent plane at the middle by more than the highest second derivative allows. The lower of the two bounds counts;
- rectangles are halved, the one with the highest bound first, until no bound exceeds the best point found by more than
  ``TOLERANCE`` (branch and bound);
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

TOLERANCE = 0.0001
"""How much more than the truth the highest irradiance may be said to be, off the axis."""

NEAREST_EMITTER_DIAMETERS = 5.0
"""From here on a flat emitter counts as a point, with an error of about 1 % (common practice, no source)."""

FARTHEST_MM = 100_000.0


def nearest_distance_mm(ring: Ring) -> float:
    """Nearest distance for which irradiance is reckoned."""
    return NEAREST_EMITTER_DIAMETERS * ring.emitter_diameter_mm


def axis_irradiance_w_m2(ring: Ring, distance_mm: float) -> float:
    """Irradiance on the ring's axis, on a plane parallel to the ring. Raises Refused outside the range of distances."""
    _check(ring, distance_mm)
    squared = (ring.radius_mm / distance_mm) ** 2
    one = (1 + squared) ** (-(ring.lobe_exponent + 3) / 2)
    return float(ring.leds * one * ring.intensity_w_sr / (distance_mm / 1e3) ** 2)


def highest_irradiance_w_m2(ring: Ring, distance_mm: float) -> float:
    """Highest irradiance anywhere on a plane parallel to the ring, at most ``TOLERANCE`` above the truth and never below it.

    A surface turned to face the light gets no more from 2.5 radii on, and nearer up to about 4 % more (worked out for rings of 2
    to 24 LEDs, half angles from 15 to 85 degrees). Raises Refused outside the range of distances.
    """
    _check(ring, distance_mm)
    highest = _highest(ring.leds, ring.radius_mm / distance_mm, ring.lobe_exponent)
    return highest * ring.intensity_w_sr / (distance_mm / 1e3) ** 2


def _check(ring: Ring, distance_mm: float) -> None:
    nearest_mm = nearest_distance_mm(ring)
    if not nearest_mm <= distance_mm <= FARTHEST_MM:
        raise Refused(
            f"distance must be from {nearest_mm:g} mm ({NEAREST_EMITTER_DIAMETERS:g} emitter diameters, where an LED counts as a "
            f"point) to {FARTHEST_MM:g} mm",
            f"{distance_mm:g} mm",
            "choose a distance inside",
        )


_Cell = tuple[float, float, float, float]
"""Rectangle of the plane: left, right, low, high."""


@lru_cache(maxsize=1024)
def _highest(leds: int, radius: float, exponent: float) -> float:
    """Highest irradiance by LEDs of 1 W/sr at the distance 1."""
    plane = _Plane(leds, radius, exponent)
    if leds == 1 or radius == 0:
        return float(leds)
    best = max(plane.at(0.0, 0.0)[0], plane.at(radius, 0.0)[0])
    sector = (0.0, radius, 0.0, radius * math.sin(math.pi / leds))
    waiting = [(-plane.bound(sector), sector)]
    while waiting:
        bound, cell = heapq.heappop(waiting)
        if -bound <= best * (1 + TOLERANCE):
            return max(best, -bound)
        left, right, low, high = cell
        across, up = (left + right) / 2, (low + high) / 2
        best = max(best, plane.at(across, up)[0])
        wide = right - left >= high - low
        for half in (
            ((left, across, low, high), (across, right, low, high))
            if wide
            else ((left, right, low, up), (left, right, up, high))
        ):
            bound = plane.bound(half)
            if bound > best and not plane.axis_is_highest_in(half):
                heapq.heappush(waiting, (-bound, half))
    return best


class _Plane:
    """The plane at the distance 1 from a ring of LEDs of 1 W/sr; each term is (1 + rho^2)^-k."""

    def __init__(self, leds: int, radius: float, exponent: float) -> None:
        turns = [2 * math.pi * number / leds for number in range(leds)]
        self._feet = [(radius * math.cos(turn), radius * math.sin(turn)) for turn in turns]
        self._radius = radius
        self._k = (exponent + 3) / 2
        # Second derivative of a term along rho: 2k ((2k+1) rho^2 - 1) / (1 + rho^2)^(k+2), highest at rho^2 = 3 / (2k+1).
        self._steepest = 4 * self._k * (1 + 3 / (2 * self._k + 1)) ** (-self._k - 2)

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Irradiance at a point, and the length of its gradient there."""
        total = slope_x = slope_y = 0.0
        for foot_x, foot_y in self._feet:
            dx, dy = x - foot_x, y - foot_y
            rise = 1 + dx * dx + dy * dy
            term = rise**-self._k
            slope = -2 * self._k * term / rise
            total, slope_x, slope_y = total + term, slope_x + slope * dx, slope_y + slope * dy
        return total, math.hypot(slope_x, slope_y)

    def bound(self, cell: _Cell) -> float:
        """What the irradiance nowhere in the cell exceeds: the lower of two bounds (see the top of the file)."""
        left, right, low, high = cell
        reach = math.hypot(right - left, high - low) / 2
        total, slope = self.at((left + right) / 2, (low + high) / 2)
        nearest_terms = curvature = 0.0
        for x, y in self._feet:
            near = math.hypot(max(left - x, 0.0, x - right), max(low - y, 0.0, y - high))
            far = math.hypot(max(x - left, right - x), max(y - low, high - y))
            nearest_terms += (1 + near * near) ** -self._k
            if not self._concave_within(far):
                curvature += self._steepest
        return float(min(nearest_terms, total + slope * reach + curvature * reach * reach / 2))

    def axis_is_highest_in(self, cell: _Cell) -> bool:
        """Whether the cell lies in a disc about the axis in which every term is concave."""
        return self._concave_within(self._radius + math.hypot(cell[1], cell[3]))

    def _concave_within(self, lateral: float) -> bool:
        return (2 * self._k + 1) * lateral * lateral <= 1
