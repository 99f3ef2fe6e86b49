"""The states of the light and every way from one to another. Pure: no clock, no pin, no socket.

``released`` is the second half of a trip: the operator has let go, and may now press. Outside this room it is called
``tripped`` too. Whatever is not in ``TABLE`` changes nothing.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

from device.light.condition import Condition, Conditions, Facts, first_missing
from shared.protocol.light import LightState

State = Literal["off", "ready", "lit", "tripped", "released"]
Event = Literal["able", "unable", "asked", "not asked", "fault", "release", "press"]

TABLE: Final[Mapping[tuple[State, Event], State]] = MappingProxyType(
    {
        ("off", "able"): "ready",
        ("off", "fault"): "tripped",
        ("ready", "unable"): "off",
        ("ready", "asked"): "lit",
        ("ready", "fault"): "tripped",
        ("lit", "not asked"): "ready",
        ("lit", "unable"): "off",
        ("lit", "fault"): "tripped",
        ("tripped", "release"): "released",
        ("released", "asked"): "tripped",
        ("released", "fault"): "tripped",
        ("released", "press"): "off",
    }
)


@dataclass(frozen=True)
class Transition:
    """One step, as logged."""

    at_ns: int
    before: State
    after: State
    reason: str


@dataclass(frozen=True)
class Light:
    """Where the light stands, since when, and the first reason of a trip that is still latched."""

    state: State = "off"
    since_ns: int = 0
    trip_reason: str = ""

    @property
    def shown_state(self) -> LightState:
        """State as the protocol names it."""
        return "tripped" if self.state == "released" else self.state

    @property
    def latched(self) -> bool:
        """Whether a trip waits for the operator."""
        return self.shown_state == "tripped"


def stepped(light: Light, event: Event, now_ns: int, reason: str) -> tuple[Light, Transition | None]:
    """The light after ``event``, and the step if there was one."""
    after = TABLE.get((light.state, event))
    if after is None:
        return light, None
    first_reason = light.trip_reason if light.latched else reason
    new = Light(after, now_ns, first_reason if after in ("tripped", "released") else "")
    return new, Transition(now_ns, light.state, after, reason)


def event_for(light: Light, among: Conditions, facts: Facts) -> tuple[Event, str] | None:
    """What the facts mean in this state, with the reason; None when nothing is to change."""
    if light.state == "tripped":
        return None
    alarm = first_missing(among.alarms, facts)
    if alarm is not None:
        return "fault", alarm.sentence(facts)
    device, operator = first_missing(among.device, facts), first_missing(among.operator, facts)
    if light.state == "lit":
        return _leaving_lit(device, operator, facts)
    if light.state == "ready":
        if device is not None:
            return "unable", device.sentence(facts)
        return None if operator else ("asked", "every condition holds")
    if light.state == "off":
        return None if device else ("able", "all but the operator's conditions hold")
    if light.state == "released" and facts.wanted_on:
        return "asked", "light was asked for without a press"
    return None


def _leaving_lit(device: Condition | None, operator: Condition | None, facts: Facts) -> tuple[Event, str] | None:
    # The operator's wish is looked at first: one who let go is not told of a fault in the same breath.
    if operator is not None:
        return ("fault" if operator.trips else "not asked"), operator.sentence(facts)
    if device is not None:
        return ("fault" if device.trips else "unable"), device.sentence(facts)
    return None
