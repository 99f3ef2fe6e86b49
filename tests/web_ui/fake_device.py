"""A fake imager: answers the control socket and publishes real JPEGs with moving content, without camera, light or analysis.

``python -m tests.web_ui.fake_device --run-dir D`` runs it for work on the page, until SIGTERM or Ctrl-C.
"""

import argparse
import io
import json
import math
import signal
import threading
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image, ImageDraw

from device.control_server import ControlServer
from device.curve_point import CurvePoint
from device.imager.awaited_press import REACTION_NS, AwaitedPress
from device.imager.curves import KeptCurves
from device.imager.review_desk import ReviewDesk
from shared.clock import SystemClock
from shared.errors import Refused
from shared.frame_bus import FrameBusWriter
from shared.protocol import control as c
from shared.protocol.curves import GetCurves
from shared.region import Region
from tests.web_ui.fake_commissioning import FakeCommissioning
from tests.web_ui.fake_records import FakeRecords

WIDTH, HEIGHT = 1456, 1088
MM_PER_PX = 0.12
LEVELS = (0.2, 0.4, 0.6, 0.8, 1.0)


class FakeDevice:
    """Control server and publisher in threads, from construction to ``close``. ``requests`` remembers what was asked."""

    def __init__(self, run_folder: Path, data_folder: Path | None = None, *, rate_hz: float = 30.0) -> None:
        self.requests: list[object] = []
        self._data_folder = data_folder
        self._rate_hz = rate_hz
        self._clock = SystemClock()
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._sequence = 0
        self._injected_ns: int | None = None
        self._recording_since_ns: int | None = None
        self._stills = 0
        self.curves = KeptCurves()
        self._pictures = _drawn_pictures()
        self._state = _first_state()
        self.commissioning = FakeCommissioning(data_folder)
        self.review = ReviewDesk((data_folder or run_folder) / "recordings", lambda: None)
        self.records = FakeRecords((data_folder or run_folder) / "recordings", lambda: self._state.recording)
        self.press = AwaitedPress(self._clock)
        self.has_button = True
        self._server = ControlServer(run_folder / "control.sock", self._handle)
        self._bus = FrameBusWriter(run_folder / "frame_bus")
        self._thread = threading.Thread(target=self._publish, name="fake camera", daemon=True)
        self._thread.start()

    def close(self) -> None:
        self._stop.set()
        self._thread.join()
        self._server.close()
        self.records.close()
        self.review.close()
        self._bus.close()

    def __enter__(self) -> "FakeDevice":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def press_button(self) -> bool:
        """A short press of the handheld's button, as if the asking were long ago; whether it was awaited."""
        self.press._from_ns -= REACTION_NS
        return self.press.take(self._clock.now_ns())

    # ---- pictures ----

    def _publish(self) -> None:
        started_ns = self._clock.now_ns()
        while not self._stop.is_set():
            self._sequence += 1
            now_ns = self._clock.now_ns()
            values = self._header(now_ns)
            self.curves.take(now_ns, _curve_points(values))
            header = json.dumps(values).encode()
            jpeg = self._pictures[self._sequence % len(self._pictures)]
            self._bus.publish(header, jpeg, sequence=self._sequence, published_ns=now_ns)
            due_ns = started_ns + int(self._sequence * 1e9 / self._rate_hz)
            self._stop.wait(max(0.0, (due_ns - self._clock.now_ns()) / 1e9))

    def _header(self, now_ns: int) -> dict[str, Any]:
        with self._lock:
            state = self._valued(now_ns)
        lit = state.light.state == "lit"
        return {
            "sequence": self._sequence,
            "sensor_time_ns": now_ns,
            "width": WIDTH,
            "height": HEIGHT,
            "picture_width": WIDTH,
            "picture_height": HEIGHT,
            "view": state.view,
            "lit": lit,
            "light_level": state.light.level if lit else 0.0,
            "exposure_us": state.camera.exposure_us,
            "gain": state.camera.gain,
            "saturated_share": 0.001,
            "reference": state.reference
            and {
                "region": state.reference.region,
                "name": state.reference.name,
                "percent": 100.0,
                "flag": "",
                **_signal(100.0),
            },
            "values": [
                {"name": r.name, "region": r.region, "percent": r.percent, "percent_u": r.percent_u, "flag": r.flag}
                | _signal(r.percent)
                for r in state.regions
            ],
            "full_scale_percent": 120.0,
            "contours_percent": list(state.contours_percent),
            "baseline": self._injected_ns is not None,
            "mm_per_px": MM_PER_PX,
            "published_ns": now_ns,
            "since_injection_s": state.since_injection_s,
        }

    # ---- requests ----

    def _handle(self, request: object) -> object:
        with self._lock:
            if not isinstance(request, c.GetState | c.GetPress | GetCurves):
                self.requests.append(request)
            known = {**self.records.acts, **self.review.acts}.get(type(request))
            answer = self._changed(request) if known is None else known(request)
            return self._valued(self._clock.now_ns()) if answer is None else answer

    def _changed(self, request: object) -> object:
        """Take note of the request; None where the new state is the answer."""
        state = self._state
        match request:
            case c.GetState():
                pass
            case c.SetView(view):
                self._state = replace(state, view=view)
            case c.SetContours(percent):
                self._state = replace(state, contours_percent=percent)
            case c.SetReference(region):
                self._state = replace(state, reference=None if region is None else _region_state(region, 100.0))
            case c.PutRegion(region):
                new = _region_state(region, 40.0)
                self._state = replace(state, regions=(*(r for r in state.regions if r.name != new.name), new))
            case c.RemoveRegion(name):
                if name not in {r.name for r in state.regions}:
                    raise Refused("no region has this name", name, "choose one that is shown")
                self._state = replace(state, regions=tuple(r for r in state.regions if r.name != name))
            case c.Light(act):
                self._state = replace(state, light=_lamp_after(state.light, act))
            case _:
                return self._recorded(request)
        return None

    def _recorded(self, request: object) -> object:
        match request:
            case c.ChooseExposure(apply):
                return c.ExposureChosen(12_000.0, 1.0, 0.4, "brighter", "base", 0.15, 0.0, 0.15, apply, 3)
            case c.SetExposure(exposure_us, gain):
                if self._recording_since_ns is not None:
                    raise Refused("exposure stays as it is while recording", remedy="stop the recording first")
                camera = replace(self._state.camera, exposure_us=exposure_us, gain=gain)
                self._state = replace(self._state, camera=camera)
            case c.Record(act, case):
                self._record(act, case)
            case c.MarkInjection(undo, case):
                self._injected_ns = None if undo else self._clock.now_ns()
                if not undo and self._recording_since_ns is None:
                    self._record("start", case)
            case c.AddNote():
                if self._recording_since_ns is None:
                    raise Refused("there is no recording to keep the note in", remedy="start a recording first")
            case _:
                return self._listed(request)
        return None

    def _listed(self, request: object) -> object:
        match request:
            case c.TakeStill():
                self._stills += 1
                name = f"still-{self._stills:03d}"
                if self._data_folder is not None:
                    folder = self._data_folder / "stills"
                    folder.mkdir(parents=True, exist_ok=True)
                    Image.open(io.BytesIO(self._pictures[0])).save(folder / f"{name}.png", compress_level=1)
                self._state = replace(self._state, last_still=name)
                return c.Taken(name)
            case GetCurves(after_ms):
                return self.curves.after(after_ms, () if self._injected_ns is None else (self._injected_ns,))
            case c.AwaitPress(seconds):
                if not self.has_button:
                    raise Refused("this device has no button to press", remedy="type the word that it printed")
                return self.press.begin(seconds)
            case c.GetPress(number, drop):
                if drop:
                    self.press.end("it was refused")
                return self.press.look(number)
        return self.commissioning.answer(request)

    def _record(self, act: str, case: str) -> None:
        if act == "start":
            if self._recording_since_ns is not None:
                raise Refused("a recording runs already", remedy="stop it first")
            self._recording_since_ns = self._clock.now_ns()
            self._state = replace(
                self._state, recording=replace(self._state.recording, name=f"{case or 'no-case'}-3", frames=0)
            )
        else:
            if self._recording_since_ns is None:
                raise Refused("no recording runs", remedy="start one first")
            self._recording_since_ns = None
            self._state = replace(self._state, recording=replace(self._state.recording, name=None))

    def _valued(self, now_ns: int) -> c.State:
        """State with everything that moves by itself."""
        state = self._state
        since_s = None if self._injected_ns is None else (now_ns - self._injected_ns) / 1e9
        wave = 40 + 10 * math.sin(now_ns / 1e9)
        regions = tuple(
            replace(r, percent=round(wave, 2), percent_u=1.5) if state.reference else replace(r, flag="no reference")
            for r in state.regions
        )
        recording = state.recording
        if self._recording_since_ns is not None:
            seconds = (now_ns - self._recording_since_ns) / 1e9
            recording = replace(recording, seconds=seconds, frames=int(seconds * self._rate_hz), queue_fill=0.06)
        camera = replace(state.camera, sequence=self._sequence, frame_age_ms=12.0)
        walk = self.commissioning.walk
        jobs, comparison = (*state.exports, *self.records.jobs), self.records.comparisons.newest
        state = replace(state, exports=jobs, case=self.records.case, comparison=comparison)
        moving = {"since_injection_s": since_s, "walk": walk, "analysis": self.review.analysis}
        return replace(state, camera=camera, regions=regions, recording=recording, **moving)


