"""What must be true for the ring to be lit, one small named object each.

To add a condition: give Facts what it looks at, write the object, append it to ``conditions()``. Nothing else changes: the states
ask only whether all hold, the timer when the next one ends, and the page shows the first sentence.
"""

from dataclasses import dataclass

from device.light.allowance import WORTHWHILE_NS
from device.light.condition import Condition, Conditions, Facts, Group
from device.light.sensed import Limit, limits
from device.light.sensors import NAMES, SensorName
from shared.settings import LightSettings

SAME_EXPOSURES = 3
"""So many frames in a row with one exposure make it locked."""


class RingObeys(Condition):
    """The last time the ring was to be dark, every line of it took that."""

    name = "ring obeys"

    def holds(self, facts: Facts) -> bool:
        """Whether nothing is left half on."""
        return facts.ring_obeys

    def sentence(self, facts: Facts) -> str:
        """Says what cannot be done."""
        return "the ring could not be switched off: take its power away"


class CameraAgrees(Condition):
    """The camera does not see the ring while it is to be dark: a second opinion on the whole chain, down to the LEDs."""

    name = "camera agrees"
    alarms = True

    def holds(self, facts: Facts) -> bool:
        """Whether the camera's last word was no contradiction."""
        return facts.seen != "lit though dark"

    def sentence(self, facts: Facts) -> str:
        """Says the worst plainly."""
        return "the camera sees the ring lit while it should be dark: take its power away, and do not use it"


class ImagerConnected(Condition):
    """The imager holds its end of the socket. It says Want off before it leaves: a socket that closes while lit is a crash."""

    name = "imager connected"

    def holds(self, facts: Facts) -> bool:
        """Whether a socket is open."""
        return facts.imager_connected

    def sentence(self, facts: Facts) -> str:
        """Says who is missing."""
        return "the imager is not connected to the light guard"


class FramesFresh(Condition):
    """The newest lease, given for a verified frame, has not ended."""

    name = "frames fresh"

    def holds(self, facts: Facts) -> bool:
        """Whether now is before the lease's end; at the end itself it is over."""
        return facts.now_ns < facts.lease_end_ns

    def sentence(self, facts: Facts) -> str:
        """Says why the newest frames did not count, where any came."""
        return "the camera's frames stopped coming" + (f" ({facts.lease_refusal})" if facts.lease_refusal else "")

    def ends_ns(self, facts: Facts) -> int:
        """The lease's end."""
        return facts.lease_end_ns


class ExposureLocked(Condition):
    """The last frames had one exposure, so that the PWM period made for it is right, and frames can be compared.

    The one condition of the device that does not trip: someone who changes the exposure has asked for the few dark frames.
    """

    name = "exposure locked"
    trips = False

    def holds(self, facts: Facts) -> bool:
        """Whether enough frames in a row had it."""
        return facts.same_exposures >= SAME_EXPOSURES

    def sentence(self, facts: Facts) -> str:
        """Says what is waited for."""
        return (
            f"the camera's exposure is not steady yet: {facts.same_exposures} of {SAME_EXPOSURES} frames had the same"
        )


@dataclass(frozen=True)
class Words:
    """How a sensor's condition speaks. ``beyond`` is filled with value, limit and the value at which it holds again."""

    beyond: str
    unit: str


class SensorWithin(Condition):
    """A fitted sensor answers, and its value is within its limit."""

    def __init__(self, name: SensorName, limit: Limit, words: Words) -> None:
        self.name, self.unit, self.limit = name, words.unit, limit.edge if words.unit else None
        self._sensor, self._limit, self._words = name, limit, words

    def holds(self, facts: Facts) -> bool:
        """Whether the newest value is within, and not older than the longest silence."""
        sensed = facts.sensed.get(self._sensor)
        return sensed is not None and sensed.within and sensed.fresh(self._limit, facts.now_ns)

    def sentence(self, facts: Facts) -> str:
        """Names value and limit, or that none is known."""
        sensed = facts.sensed.get(self._sensor)
        if sensed is None:
            return f"the {self.name} sensor has not answered yet: if this stays, check its plug"
        if not sensed.fresh(self._limit, facts.now_ns):
            return f"the {self.name} sensor stopped answering: check its plug"
        return self._words.beyond.format(value=sensed.value, limit=self._limit.edge, again=self._limit.again)

    def ends_ns(self, facts: Facts) -> int | None:
        """When the newest value will be too old."""
        sensed = facts.sensed.get(self._sensor)
        return None if sensed is None else sensed.at_ns + self._limit.silent_ns

    def value(self, facts: Facts) -> float | None:
        """The newest value, while it counts."""
        sensed = facts.sensed.get(self._sensor)
        known = self.unit and sensed is not None and sensed.fresh(self._limit, facts.now_ns)
        return sensed.value if sensed is not None and known else None


