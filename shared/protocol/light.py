"""Between imager and light guard, over a SOCK_SEQPACKET socket: one message a packet, each answered with a LightStatus.

The guard serves one imager at a time. When the socket closes, the light goes dark; when leases stop coming, the light goes dark.
Standard library only.
"""

from dataclasses import dataclass
from typing import Annotated, Literal

from shared.bounded import Length, Within
from shared.protocol.wire import by_name

VERSION = 1

LightState = Literal["off", "ready", "lit", "tripped"]


@dataclass(frozen=True)
class Lease:
    """A verified frame was seen: light may stay on a little longer. Sent once a frame.

    The guard itself refuses one whose sequence or time does not advance, lies in the future, or is older than the lease.
    """

    sequence: Annotated[int, Within(0, 2**62)]
    sensor_time_ns: Annotated[int, Within(0, 2**62)]
    frame_interval_us: Annotated[float, Within(100, 1e8)]
    exposure_us: Annotated[float, Within(1, 1e7)]


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
    """Ask for the status and change nothing."""

    version: int = VERSION


@dataclass(frozen=True)
class LightStatus:
    """What the ring does now. ``level`` is the duty in force (0 when dark), ``since_ns`` when it took force.

    ``reason`` is empty, or the sentence for the page: why it tripped, or why it is not lit though wanted.
    ``pulse_hz`` is the PWM's frequency (0 for steady light, or none), ``ripple`` the most by which exposures may differ for it,
    peak to peak as a share of their mean.
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
    version: int = VERSION


TO_GUARD: dict[str, type[Lease | Want | Rearm | Look]] = by_name(Lease, Want, Rearm, Look)
FROM_GUARD: dict[str, type[LightStatus]] = by_name(LightStatus)
