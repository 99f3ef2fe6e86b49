"""Between imager and light guard, over a SOCK_SEQPACKET socket: one message a packet, each answered with a LightStatus.

The guard serves one imager at a time. When the socket closes, the light goes dark; when leases stop coming, the light goes dark.
Standard library only.
"""

from dataclasses import dataclass
from typing import Annotated, Literal

from shared.bounded import Length, Within
from shared.protocol.wire import by_name

VERSION = 2

LightState = Literal["off", "ready", "lit", "tripped"]

Seen = Literal["unclear", "agrees", "lit though dark", "dark though lit"]
"""What the camera made of the last change of the light: did the ring come and go as commanded? Mostly it cannot tell."""


@dataclass(frozen=True)
class Lease:
    """A verified frame was seen: light may stay on a little longer. Sent once a frame.

    The guard itself refuses one whose sequence or time does not advance, lies in the future, or is older than the lease.
    ``seen`` is the camera's second opinion, given once after a change of the light.
    """

    sequence: Annotated[int, Within(0, 2**62)]
    sensor_time_ns: Annotated[int, Within(0, 2**62)]
    frame_interval_us: Annotated[float, Within(100, 1e8)]
    exposure_us: Annotated[float, Within(1, 1e7)]
    seen: Seen = "unclear"


@dataclass(frozen=True)
class Want:
    """What the operator wants: on or off, at which level (0 to 1). Wanting is not getting: see the LightStatus in answer."""

    on: bool
    level: Annotated[float, Within(0.0, 1.0)]


@dataclass(frozen=True)
class Rearm:
    """Deliberate act that leaves ``tripped``: ``release`` first, then ``press``; one without the other does nothing."""

    act: Literal["release", "press"]


@dataclass(frozen=True)
class Look:
    """Ask for the status and change nothing. The list of conditions comes only where it is asked for: it is long."""

    version: int = VERSION
    conditions: bool = False


@dataclass(frozen=True)
class ConditionState:
    """One condition to be lit. ``sentence`` is for the page while it is missing or its sensor absent, else empty.

    ``value`` and ``limit`` are in ``unit``; None where there is none, or where none is known.
    """

    name: Annotated[str, Length(1, 40)]
    state: Literal["holds", "missing", "absent"]
    sentence: Annotated[str, Length(0, 400)] = ""
    value: float | None = None
    limit: float | None = None
    unit: Annotated[str, Length(0, 12)] = ""


@dataclass(frozen=True)
class LightStatus:
    """What the ring does now. ``level`` is the duty in force (0 when dark), ``since_ns`` when it took force.

    ``reason`` is empty, or the sentence for the page: why it tripped, or why it is not lit though wanted.
    ``pulse_hz`` is the PWM's frequency (0 for steady light, or none), ``ripple`` the most by which exposures may differ for it,
    peak to peak as a share of their mean. ``conditions`` answers a Look that asks for them.
    """

    state: LightState
    level: Annotated[float, Within(0.0, 1.0)]
    wanted_on: bool
    wanted_level: Annotated[float, Within(0.0, 1.0)]
    since_ns: int
    lease_left_ms: float
    lit_seconds: float
    reason: Annotated[str, Length(0, 400)] = ""
    pwm: Literal["hardware", "software"] = "hardware"
    pulse_hz: Annotated[float, Within(0.0, 1e9)] = 0.0
    ripple: Annotated[float, Within(0.0, 1e9)] = 0.0
    conditions: Annotated[tuple[ConditionState, ...], Length(0, 40)] = ()
    version: int = VERSION


TO_GUARD: dict[str, type[Lease | Want | Rearm | Look]] = by_name(Lease, Want, Rearm, Look)
FROM_GUARD: dict[str, type[LightStatus]] = by_name(LightStatus)