def _first_state() -> c.State:
    return c.State(
        camera=c.CameraState("fake", WIDTH, HEIGHT, "simulated", 15_000.0, 1.0, 30.0, 0, 12.0, 0),
        light=c.LampState(True, "off", 0.0, False, 0.6, 0.0, ""),
        view="relative",
        contours_percent=(20.0, 40.0, 60.0),
        reference=None,
        regions=(),
        recording=c.RecordingState(None, 0.0, 0, 0, 0.0, 51_234.0),
        since_injection_s=None,
        calibration="scene truth",
        light_levels=LEVELS,
        hold_to_light=True,
    )


def _region_state(text: str, percent: float) -> c.RegionState:
    region = Region.parse(text)
    return c.RegionState(str(region), region.name, percent, 0.5)


def _signal(percent: float | None) -> dict[str, float | None]:
    """A region's signal where the reference has 0.2 above a baseline of 0.05."""
    signal = None if percent is None else 0.05 + 0.002 * percent
    return {"signal": signal, "signal_u": signal and 0.003, "baseline": 0.05, "baseline_u": 0.001}


def _curve_points(header: dict[str, Any]) -> list[CurvePoint]:
    seen = [*([header["reference"]] if header["reference"] else []), *header["values"]]
    return [
        CurvePoint(
            one["region"].partition(":")[2],
            math.nan if one["signal"] is None else one["signal"],
            math.nan if one["signal"] is None else one["signal_u"],
            one["baseline"],
            one["baseline_u"],
        )
        for one in seen
    ]


