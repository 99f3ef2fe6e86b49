"""The distance that exposure is reckoned with: measured while a sensor tells it, else the shortest of the settings.

Pure; standard library only. A sensor that stops is never passed over in silence: ``sentence`` says which distance counts and why.
"""

from typing import Literal

Source = Literal["assumed", "measured", "lost"]


class WorkingDistance:
    """The nearest distance that must be reckoned with.

    Without a sensor it is always ``shortest_mm``, which the settings promise. A sensor's reading counts for ``fresh_ms``; after
    that it is lost, and the nearer of ``shortest_mm`` and the last reading counts until a new one comes. Readings that are no
    distance count as lost at once.
    """

    def __init__(self, shortest_mm: float, fresh_ms: int = 500) -> None:
        self._shortest_mm = shortest_mm
        self._fresh_ns = fresh_ms * 1_000_000
        self._reading_mm: float | None = None
        self._before_mm: float | None = None
        self._read_ns = 0
        self._heard = False

    def take(self, distance_mm: float, now_ns: int) -> None:
        """Take a sensor's reading of ``now_ns``; 0, negative, infinite or NaN means that it saw nothing it could measure."""
        self._heard = True
        if 0 < distance_mm < float("inf"):
            self._before_mm = self._reading_mm
            self._reading_mm, self._read_ns = distance_mm, now_ns
        elif self._reading_mm is not None:
            self._read_ns = now_ns - self._fresh_ns

    def nearest_mm(self, now_ns: int) -> float:
        """Distance to reckon with for an interval that ends at ``now_ns`` and began no earlier than the reading before the last."""
        if self._reading_mm is None:
            return self._shortest_mm
        nearest_mm = self._reading_mm if self._before_mm is None else min(self._reading_mm, self._before_mm)
        return nearest_mm if self.source(now_ns) == "measured" else min(nearest_mm, self._shortest_mm)

    def source(self, now_ns: int) -> Source:
        """Where the distance comes from."""
        if not self._heard:
            return "assumed"
        fresh = self._reading_mm is not None and now_ns - self._read_ns < self._fresh_ns
        return "measured" if fresh else "lost"

    def sentence(self, now_ns: int) -> str:
        """For log and page: what counts, and why."""
        nearest_mm = self.nearest_mm(now_ns)
        match self.source(now_ns):
            case "measured":
                return f"exposure is reckoned at the measured {nearest_mm:.0f} mm"
            case "lost":
                return f"the distance sensor says nothing; exposure is reckoned at {nearest_mm:.0f} mm"
            case _:
                return f"exposure is reckoned at the assumed shortest working distance of {nearest_mm:.0f} mm"
