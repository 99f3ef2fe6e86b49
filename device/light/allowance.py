"""How long the ring may still shine into eyes and on skin, by the exposure limits (``shared.optics.exposure_budget``).

It reckons with the level in force and the nearest distance: the shortest working distance of the settings, or the measured one
where a distance sensor answers. Light that guards before it gave (``GivenLight``) counts. Software PWM counts as full level, as its
thread may be held up with the pin high.
"""

import math
from typing import Protocol

from device.light.given_light import GivenLight
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
    """The account of a ring as described. Raises Refused where the settings' distance is outside what can be reckoned.

    What it counts it also writes to ``given``, and begins with what is found there.
    """

    def __init__(self, ring: Ring, settings: LightSettings, now_ns: int, given: GivenLight | None = None) -> None:
        before = given.before if given is not None else ()
        start_ns = before[0].start_ns if before else now_ns
        self._budget = ExposureBudget(ring, settings.shortest_working_distance_mm, start_ns)
        for light in before:
            self._budget.spend(light.level, light.distance_mm, light.start_ns, light.end_ns)
        self._given = given
        self._always_full = settings.pwm == "software"
        self._distance = WorkingDistance(settings.shortest_working_distance_mm, settings.distance.silent_ms)
        self._at_ns = now_ns
        self._known: tuple[float, float] | None = None  # (level, distance) for which ``_end_ns`` was found
        self._end_ns = 0.0

    def pass_to(self, now_ns: int, level: float) -> None:
        """Count the time; a clock that steps back counts as nothing and gives nothing back."""
        if now_ns < self._at_ns:
            self._known = None
        if now_ns > self._at_ns:
            level, distance_mm = self._counted(level), self._distance.nearest_mm(now_ns)
            if level > 0.0:
                self._budget.spend(level, distance_mm, self._at_ns, now_ns)
            if self._given is not None:
                self._given.note(self._at_ns, now_ns, level, distance_mm)
        self._at_ns = now_ns

    def measured(self, distance_mm: float, now_ns: int) -> None:
        """Reckon with a measured distance from now on."""
        self._distance.take(distance_mm, now_ns)

    def left_ns(self, level: float, now_ns: int) -> int | None:
        """A time once found holds while level and distance stay, for no more than reckoned was spent since; near its end it is
        found anew.
        """
        wanted = (self._counted(level), self._distance.nearest_mm(now_ns))
        if wanted != self._known or self._end_ns - now_ns < WORTHWHILE_NS:
            self._known, self._end_ns = wanted, now_ns + self._budget.left_s(*wanted, now_ns) * 1e9
        return None if math.isinf(self._end_ns) else max(0, int(self._end_ns) - now_ns)

    def words(self, level: float, now_ns: int) -> str:
        """E.g. "infrared at the eye, at 100 % and 150 mm"."""
        level, distance_mm = self._counted(level), self._distance.nearest_mm(now_ns)
        return f"{self._budget.binding(level, distance_mm, now_ns).words}, at {level:.0%} and {distance_mm:.0f} mm"

    def _counted(self, level: float) -> float:
        return 1.0 if self._always_full and level > 0.0 else level