class SensorAbsent(Condition):
    """Stands in the list for a sensor that the settings say is not fitted."""

    absent = True

    def __init__(self, name: SensorName) -> None:
        self.name = name

    def holds(self, facts: Facts) -> bool:
        """Always."""
        return True

    def sentence(self, facts: Facts) -> str:
        """Says that nothing watches it."""
        return f"no {self.name} sensor is fitted: nothing watches it"


class ContinuousLight(Condition):
    """The ring was not lit for too long without a pause."""

    name = "continuous light"
    unit = "s"

    def __init__(self, longest_s: float) -> None:
        self.limit = longest_s

    def holds(self, facts: Facts) -> bool:
        """Whether lit time is left, and no rest is due."""
        return facts.on_time.left_ns > 0

    def sentence(self, facts: Facts) -> str:
        """Names the limit and what is left of the rest."""
        rest_s = -(-facts.on_time.rest_left_ns // 1_000_000_000)
        return (
            f"the ring was lit for {self.limit:g} s without a pause, the longest allowed: let it rest {rest_s} s more"
        )

    def ends_ns(self, facts: Facts) -> int | None:
        """When the light that is left is used up, if it is lit."""
        return facts.now_ns + facts.on_time.left_ns if facts.lit else None

    def value(self, facts: Facts) -> float:
        """Seconds used of those allowed."""
        return facts.on_time.used_ns / 1e9


class ExposureLeft(Condition):
    """What eyes and skin may get, at the level wanted and the nearest distance, is not used up."""

    name = "exposure budget"
    unit = "s"

    def holds(self, facts: Facts) -> bool:
        """Whether light may go on, or begin for a worthwhile time."""
        left_ns = facts.allowance.left_ns(facts.wanted_level, facts.now_ns)
        return left_ns is None or left_ns > (0 if facts.lit else WORTHWHILE_NS)

    def sentence(self, facts: Facts) -> str:
        """Names the limit, and every way out."""
        words = facts.allowance.words(facts.wanted_level, facts.now_ns)
        return f"the limit of exposure is reached ({words}): wait, dim the light, or move away"

    def ends_ns(self, facts: Facts) -> int | None:
        """When the budget is used up, if it is lit."""
        left_ns = facts.allowance.left_ns(facts.wanted_level, facts.now_ns) if facts.lit else None
        return None if left_ns is None else facts.now_ns + left_ns

    def value(self, facts: Facts) -> float | None:
        """Seconds left; None where light need not end."""
        left_ns = facts.allowance.left_ns(facts.wanted_level, facts.now_ns)
        return None if left_ns is None else left_ns / 1e9


class OperatorWants(Condition):
    """The operator asks for light."""

    name = "operator wants light"
    group: Group = "operator"
    trips = False

    def holds(self, facts: Facts) -> bool:
        """Whether the last Want said on."""
        return facts.wanted_on

    def sentence(self, facts: Facts) -> str:
        """Says that nothing is wrong."""
        return "light is not asked for"


class LevelSane(Condition):
    """The level asked for is above nothing and not above the highest in the settings."""

    name = "level sane"
    group: Group = "operator"
    trips = False

    def __init__(self, highest: float) -> None:
        self.highest = highest

    def holds(self, facts: Facts) -> bool:
        """Whether the level wanted lies in (0, highest]."""
        return 0.0 < facts.wanted_level <= self.highest

    def sentence(self, facts: Facts) -> str:
        """Names value and limit."""
        return f"light level {facts.wanted_level:g} is not above 0 and at most {self.highest:g}"


SENSOR_WORDS: dict[SensorName, Words] = {
    "LED temperature": Words(
        "the LEDs are at {value:.1f} °C, limit {limit:g} °C: let them cool below {again:g} °C", "°C"
    ),
    "supply": Words(
        "the supply gives {value:.2f} V, at least {limit:g} V is needed: charge or change the battery", "V"
    ),
    "cover": Words("the ring's cover is open: close it", ""),
    "distance": Words(
        "the tissue is {value:.0f} mm away, nearer than {limit:g} mm: move back beyond {again:g} mm", "mm"
    ),
}
ALARM_WORDS = Words("the supply voltage is too low: charge or change the battery, and check the cable", "")


def conditions(settings: LightSettings) -> Conditions:
    """All conditions, in the order in which the page names what is missing."""
    return Conditions(
        (
            RingObeys(),
            CameraAgrees(),
            ImagerConnected(),
            FramesFresh(),
            ExposureLocked(),
            *_sensor_conditions(settings),
            ContinuousLight(settings.longest_lit_s),
            ExposureLeft(),
            OperatorWants(),
            LevelSane(settings.levels[-1]),
        )
    )


def _sensor_conditions(settings: LightSettings) -> tuple[Condition, ...]:
    found = limits(settings)
    words = {**SENSOR_WORDS, "supply": ALARM_WORDS} if settings.supply.kind == "alarm" else SENSOR_WORDS
    return tuple(
        SensorWithin(name, found[name], words[name]) if name in found else SensorAbsent(name) for name in NAMES
    )
