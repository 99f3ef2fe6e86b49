"""A whole simulated device on one turned clock: real guard, ring, link, loop and live path. The guard may hear and answer late.

Between two moments of the clock nothing happens but what is due then, so that light is switched at any phase of an exposure.
"""

import json
import select
import socket
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from device.camera.simulated import SimulatedCamera
from device.imager.loop import ImagerLoop
from device.imager.operator_light import OperatorLight
from device.imager.parts import Parts
from device.imager.sources import Source
from device.light import link as link_module
from device.light.guard import Guard
from device.light.lamp import Lamp
from device.light.link import LightLink
from device.light.simulated_ring import SimulatedRing, SimulatedRingReader
from device.live import LivePath
from device.recorder import Recorder
from shared.calibration import Calibration
from shared.frame import Frame
from shared.protocol.light import TO_GUARD
from shared.protocol.wire import decoded, encoded
from shared.recording import Recording
from shared.region import Region
from shared.region_sums import compiled_sums
from shared.scene.description import Scene
from shared.settings import Settings, changed
from shared.signal import RegionPixels, region_signal
from tests.conftest import ManualClock
from tests.device.light.conftest import NO_SENSORS, FakeAllowance

MS = 1_000_000
SHAPE = (80, 96)
LEVELS = (0.4, 0.7, 1.0)
DROOP = 0.15
REFERENCE, LOW = Region.parse("base:4,4,88,30"), Region.parse("low:4,46,88,30")
MEASURED = tuple((level, level * (1 - DROOP * level) / (1 - DROOP)) for level in np.linspace(0, 1, 101).tolist())
"""What a ring that loses 15 % to its own heat gives, by closed form: a calibration that knows it whole."""


@dataclass
class Lateness:
    """By how much a loaded machine is late: the guard to hear, its answer to come, the loop to take a frame."""

    heard_ns: int = 0
    answered_ns: int = 0
    frame_ns: int = 0


class SteppedClock(ManualClock):
    """Goes from one moment at which something is due in the house to the next."""

    def __init__(self) -> None:
        super().__init__()
        self.look_after: Callable[[], int] = lambda: 2**62
        """Does what is due, and says when something will be again."""

    def sleep_until_ns(self, deadline_ns: int) -> None:
        due_ns = self.look_after()
        while self.time_ns < deadline_ns:
            self.time_ns = min(max(due_ns, self.time_ns + 1), deadline_ns)
            due_ns = self.look_after()


class LateGuard:
    """A guard behind its socket that hears and answers late; its own time and what it does with the ring are prompt."""

    def __init__(self, folder: Path, clock: SteppedClock, late: Lateness) -> None:
        self._clock, self._late = clock, late
        ring = SimulatedRing(folder / "ring", clock)
        enable = SimpleNamespace(
            on=lambda: ring.enable(True), off=lambda: ring.enable(False), close=lambda: ring.enable(False)
        )
        heartbeat = SimpleNamespace(toggle=ring.beat, off=lambda: None, close=lambda: None)
        self.ring = ring
        lamp = Lamp(ring, enable, heartbeat, wanted_hz=20_000.0)  # type: ignore[arg-type]
        self.guard = Guard(lamp, NO_SENSORS, FakeAllowance(), clock, lambda _line: None)  # type: ignore[arg-type]
        self._listener = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        self._listener.bind(str(folder / "light.sock"))
        self._listener.listen(1)
        self._listener.setblocking(False)
        self._imager: socket.socket | None = None
        self._dead = False
        self._heard: deque[tuple[int, bytes]] = deque()
        self._answers: deque[tuple[int, bytes]] = deque()

    def look_after(self) -> int:
        """Do what is due, and say when something will be again."""
        now_ns = self._clock.now_ns()
        if self._dead:
            return 2**62
        if self._imager is None and select.select([self._listener], [], [], 0)[0]:
            self._imager, _ = self._listener.accept()
            self.guard.imager_came()
        while self._imager is not None and select.select([self._imager], [], [], 0)[0]:
            self._heard.append((now_ns + self._late.heard_ns, self._imager.recv(65536)))
        self.guard.turn()
        while self._heard and self._heard[0][0] <= now_ns:
            status = self.guard.take(decoded(self._heard.popleft()[1], TO_GUARD))
            self._answers.append((now_ns + self._late.answered_ns, encoded(status)))
        while self._imager is not None and self._answers and self._answers[0][0] <= now_ns:
            self._imager.send(self._answers.popleft()[1])
        due_ns = self.guard.due_ns()
        waiting = [queue[0][0] for queue in (self._heard, self._answers) if queue]
        return min([2**62 if due_ns is None else due_ns, *waiting])

    def part(self) -> None:
        """Die, and leave the ring to its dead-man."""
        self._dead = True
        self._listener.close()
        if self._imager is not None:
            self._imager.close()

    def close(self) -> None:
        """Let go of everything."""
        self.guard.close()
        self._listener.close()
        if self._imager is not None:
            self._imager.close()


