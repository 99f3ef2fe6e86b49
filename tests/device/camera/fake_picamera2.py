"""Fake of picamera2's interface, as far as the camera uses it: records calls, and stalls, drops, rounds and pads on order.

Shaped on picamera2 0.3.38 (request.py, job.py, picamera2.py read, not run): requests are reference-counted and give their buffer
back on release; a job that timed out stays first in the list and swallows the next request; controls that are not advertised raise
RuntimeError; a monochrome sensor advertises no AwbEnable. No real hardware stands behind any of this.
"""

from concurrent.futures import CancelledError
from dataclasses import dataclass, field
from types import ModuleType
from typing import Any

import numpy as np

from tests.conftest import ManualClock

MS = 1_000_000


@dataclass
class FakeSensor:
    """What the sensor is and does; tests turn these."""

    model: str = "imx296"
    mono: bool = True
    bits: int = 10
    raw_format: str | None = None
    """What the camera system gives instead of what was asked."""
    size: tuple[int, int] | None = None
    stride_padding: int = 0
    left_justified: bool = False
    report_bits: bool = True
    line_us: float = 14.815
    """Exposure comes in whole lines (the default is the IMX296's, of libcamera's cam_helper_imx296.cpp)."""
    control_delay_frames: int = 4
    black_level_16: int = 3840
    stalled: bool = False
    dropped: set[int] = field(default_factory=set)
    clock_offset_ns: int = 0
    metadata_missing: tuple[str, ...] = ()
    controls_missing: tuple[str, ...] = ()


class FakeRequest:
    def __init__(self, camera: "FakePicamera2", number: int, time_ns: int, buffer: np.ndarray, metadata: dict) -> None:
        self.camera, self.number, self.time_ns, self.buffer, self.metadata = camera, number, time_ns, buffer, metadata
        self.references = 1
        camera.outstanding.append(self)

    def get_metadata(self) -> dict[str, Any]:
        assert self.references > 0, "metadata of a released request"
        return dict(self.metadata)

    def release(self) -> None:
        self.references -= 1
        assert self.references == 0, "released twice"
        self.camera.outstanding.remove(self)
        self.buffer[...] = 0xEE  # the sensor writes its next frame here


class FakeMappedArray:
    def __init__(self, request: FakeRequest, stream: str, reshape: bool = True, write: bool = True) -> None:
        assert stream == "raw"
        assert reshape
        assert not write, "nobody needs to write into the camera's buffer"
        self._request = request
        self.array: np.ndarray | None = None

    def __enter__(self) -> "FakeMappedArray":
        assert self._request.references > 0, "mapped after release"
        raw = self._request.camera.camera_configuration()["raw"]
        self.array = self._request.buffer.reshape(raw["size"][1], raw["stride"])
        return self

    def __exit__(self, *_: object) -> None:
        self.array = None


class FakeJob:
    def __init__(self) -> None:
        self.result: FakeRequest | None = None
        self.cancelled = False


