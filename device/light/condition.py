"""What a condition to be lit is, and all that one may look at. The conditions themselves are in ``conditions``."""

from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from device.light.allowance import Allowance
from device.light.on_time import OnTime
from device.light.sensed import Sensed
from device.light.sensors import SensorName
from shared.protocol.light import Seen

Group = Literal["device", "operator"]


@dataclass(slots=True)
class Facts:
    """All that conditions may look at, at one moment. Made several times a frame, so it is not frozen: that would cost most of it.

    ``lease_end_ns`` is when the newest lease ends (in the past: ended), ``lease_refusal`` why the frames since were not counted.
    ``same_exposures`` counts the newest frames in a row that had one exposure, the one the PWM period is made for. ``seen`` is
    what the camera last saw of the ring at a change of the light. ``ring_obeys`` is false from a failed switching-off until one
    that succeeded.
    """

    now_ns: int
    imager_connected: bool
    lease_end_ns: int
    wanted_on: bool
    wanted_level: float
    on_time: OnTime
    allowance: Allowance
    same_exposures: int = 0
    lease_refusal: str = ""
    ring_obeys: bool = True
    lit: bool = False
    seen: Seen = "unclear"
    sensed: Mapping[SensorName, Sensed] = field(default_factory=dict)


class Condition(ABC):
    """One condition to be lit.

    Of the two groups, those of the *device* make the difference between ``off`` and ``ready``; those of the *operator* between
    ``ready`` and ``lit``. Losing one while lit darkens at once. ``trips`` says whether the dark is also latched: it is where
    nobody asked for it, so that light does not come back by itself. ``alarms``: losing it trips in the dark as well.
    ``absent``: it belongs to a sensor that is not fitted, and always holds.
    """

    name: str
    group: Group = "device"
    trips = True
    alarms = False
    absent = False
    unit = ""
    limit: float | None = None

    @abstractmethod
    def holds(self, facts: Facts) -> bool:
        """Whether it is true at ``facts.now_ns``."""

    @abstractmethod
    def sentence(self, facts: Facts) -> str:
        """What to tell the operator while it does not hold: what is the matter, with value and limit, and what to do."""

    def ends_ns(self, facts: Facts) -> int | None:
        """When it will no longer hold if nothing new is heard; None where time alone does not end it."""
        return None

    def value(self, facts: Facts) -> float | None:
        """Value that is held against ``limit``, in ``unit``; None where there is none."""
        return None


class Conditions(tuple[Condition, ...]):
    """All conditions, in the order in which the page names what is missing, and in their groups."""

    def __init__(self, _all: tuple[Condition, ...]) -> None:
        self.device = tuple(one for one in self if one.group == "device")
        self.operator = tuple(one for one in self if one.group == "operator")
        self.alarms = tuple(one for one in self if one.alarms)


def first_missing(among: tuple[Condition, ...], facts: Facts) -> Condition | None:
    """The first condition that does not hold; None when all hold."""
    for condition in among:
        if not condition.holds(facts):
            return condition
    return None


def ends_ns(among: tuple[Condition, ...], facts: Facts) -> int | None:
    """When the first of them ends by itself; None where none does."""
    return min((end for one in among if (end := one.ends_ns(facts)) is not None), default=None)
