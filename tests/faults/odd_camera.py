"""A camera that goes wrong when ordered."""

import contextlib
import enum
import threading
import time
from collections.abc import Iterator
from dataclasses import replace

from device.camera.source import Camera, CameraStalled
from shared.frame import Frame
from tests.faults.orders import Orders

FAR_NS = 10_000_000_000


class Broken(enum.IntEnum):
    """Ways in which a camera fails."""

    NOT = 0
    STALLS = 1
    HANGS = 2
    REPEATS = 3
    GOES_BACK = 4
    COUNTS_BACK = 5
    RUNS_AHEAD = 6
    IS_SLOW = 7


class OddCamera:
    """A camera whose frames are another's, except as ordered."""

    def __init__(self, camera: Camera, orders: Orders) -> None:
        self._camera, self._orders = camera, orders
        self._kept: Frame | None = None
        self._next_slow = float("inf")
        self._pause = threading.Event()

    def __getattr__(self, name: str) -> object:
        return getattr(self._camera, name)

    @contextlib.contextmanager
    def next_frame(self, timeout_s: float = 1.0) -> Iterator[Frame]:
        deadline = time.monotonic() + timeout_s
        self._dawdle(deadline)
        with self._camera.next_frame(timeout_s) as frame:
            yield self._as_ordered(frame, deadline)

    def _as_ordered(self, frame: Frame, deadline: float) -> Frame:
        broken = Broken(self._orders.of("camera"))
        if broken in (Broken.NOT, Broken.IS_SLOW):
            self._kept = replace(frame, pixels=frame.pixels.copy())
            return frame
        if broken is Broken.STALLS:
            self._wait(broken, deadline)
            raise CameraStalled("the camera was told to stall")
        if broken is Broken.HANGS:
            self._wait(broken, float("inf"))
            raise CameraStalled("the camera hung for a while")
        return self._wrong(frame, broken)

    def _wrong(self, frame: Frame, broken: Broken) -> Frame:
        if broken is Broken.REPEATS:
            return self._kept or frame
        if broken is Broken.GOES_BACK:
            return replace(frame, sensor_time_ns=frame.sensor_time_ns - FAR_NS)
        if broken is Broken.COUNTS_BACK:
            return replace(frame, sequence=max(0, frame.sequence - 1000))
        return replace(frame, sensor_time_ns=frame.sensor_time_ns + FAR_NS)

    def _dawdle(self, deadline: float) -> None:
        """A frame a second, while ordered."""
        now = time.monotonic()
        if self._orders.of("camera") != Broken.IS_SLOW:
            self._next_slow = float("inf")
            return
        self._next_slow = min(self._next_slow, now + 1.0)
        self._wait(Broken.IS_SLOW, min(deadline, self._next_slow))
        if time.monotonic() < self._next_slow and self._orders.of("camera") == Broken.IS_SLOW:
            raise CameraStalled("the camera gives a frame a second")
        self._next_slow = float("inf")

    def _wait(self, broken: Broken, deadline: float) -> None:
        while self._orders.of("camera") == broken and time.monotonic() < deadline:
            self._pause.wait(0.005)
