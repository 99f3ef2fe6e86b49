"""How long the ring may still shine into eyes and on skin, by the exposure limits (``shared.optics.exposure_budget``).

It reckons with the level in force and the nearest distance: the shortest working distance of the settings, or the measured one
where a distance sensor answers. A restarted guard knows nothing of light before: its budget is fresh.
"""

import math
from typing import Protocol

from shared.optics.exposure_budget import ExposureBudget
from shared.optics.ring import Ring
from shared.optics.working_distance import WorkingDistance
from shared.settings import LightSettings

WORTHWHILE_NS = 10_000_000_000
"""Budget trickles back in the dark; the ring is not lit again for less than this, or it would blink."""


class Allowance(Protocol):
    """The account that the guard keeps."""

    def pass_to(self, now_ns: int, level: float) -> None:
        """Count the time until ``now_ns`` as spent at ``level`` (0: dark)."""

    def measured(self, distance_mm: float, now_ns: int) -> None:
        """A distance sensor spoke."""

    def left_ns(self, level: float, now_ns: int) -> int | None:
        """How long the ring may shine on from now at ``level`` without a pause; None where it need not end."""

    def words(self, level: float, now_ns: int) -> str:
        """The limit that ends it first, with level and distance."""


class RingAllowance:
    """The account of a ring as described. Raises Refused where the settings' distance is outside what can be reckoned."""

    def __init__(self, ring: Ring, settings: LightSettings, now_ns: int) -> None:
        self._budget = ExposureBudget(ring, settings.shortest_working_distance_mm, now_ns)
        self._distance = WorkingDistance(settings.shortest_working_distance_mm, settings.distance.silent_ms)
        self._at_ns = now_ns
        self._known: tuple[float, float] | None = None  # (level, distance) for which ``_end_ns`` was found
        self._end_ns = 0.0

    def pass_to(self, now_ns: int, level: float) -> None:
        """Count the time; a clock that steps back counts as nothing and gives nothing back."""
        if now_ns < self._at_ns:
            self._known = None
        if level > 0.0 and now_ns > self._at_ns:
            self._budget.spend(level, self._distance.nearest_mm(now_ns), self._at_ns, now_ns)
        self._at_ns = now_ns

    def measured(self, distance_mm: float, now_ns: int) -> None:
        """Reckon with a measured distance from now on."""
        self._distance.take(distance_mm, now_ns)

    def left_ns(self, level: float, now_ns: int) -> int | None:
        """A time once found holds while level and distance stay, for no more than reckoned was spent since; near its end it is
        found anew.
        """
        wanted = (level, self._distance.nearest_mm(now_ns))
        if wanted != self._known or self._end_ns - now_ns < WORTHWHILE_NS:
            self._known, self._end_ns = wanted, now_ns + self._budget.left_s(*wanted, now_ns) * 1e9
        return None if math.isinf(self._end_ns) else max(0, int(self._end_ns) - now_ns)

    def words(self, level: float, now_ns: int) -> str:
        """E.g. "infrared at the eye, at 100 % and 150 mm"."""
        distance_mm = self._distance.nearest_mm(now_ns)
        return f"{self._budget.binding(level, distance_mm, now_ns).words}, at {level:.0%} and {distance_mm:.0f} mm"
