"""A running device as a step of commissioning uses it: light, exposure, target and recordings, through the control socket.

A client like page and button: light is asked for as by a held finger, and the guard decides. Whatever happens, the light is let go
of first, then everything else is put back as it was found.
"""

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from typing import Protocol

from shared.errors import Refused
from shared.protocol.control import GetState, Light, PutTarget, Record, State, StepExposure, Target, a_press

POLL_S = 0.05
PATIENCE_S = 6.0
SAME_EXPOSURE = 0.02
"""Sensors quantise exposure; what they made of it may differ by so much."""

_TRIPPED = "the light has tripped"


class Device(Protocol):
    """The imager, as asked through its control socket."""

    def ask(self, request: object) -> State:
        """State after ``request``; raises Refused."""


@dataclass
class Bench:
    """``say`` tells the person what goes on; ``pause`` waits some seconds."""

    device: Device
    say: Callable[[str], None]
    pause: Callable[[float], None]
    _press: int = field(default_factory=a_press, init=False)

    def hold(self) -> State:
        """Ask for light as a finger that stays down. Once somebody else has put the light out, this asks for nothing."""
        return self.device.ask(Light("hold", self._press))

    def let_go(self) -> None:
        """Lift that finger; the next ``hold`` is another press."""
        self.device.ask(Light("off", self._press))
        self._press = a_press()

    @property
    def state(self) -> State:
        """As it stands now."""
        return self.device.ask(GetState())

    def fit(self, levels: int = 1) -> State:
        """The state of a device that can be measured; raises Refused, having changed nothing, for one that cannot."""
        state = self.state
        light = state.light
        refusals = {
            "a replayed device has no ring": state.camera.kind == "replay",
            "the light guard does not answer": not light.reachable,
            _TRIPPED: light.state == "tripped",
            "someone is using the light": light.wanted_on or light.state == "lit",
            "a recording runs": state.recording.name is not None,
            "the ring has one level only, so there is nothing to compare": len(state.light_levels) < levels,
        }
        for what, is_so in refusals.items():
            if is_so:
                remedy = "put that right, then: tapetum light rearm" if what == _TRIPPED else "see tapetum status"
                raise Refused(what, light.reason or None, remedy)
        return state

    @contextmanager
    def recording(self, case: str) -> Iterator[tuple[str]]:
        """Record meanwhile, and finish it with the light off and the level as it was; gives its name."""
        state = self.state
        with ExitStack() as afterwards:  # undone in reverse order, each whatever became of the one before
            afterwards.callback(self.at_level, state.light.wanted_level, state.light_levels)
            name = self.device.ask(Record("start", case)).recording.name
            afterwards.callback(self._stop_recording)
            afterwards.callback(self.let_go)
            if name is None:
                raise Refused("the device did not record", remedy="see tapetum status")
            yield (name,)

    @contextmanager
    def put_back(self) -> Iterator[State]:
        """Exposure, gain and simulated target are put back afterwards, in the dark."""
        state = self.fit()
        with ExitStack() as afterwards:
            camera = state.camera
            if camera.kind == "simulated":
                afterwards.callback(self._patient_back)
            afterwards.callback(self.device.ask, StepExposure(camera.exposure_us, camera.gain))
            afterwards.callback(self.let_go)
            yield state

    def target(self, target: Target) -> None:
        """Put a target before a simulated camera; before a real one the person has done it."""
        if self.state.camera.kind == "simulated":
            self.device.ask(PutTarget(target))

    def _patient_back(self) -> None:
        self.dark()
        self.device.ask(PutTarget("patient"))

    def at_level(self, level: float, levels: tuple[float, ...]) -> None:
        """Step to the nearest of ``levels``."""
        now = self.state.light.wanted_level
        steps = _place(level, levels) - _place(now, levels)
        for _ in range(abs(steps)):
            self.device.ask(Light("brighter" if steps > 0 else "dimmer"))

    def dark(self) -> None:
        """Let go of the light and wait until it is off."""
        self.let_go()
        for _ in range(round(PATIENCE_S / POLL_S)):
            if self.state.light.state != "lit":
                return
            self.pause(POLL_S)
        raise Refused("the light does not go off", remedy="take the ring's power away")

    def expose(self, exposure_us: float, gain: float = 1.0) -> float:
        """Set exposure and gain in the dark, and wait for frames that have them; returns what the sensor made of it."""
        self.dark()
        self.device.ask(StepExposure(exposure_us, gain))
        for _ in range(round(PATIENCE_S / POLL_S)):
            camera = self.state.camera
            if abs(camera.exposure_us - exposure_us) <= SAME_EXPOSURE * exposure_us + 20 and camera.gain == gain:
                return camera.exposure_us
            self.pause(POLL_S)
        raise Refused(
            "the camera does not take the exposure", f"{exposure_us:.0f} us", "see tapetum status, and start again"
        )

    def frames(self, wanted: int, lit: bool) -> None:
        """Wait until so many frames are recorded with the light on (asking for it again and again, as a finger does) or off."""
        since: int | None = None
        state = self.state
        patience_s = PATIENCE_S + 2 * wanted / max(state.camera.rate_hz, 0.5)
        for _ in range(round(patience_s / POLL_S)):
            state = self.hold() if lit else self.state
            if (state.light.state == "lit") == lit:
                since = state.recording.frames if since is None else since
                if state.recording.frames - since >= wanted:
                    return
            elif lit and since is not None and state.light.state == "ready" and not state.light.reason:
                raise Refused("somebody put the light out", remedy="start again when it may be lit")
            elif since is not None or state.light.state == "tripped":
                remedy = "put that right, and start again (after a trip: tapetum light rearm)"
                raise Refused("the light did not stay as asked", state.light.reason or state.light.state, remedy)
            self.pause(POLL_S)
        what = f"not {wanted} frames {'with' if lit else 'without'} light within {patience_s:.0f} s"
        raise Refused(what, state.light.reason or None, "see tapetum status")

    def _stop_recording(self) -> None:
        """Stop, unless it ended by itself, and wait until all is on the disk."""
        if self.state.recording.name is not None:
            self.device.ask(Record("stop"))
        for _ in range(round(PATIENCE_S / POLL_S)):
            if self.state.recording.name is None:
                return
            self.pause(POLL_S)
        raise Refused("the recording is not finished", f"{PATIENCE_S:g} s", "see tapetum status")


def _place(level: float, levels: tuple[float, ...]) -> int:
    return min(range(len(levels)), key=lambda index: abs(levels[index] - level))