def _lamp_after(lamp: c.LampState, act: str) -> c.LampState:
    nearest = min(range(len(LEVELS)), key=lambda i: abs(LEVELS[i] - lamp.wanted_level))
    match act:
        case "on":
            return replace(lamp, state="lit", wanted_on=True, level=lamp.wanted_level, lease_left_ms=80.0)
        case "off" | "rearm":
            return replace(lamp, state="off", wanted_on=False, level=0.0, lease_left_ms=0.0)
    step = 1 if act == "brighter" else -1
    wanted = LEVELS[min(max(nearest + step, 0), len(LEVELS) - 1)]
    return replace(lamp, wanted_level=wanted, level=wanted if lamp.state == "lit" else 0.0)


@cache
def _drawn_pictures(count: int = 30) -> list[bytes]:
    """A bright patch that goes round over noise: about 100 kB each, as real ones."""
    noise = np.random.default_rng(7).normal(40, 5, (HEIGHT, WIDTH)).clip(0, 255).astype(np.uint8)
    pictures = []
    for index in range(count):
        picture = Image.fromarray(noise)
        angle = 2 * math.pi * index / count
        x, y = WIDTH / 2 + 300 * math.cos(angle), HEIGHT / 2 + 300 * math.sin(angle)
        ImageDraw.Draw(picture).ellipse((x - 120, y - 120, x + 120, y + 120), fill=200)
        file = io.BytesIO()
        picture.convert("RGB").save(file, "JPEG", quality=60)
        pictures.append(file.getvalue())
    return pictures


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--run-dir", type=Path, required=True)
    parser.add_argument("--data-dir", type=Path)
    arguments = parser.parse_args()
    arguments.run_dir.mkdir(parents=True, exist_ok=True)
    signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGTERM, signal.SIGINT})
    with FakeDevice(arguments.run_dir, arguments.data_dir):
        signal.sigwait({signal.SIGTERM, signal.SIGINT})


if __name__ == "__main__":
    main()
