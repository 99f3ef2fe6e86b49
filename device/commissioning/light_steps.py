"""Takes a running device through its light levels, up and down with darkness between, while it records.

A client of the control socket like page and button: light is asked for as by a held finger, and the guard decides. Whatever
happens, the light is let go of first.
"""

from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from typing import Protocol

from shared.errors import Refused
from shared.protocol.control import GetState, Light, Record, State

CASE = "light-output"
LIT_FRAMES = 16
DARK_FRAMES = 10
POLL_S = 0.05
PATIENCE_S = 6.0


class Device(Protocol):
    """The imager, as asked through its control socket."""

    def ask(self, request: object) -> State:
        """State after ``request``; raises Refused."""


@dataclass
class LightSteps:
    """One walk. ``say`` tells the person what goes on; ``pause`` waits some seconds."""

    device: Device
    say: Callable[[str], None]
    pause: Callable[[float], None]

    def recorded(self) -> str:
        """Walk through all levels; returns the recording's name. Raises Refused with the reason, the light off."""
        state = self._fit()
        levels = state.light_levels
        with ExitStack() as afterwards:  # undone in reverse order, each whatever became of the one before
            afterwards.callback(self._at_level, state.light.wanted_level, levels)
            name = self.device.ask(Record("start", CASE)).recording.name
            afterwards.callback(self._stop_recording)
            afterwards.callback(self.device.ask, Light("off"))
            self._at_level(levels[0], levels)
            self._frames(DARK_FRAMES, lit=False)
            for level in (*levels, *reversed(levels)):
                self._at_level(level, levels)
                self.say(f"level {level:.0%}")
                self._frames(LIT_FRAMES, lit=True)
                self.device.ask(Light("off"))
                self._frames(DARK_FRAMES, lit=False)
        if name is None:
            raise Refused("the device did not record", remedy="see tapetum status")
        return name

    def _fit(self) -> State:
        state = self.device.ask(GetState())
        light = state.light
        refusals = {
            "a replayed device has no ring": state.camera.kind == "replay",
            "the light guard does not answer": not light.reachable,
            "the light has tripped": light.state == "tripped",
            "someone is using the light": light.wanted_on or light.state == "lit",
            "a recording runs": state.recording.name is not None,
            "the ring has one level only, so there is nothing to compare": len(state.light_levels) < 2,
        }
        for what, is_so in refusals.items():
            if is_so:
                raise Refused(what, light.reason or None, "see tapetum status")
        return state

    def _at_level(self, level: float, levels: tuple[float, ...]) -> None:
        now = self.device.ask(GetState()).light.wanted_level
        steps = _place(level, levels) - _place(now, levels)
        for _ in range(abs(steps)):
            self.device.ask(Light("brighter" if steps > 0 else "dimmer"))

    def _frames(self, wanted: int, lit: bool) -> None:
        """Wait until so many frames are recorded with the light on (asking for it again and again, as a finger does) or off."""
        since: int | None = None
        state = self.device.ask(GetState())
        patience_s = PATIENCE_S + 2 * wanted / max(state.camera.rate_hz, 0.5)
        for _ in range(round(patience_s / POLL_S)):
            state = self.device.ask(Light("on") if lit else GetState())
            if (state.light.state == "lit") == lit:
                since = state.recording.frames if since is None else since
                if state.recording.frames - since >= wanted:
                    return
            elif since is not None or state.light.state == "tripped":
                remedy = "put that right, and start again (after a trip: tapetum light rearm)"
                raise Refused("the light did not stay as asked", state.light.reason or state.light.state, remedy)
            self.pause(POLL_S)
        what = f"not {wanted} frames {'with' if lit else 'without'} light within {patience_s:.0f} s"
        raise Refused(what, state.light.reason or None, "see tapetum status")

    def _stop_recording(self) -> None:
        """Stop, unless it ended by itself, and wait until all is on the disk."""
        if self.device.ask(GetState()).recording.name is not None:
            self.device.ask(Record("stop"))
        for _ in range(round(PATIENCE_S / POLL_S)):
            if self.device.ask(GetState()).recording.name is None:
                return
            self.pause(POLL_S)
        raise Refused("the recording is not finished", f"{PATIENCE_S:g} s", "see tapetum status")


def _place(level: float, levels: tuple[float, ...]) -> int:
    return min(range(len(levels)), key=lambda index: abs(levels[index] - level))
