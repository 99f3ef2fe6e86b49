"""A sensor's newest value against its limit, with hysteresis and age. Pure."""

from dataclasses import dataclass

from device.light.sensors import SensorName
from device.light.sensors.packet import Reading
from shared.settings import LightSettings


@dataclass(frozen=True)
class Limit:
    """Where a value must stay. Above ``at_most`` (or below ``at_least``) it leaves; to be back within, it must come ``hysteresis``
    inside. A value older than ``silent_ns`` counts for nothing.
    """

    silent_ns: int
    at_most: float | None = None
    at_least: float | None = None
    hysteresis: float = 0.0

    @property
    def edge(self) -> float:
        """Value that may just be reached."""
        edge = self.at_most if self.at_most is not None else self.at_least
        assert edge is not None
        return edge

    @property
    def again(self) -> float:
        """Value at which one that had left is within again."""
        return self.edge - self.hysteresis if self.at_most is not None else self.edge + self.hysteresis

    def within(self, value: float, was_within: bool) -> bool:
        """Whether ``value`` is within, coming from where it was."""
        edge = self.edge if was_within else self.again
        return value <= edge if self.at_most is not None else value >= edge


@dataclass(frozen=True)
class Sensed:
    """Newest value of one sensor."""

    value: float
    at_ns: int
    within: bool

    def fresh(self, limit: Limit, now_ns: int) -> bool:
        """Whether the value still counts; at the end of the silence itself it does no more."""
        return now_ns < self.at_ns + limit.silent_ns


def next_sensed(before: Sensed | None, reading: Reading, limit: Limit, now_ns: int) -> Sensed:
    """``before`` followed by ``reading``. After a silence, and at the start, the value must come inside by the hysteresis first.

    A value older than the one before changes nothing, and one from the future is as old as now.
    """
    at_ns = min(reading.at_ns, now_ns)
    if before is not None and at_ns < before.at_ns:
        return before
    was_within = before is not None and before.within and before.fresh(limit, now_ns)
    return Sensed(reading.value, at_ns, limit.within(reading.value, was_within))


def limits(settings: LightSettings) -> dict[SensorName, Limit]:
    """Limit of each sensor that is fitted."""
    found: dict[SensorName, Limit] = {}
    temperature, supply, cover, distance = settings.led_temperature, settings.supply, settings.cover, settings.distance
    if temperature.kind != "absent":
        found["LED temperature"] = Limit(
            _ns(temperature.silent_ms), at_most=temperature.highest_c, hysteresis=temperature.hysteresis_c
        )
    if supply.kind == "alarm":
        found["supply"] = Limit(_ns(supply.silent_ms), at_most=0.5)
    elif supply.kind != "absent":
        found["supply"] = Limit(_ns(supply.silent_ms), at_least=supply.least_v, hysteresis=supply.hysteresis_v)
    if cover.kind != "absent":
        found["cover"] = Limit(_ns(cover.silent_ms), at_least=0.5)
    if distance.kind != "absent":
        found["distance"] = Limit(
            _ns(distance.silent_ms), at_least=distance.nearest_mm, hysteresis=distance.hysteresis_mm
        )
    return found


def _ns(milliseconds: int) -> int:
    return milliseconds * 1_000_000
