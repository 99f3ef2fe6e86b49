"""What must be true for the ring to be lit, one small named object each.

To add a condition (temperature, supply, exposure budget ...): give Facts what it looks at, write the object, append it to
``conditions()``. Nothing else changes: the states ask only whether all hold, and the page shows the first sentence.

Of the two groups, those of the *device* make the difference between ``off`` and ``ready``; those of the *operator* between
``ready`` and ``lit``. Losing one while lit darkens at once; ``trips`` says whether the dark is also latched. It is latched
where nobody asked for it, so that light never comes back by itself.
"""

from dataclasses import dataclass
from typing import Literal, Protocol


@dataclass(frozen=True)
class Facts:
    """All that conditions may look at, at one moment.

    ``lease_end_ns`` is when the newest lease ends (in the past: ended), ``lease_refusal`` why the frames since were not counted.
    ``ring_obeys`` is false from a failed switching-off until one that succeeded.
    """

    now_ns: int
    imager_connected: bool
    lease_end_ns: int
    wanted_on: bool
    wanted_level: float
    lease_refusal: str = ""
    ring_obeys: bool = True


class Condition(Protocol):
    """One condition to be lit."""

    @property
    def name(self) -> str:
        """Short name for the log."""

    @property
    def group(self) -> Literal["device", "operator"]:
        """Whose it is to fulfil."""

    @property
    def trips(self) -> bool:
        """Whether losing it while lit is latched."""

    def sentence(self, facts: Facts) -> str:
        """What to tell the operator while it does not hold."""

    def holds(self, facts: Facts) -> bool:
        """Whether it is true at ``facts.now_ns``."""


@dataclass(frozen=True)
class ImagerConnected:
    """The imager holds its end of the socket. It says Want off before it leaves: a socket that closes while lit is a crash."""

    name: str = "imager connected"
    group: Literal["device", "operator"] = "device"
    trips: bool = True

    def sentence(self, facts: Facts) -> str:
        """Says who is missing."""
        return "the imager is not connected to the light guard"

    def holds(self, facts: Facts) -> bool:
        """Whether a socket is open."""
        return facts.imager_connected


@dataclass(frozen=True)
class FramesFresh:
    """The newest lease, given for a verified frame, has not ended."""

    name: str = "frames fresh"
    group: Literal["device", "operator"] = "device"
    trips: bool = True

    def sentence(self, facts: Facts) -> str:
        """Says why the newest frames did not count, where any came."""
        return "the camera's frames stopped coming" + (f" ({facts.lease_refusal})" if facts.lease_refusal else "")

    def holds(self, facts: Facts) -> bool:
        """Whether now is before the lease's end; at the end itself it is over."""
        return facts.now_ns < facts.lease_end_ns


@dataclass(frozen=True)
class RingObeys:
    """The last time the ring was to be dark, every line of it took that."""

    name: str = "ring obeys"
    group: Literal["device", "operator"] = "device"
    trips: bool = True

    def sentence(self, facts: Facts) -> str:
        """Says what cannot be done."""
        return "the ring could not be switched off"

    def holds(self, facts: Facts) -> bool:
        """Whether nothing is left half on."""
        return facts.ring_obeys


@dataclass(frozen=True)
class LevelSane:
    """The level asked for is above nothing and not above the highest in the settings."""

    highest: float
    name: str = "level sane"
    group: Literal["device", "operator"] = "operator"
    trips: bool = False

    def sentence(self, facts: Facts) -> str:
        """Names value and limit."""
        return f"light level {facts.wanted_level:g} is not above 0 and at most {self.highest:g}"

    def holds(self, facts: Facts) -> bool:
        """Whether the level wanted lies in (0, highest]."""
        return 0.0 < facts.wanted_level <= self.highest


@dataclass(frozen=True)
class OperatorWants:
    """The operator asks for light."""

    name: str = "operator wants light"
    group: Literal["device", "operator"] = "operator"
    trips: bool = False

    def sentence(self, facts: Facts) -> str:
        """Says that nothing is wrong."""
        return "light is not asked for"

    def holds(self, facts: Facts) -> bool:
        """Whether the last Want said on."""
        return facts.wanted_on


def conditions(highest_level: float) -> tuple[Condition, ...]:
    """All conditions, in the order in which the page names what is missing."""
    return (RingObeys(), ImagerConnected(), FramesFresh(), OperatorWants(), LevelSane(highest_level))


def first_missing(
    among: tuple[Condition, ...], facts: Facts, group: Literal["device", "operator"] | None = None
) -> Condition | None:
    """The first condition (of one group, or of all) that does not hold; None when all hold."""
    for condition in among:
        if group in (None, condition.group) and not condition.holds(facts):
            return condition
    return None
