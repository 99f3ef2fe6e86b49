"""A device that lights while it is asked often enough, gives a frame each 33 ms, and remembers what was asked."""

from dataclasses import replace

from shared.errors import Refused
from shared.protocol.control import (
    CameraState,
    LampState,
    Light,
    PutTarget,
    Record,
    RecordingState,
    State,
    StepExposure,
    WithholdLeases,
)

STATE = State(
    camera=CameraState("fake", 96, 96, "simulated", 15_000.0, 1.0, 30.0, 0, 5.0, 0),
    light=LampState(True, "ready", 0.0, False, 0.6, 0.0, ""),
    view="grey",
    contours_percent=(),
    reference=None,
    regions=(),
    recording=RecordingState(None, 0.0, 0, 0, 0.0, 1000.0),
    since_injection_s=None,
    calibration="assumed",
    light_levels=(0.2, 0.6, 1.0),
    hold_to_light=True,
)
HOLD_S = 1.0
LEASE_S = 0.1


class FakeDevice:
    """``lights`` false: never lit; ``trips`` false: a guard that goes on without leases; the two moments make something happen.

    ``fail_at``: the request of that number is refused, as if the imager did not answer.
    """

    def __init__(self, **light):
        self.state = replace(STATE, light=replace(STATE.light, **light))
        self.asked, self.levels, self.targets = [], [], []
        self.now_s, self.held_until_s = 0.0, -1.0
        self.trip_at_s = self.stop_recording_at_s = float("inf")
        self.lights = self.trips = True
        self.fail_at = -1
        self.still = bool(light)  # stays as it was made

    def pause(self, seconds):
        self.now_s += seconds

    @property
    def let_go(self):
        """Whether nobody's finger is left on the light: no hold was asked for after the last off."""
        acts = [one.act for one in self.asked if isinstance(one, Light) and one.act in ("hold", "off")]
        return "hold" not in acts or acts[-1] == "off"

    def ask(self, request):
        self.asked.append(request)
        if len(self.asked) == self.fail_at + 1:
            raise Refused("the imager does not answer")
        self.now_s += 0.001
        match request:
            case Light(act="hold"):
                self.held_until_s = self.now_s + HOLD_S
            case Light(act="off"):
                self.held_until_s = -1.0
            case Light(act="rearm"):
                self.trip_at_s = float("inf")
            case Light(act=act):
                levels = self.state.light_levels
                index = levels.index(self.state.light.wanted_level) + (1 if act == "brighter" else -1)
                self._change(wanted_level=levels[min(max(index, 0), len(levels) - 1)])
            case Record(act="start", case=case):
                self._record(f"walk_{case}")
            case Record():
                self._record(None)
            case StepExposure(exposure_us, gain):
                self.state = replace(self.state, camera=replace(self.state.camera, exposure_us=exposure_us, gain=gain))
            case PutTarget(target):
                assert self.state.light.state != "lit", "a target is changed in the dark"
                self.targets.append(target)
            case WithholdLeases():
                self.trip_at_s = self.now_s + LEASE_S if self.trips else float("inf")
        if not self.still:
            self._pass()
        return self.state

    def _pass(self):
        held = self.now_s < self.held_until_s
        state = "tripped" if self.now_s > self.trip_at_s else "lit" if held and self.lights else "ready"
        level = self.state.light.wanted_level if state == "lit" else 0.0
        if not self.levels or self.levels[-1] != level:
            self.levels.append(level)
        reason = {"tripped": "the camera's frames stopped coming", "lit": ""}.get(state, "too warm" if held else "")
        self._change(state=state, level=level, reason=reason, wanted_on=held)
        self.state = replace(self.state, recording=replace(self.state.recording, frames=int(self.now_s * 30)))
        if self.now_s > self.stop_recording_at_s:
            self._record(None)
            self.state = replace(self.state, recording=replace(self.state.recording, frames=60))

    def _change(self, **light):
        self.state = replace(self.state, light=replace(self.state.light, **light))

    def _record(self, name):
        self.state = replace(self.state, recording=replace(self.state.recording, name=name))