class FakePicamera2:
    """One camera. Its sensor gives frame n at ``started_ns + n * interval``; waiting turns the manual clock."""

    sensor = FakeSensor()
    clock = ManualClock()
    cameras: list[dict[str, Any]]
    opened: "list[FakePicamera2]"

    def __init__(self) -> None:
        type(self).opened.append(self)
        sensor = self.sensor
        self.calls: list[str] = []
        self.outstanding: list[FakeRequest] = []
        self.closed = False
        self.camera_properties = {"Model": sensor.model}
        self.is_mono = sensor.mono
        self.sensor_format = f"{'R' if sensor.mono else 'SRGGB'}{sensor.bits}_CSI2P"
        self.camera_controls = {
            "AeEnable": (False, True, True),
            "ExposureTime": (29, 15_534_385, 20_000),
            "AnalogueGain": (1.0, 15.9, 1.0),
            "FrameDurationLimits": (16_562, 15_534_444, 33_333),
            "NoiseReductionMode": (0, 4, 0),
        } | ({} if sensor.mono else {"AwbEnable": (False, True, True)})
        for name in sensor.controls_missing:
            del self.camera_controls[name]
        self.controls: dict[str, Any] = {}
        self._configuration: dict[str, Any] = {}
        self._jobs: list[FakeJob] = []
        self._in_force: list[tuple[int, dict[str, Any]]] = []
        self._running = False
        self._next = 0
        self._started_ns = 0

    @classmethod
    def global_camera_info(cls) -> list[dict[str, Any]]:
        return cls.cameras

    def create_video_configuration(self, **given: Any) -> dict[str, Any]:
        self.calls.append("create_video_configuration")
        return given

    def configure(self, configuration: dict[str, Any]) -> None:
        self.calls.append("configure")
        width, height = configuration["raw"]["size"]
        if width % 2 or height % 2:
            raise RuntimeError("width and height should be even")
        self.set_controls(configuration["controls"])
        size = self.sensor.size or (width, height)
        raw = {
            "format": self.sensor.raw_format or configuration["raw"]["format"],
            "size": size,
            "stride": 2 * size[0] + self.sensor.stride_padding,
        }
        sensor = {"output_size": size} | ({"bit_depth": self.sensor.bits} if self.sensor.report_bits else {})
        self._configuration = configuration | {"raw": raw, "sensor": sensor}

    def camera_configuration(self) -> dict[str, Any]:
        return self._configuration

    def set_controls(self, controls: dict[str, Any]) -> None:
        for name in controls:
            if name not in self.camera_controls:
                raise RuntimeError(f"Control {name} is not advertised by libcamera")
        self.controls |= controls
        lands = self._next + self.sensor.control_delay_frames if self._running else 0
        self._in_force.append((lands, dict(self.controls)))

    def start(self) -> None:
        self.calls.append("start")
        self._running, self._next, self._started_ns = True, 0, self.clock.time_ns
        self._in_force = [(0, dict(self.controls))]

    def stop(self) -> None:
        self.calls.append("stop")
        assert not self._jobs, "stop would wait behind a capture that never comes"
        self._running = False

    def close(self) -> None:
        self.calls.append("close")
        assert not self._jobs
        assert not self.outstanding, "closed with requests still out"
        self.closed = True

    def capture_request(self, wait: bool | None = None, flush: bool | None = None) -> FakeJob:
        assert wait is False, "a wait with a time-out leaves a job behind that nobody owns"
        assert self._running
        assert len(self.outstanding) < self._configuration["buffer_count"]
        self._jobs.append(FakeJob())
        return self._jobs[-1]

    def cancel_all_and_flush(self) -> None:
        self.calls.append("cancel_all_and_flush")
        for job in self._jobs:
            job.cancelled = True
        self._jobs = []

    def wait(self, job: FakeJob, timeout: float | None = None) -> FakeRequest:
        deadline_ns = self.clock.time_ns + round((timeout or 0) * 1e9)
        while self._jobs and job.result is None and self._serve_first_job(deadline_ns):
            pass
        if job.cancelled:
            raise CancelledError
        if job.result is None:
            self.clock.sleep_until_ns(deadline_ns)
            raise TimeoutError
        return job.result

    def _serve_first_job(self, deadline_ns: int) -> bool:
        interval_ns = 1000 * self.controls["FrameDurationLimits"][0]
        newest = (self.clock.time_ns - self._started_ns) // interval_ns - 1
        number = max(self._next, newest)  # queue=True: the newest finished frame is kept, older ones are gone
        while number in self.sensor.dropped:
            number += 1
        finished_ns = self._started_ns + (number + 1) * interval_ns
        if self.sensor.stalled or finished_ns > deadline_ns:
            return False
        self.clock.sleep_until_ns(finished_ns)
        self._jobs.pop(0).result = self._frame(number, finished_ns)
        self._next = number + 1
        return True

    def _frame(self, number: int, finished_ns: int) -> FakeRequest:
        sensor, raw = self.sensor, self._configuration["raw"]
        in_force = [controls for lands, controls in self._in_force if lands <= number][-1]
        lines = max(1, int(in_force["ExposureTime"] / sensor.line_us))
        (width, height), stride = raw["size"], raw["stride"]
        words = counts_of(number, width, height, sensor.bits) << (16 - sensor.bits if sensor.left_justified else 0)
        rows = np.full((height, stride), 0xAB, np.uint8)
        rows[:, : 2 * width] = words.astype("<u2").view(np.uint8)
        metadata = {
            "SensorTimestamp": finished_ns - 3 * MS + sensor.clock_offset_ns,
            "ExposureTime": int(lines * sensor.line_us),
            "AnalogueGain": in_force["AnalogueGain"],
            "FrameDuration": in_force["FrameDurationLimits"][0],
            "SensorBlackLevels": (sensor.black_level_16,) * 4,
        }
        for name in sensor.metadata_missing:
            del metadata[name]
        return FakeRequest(self, number, finished_ns, rows.reshape(-1), metadata)


def counts_of(number: int, width: int, height: int, bits: int) -> np.ndarray:
    """Pixels of frame ``number``: every count the converter has, in an order that depends on the frame."""
    return ((np.arange(width * height).reshape(height, width) * 7 + number * 31) % (1 << bits)).astype(np.uint16)


def fake_module(sensor: FakeSensor, clock: ManualClock) -> ModuleType:
    """Stand-in for the module ``picamera2``; its ``Picamera2.opened`` lists what was opened."""
    module: Any = ModuleType("picamera2")
    module.Picamera2 = type(
        "Picamera2",
        (FakePicamera2,),
        {"sensor": sensor, "clock": clock, "opened": [], "cameras": [{"Model": sensor.model, "Num": 0}]},
    )
    module.MappedArray = FakeMappedArray
    return module