@dataclass
class Gathered:
    """Stands for the maps: who is let in, as the mean signal of the reference."""

    calibration: Calibration
    pixels: RegionPixels
    signals: list[float] = field(default_factory=list)
    unlit: list[float] = field(default_factory=list)
    hand_trouble: str = ""

    def take(self, frame: Frame) -> None:
        """As the loop gives them."""
        if frame.lit and frame.light_level > 0:
            self.signals.append(region_signal(frame, self.pixels, self.calibration, compiled_sums).signal.value)
        else:
            self.unlit.append(float(frame.pixels.mean()))


class GuardedDevice:
    """The device before a steady card of two tiles, the second a third as bright as the first."""

    def __init__(
        self,
        folder: Path,
        patch: pytest.MonkeyPatch,
        late: Lateness,
        *,
        shutter: str = "global",
        exposure_ms: float = 15.0,
        stamps_light: bool = False,
        unlit_every: int = 0,
        ambient: float = 0.0,
    ) -> None:
        self.clock, self.late = SteppedClock(), late
        self.house = LateGuard(folder, self.clock, late)
        self._due: list[tuple[int, Callable[[], None]]] = []
        self.clock.look_after = self._look_after
        patch.setattr(link_module, "select", SimpleNamespace(select=self._selected))
        scene = Scene.from_values(
            {
                "camera": {"width": SHAPE[1], "height": SHAPE[0], "fps": 30.0, "exposure_us": 1000 * exposure_ms}
                | {"shutter": shutter, "noise": {"hot_pixels": 0}},
                "optics": {"mm_per_px": 1.0, "ambient": ambient, "leakage": 0.0, "vignetting": 0.0},
                "light": {"droop": DROOP, "pwm_hz": 0, "fall_off": 0.0},
                "surface": {"texture": 0.0},
                "dye": {"reference": "base"},
                "tissue": [
                    {"name": "base", "polygon_mm": [[0, 0], [96, 0], [96, 40], [0, 40]], "steady": True},
                    {
                        "name": "low",
                        "polygon_mm": [[0, 40], [96, 40], [96, 80], [0, 80]],
                        "steady": True,
                        "level": 0.33,
                    },
                ],
            },
            "harbour",
        )
        self.ring_seen = SimulatedRingReader(folder / "ring")
        camera = SimulatedCamera(scene, 1, self.clock, self.ring_seen)
        calibration = type(camera.calibration)(**{**vars(camera.calibration), "light_output": MEASURED})
        self.settings = changed(
            Settings(),
            recording={"directory": str(folder / "recordings"), "queue_frames": 60},
            picture={"unlit_every": unlit_every},
            light={"levels": list(LEVELS)},
        )
        self.link = LightLink(folder / "light.sock", self.clock)
        self.light = OperatorLight(self.link, LEVELS, False, self.clock)
        self.live = LivePath(calibration, self.settings.picture, "whole" if unlit_every else "steps")
        self.live.set_reference(REFERENCE)
        self.live.put_region(LOW)
        self.recorder = Recorder(self.settings.recording, self.clock, free=lambda _: 10_000_000_000)
        self.headers: list[dict[str, Any]] = []
        kind = "simulated" if stamps_light else "picamera"
        self.parts = Parts(
            source=Source(camera, kind, calibration, stamps_light),
            link=self.link,
            light=self.light,
            live=self.live,
            recorder=self.recorder,
            bus=SimpleNamespace(publish=lambda header, *_, **__: self.headers.append(json.loads(header))),  # type: ignore[arg-type]
            clock=self.clock,
            settings=self.settings,
            data_folder=folder,
        )
        self.loop = ImagerLoop(self.parts)
        self.calibration = calibration
        pixels = RegionPixels.gathered(REFERENCE.indices(SHAPE), calibration)
        self.maps = Gathered(calibration, pixels)
        self.loop.maps = self.maps  # type: ignore[assignment]
        self.camera = camera
        camera.start()

    def at(self, frames: float, act: Callable[[], None]) -> None:
        """Do something so many frame intervals after now."""
        self._due.append((self.clock.now_ns() + round(frames * 1e9 / 30), act))
        self._due.sort(key=lambda one: one[0])

    def turns(self, number: int) -> None:
        """So many frames, each taken as late as the machine is."""
        for _ in range(number):
            if self.late.frame_ns:
                self.clock.sleep_until_ns(self.clock.now_ns() + self.late.frame_ns)
            self.loop.turn()

    def recorded(self) -> Recording:
        """What was recorded, stopped and closed."""
        self.recorder.stop()
        assert self.recorder.wait_finished(20.0)
        (path,) = self.settings.recording.directory.glob("*.zarr")
        return Recording.open(path)

    def start_recording(self) -> None:
        """Begin a recording of a case."""
        self.recorder.start(None, self.camera.description, self.calibration, "H-7")

    def close(self) -> None:
        """End all of it."""
        self.recorder.close()
        self.link.close()
        self.house.close()
        self.ring_seen.close()
        self.camera.close()

    def _look_after(self) -> int:
        while self._due and self._due[0][0] <= self.clock.now_ns():
            self._due.pop(0)[1]()
        due_ns = self.house.look_after()
        return min(due_ns, self._due[0][0]) if self._due else due_ns

    def _selected(self, readers: list[Any], *_: object) -> tuple[list[Any], list[Any], list[Any]]:
        """The link's wait for an answer: whoever is prompt answers within it, and nobody else does."""
        self.house.look_after()
        return select.select(readers, [], [], 0)
