"""The simulated camera: a scene seen at the scene's frame rate, under whatever light the ring really gave."""

import zlib
from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
from numpy.typing import NDArray

from device.camera.lent_buffers import LentBuffers
from device.camera.source import CameraStalled, LightSeen
from shared.calibration import Calibration
from shared.clock import Clock
from shared.frame import CameraDescription, Counts, Frame
from shared.protocol.control import Target
from shared.scene.description import Scene
from shared.scene.renderer import SceneRenderer
from shared.scene.targets import with_target

_ROWS_BETWEEN_LOOKS = 64
_SAME_LEVEL = 1e-9
_MOMENT_NS = 1000


class SteadyLight:
    """A ring that always gives ``level``."""

    def __init__(self, level: float = 1.0) -> None:
        self.level = level

    def over(self, start_ns: int, end_ns: int) -> float:
        """Mean duty, whenever it is asked for."""
        return self.level


class SimulatedCamera:
    """Frames of a scene, paced by ``clock``; a consumer that is late gets the newest frame and sees a step in the sequence.

    ``light`` says what the ring gave during each exposure, so the frame is dark when the light was. Scene time 0 is the first
    frame's readout. The same seed gives the same frames for the same light.
    """

    def __init__(self, scene: Scene, seed: int, clock: Clock, light: LightSeen) -> None:
        self.renderer = self._patient = SceneRenderer(scene, seed)
        self._scene, self._seed = scene, seed
        self._clock = clock
        self._light = light
        self._calibration = self.renderer.calibration()
        self._interval_ns = scene.camera.interval_us * 1000
        self._row_ns = scene.camera.set_row_time_us * 1000 if scene.camera.shutter == "rolling" else 0.0
        self._exposure_us = scene.camera.set_exposure_us
        self._gain = scene.camera.gain
        self._started_ns: int | None = None
        self._last_index = -1
        self._buffers = LentBuffers(self.description.shape)

    @property
    def description(self) -> CameraDescription:
        """Fixed figures, from the scene."""
        return self._scene.description

    @property
    def calibration(self) -> Calibration:
        """Scene truth."""
        return self._calibration

    def start(self) -> None:
        """Begin exposing; the first frame ends one interval later.

        The kernel is compiled (or loaded) first, so that no frame waits for it.
        """
        if self._started_ns is None:
            with self._buffers.lent() as buffer:
                self.renderer.frame_into(buffer, 0, 0.0, self._exposure_us, self._gain, 0.0)
            self._started_ns = self._clock.now_ns()

    def inject(self, at_ns: int | None = None) -> None:
        """Give the dye (at ``at_ns``, by default now); it adds to what is left of injections before."""
        moment_ns = self._clock.now_ns() if at_ns is None else at_ns
        self._patient.inject((moment_ns - self._readout_ns(0)) / 1e9)

    @property
    def identity(self) -> str:
        """Eight digits that differ where sensor, lens or ring do: what was measured of one holds for no other."""
        camera = self._scene.camera
        sensor = (self._seed, camera.width, camera.height, camera.bit_depth, camera.noise)
        parts = (*sensor, self._scene.optics.vignetting, self._scene.light.fall_off)
        return f"{zlib.crc32(repr(parts).encode()):08x}"

    def show(self, target: Target) -> None:
        """Put a target of commissioning before the same camera, lens and ring; "patient" takes it away. Takes a second."""
        if target == "patient":
            self.renderer = self._patient
        else:
            self.renderer = SceneRenderer(with_target(self._scene, target), self._seed)

    def set_exposure(self, exposure_us: float, gain: float) -> None:
        """Exposure (held within 20 us and the frame interval) and gain (1 to 64) of frames from the next on."""
        self._exposure_us = min(max(exposure_us, 20.0), self._scene.camera.interval_us)
        self._gain = min(max(gain, 1.0), 64.0)

    @contextmanager
    def next_frame(self, timeout_s: float = 1.0) -> Iterator[Frame]:
        """Newest frame not yet lent, drawn when its exposure is over; raises CameraStalled where none comes in time."""
        index = self._await_frame(timeout_s)
        with self._buffers.lent() as buffer:
            yield self._drawn(index, buffer)

    def close(self) -> None:
        """Stop; a later ``next_frame`` raises CameraStalled."""
        self._started_ns = None

    def _start_ns(self) -> int:
        if self._started_ns is None:
            raise CameraStalled("the simulated camera is not started")
        return self._started_ns

    def _readout_ns(self, index: int) -> int:
        return self._start_ns() + round((index + 1) * self._interval_ns)

    def _await_frame(self, timeout_s: float) -> int:
        """Wait until the frame has been read out: at once after a global exposure, row by row after a rolling one."""
        now_ns, reading_ns = self._clock.now_ns(), round(self._row_ns * self.description.height)
        newest = int((now_ns - reading_ns - self._start_ns()) // self._interval_ns) - 1
        index = max(newest, self._last_index + 1)
        ready_ns = self._readout_ns(index) + reading_ns
        if ready_ns > now_ns + round(timeout_s * 1e9):
            self._clock.sleep_until_ns(now_ns + round(timeout_s * 1e9))
            raise CameraStalled(f"no frame within {timeout_s:g} s")
        self._clock.sleep_until_ns(ready_ns)
        self._last_index = index
        return index

    def _drawn(self, index: int, buffer: Counts) -> Frame:
        readout_ns, exposure_us = self._readout_ns(index), self._exposure_us
        begun_ns = readout_ns - round(exposure_us * 1000)
        ended_ns = readout_ns + round(self._row_ns * self.description.height)
        ends = self._light.over(begun_ns, begun_ns + _MOMENT_NS), self._light.over(ended_ns - _MOMENT_NS, ended_ns)
        level = self._light.over(begun_ns, readout_ns)
        middle_s = (readout_ns - self._readout_ns(0)) / 1e9 - exposure_us / 2e6
        renderer = self.renderer  # another thread may put a target before the camera meanwhile
        rows = self._row_levels(readout_ns, exposure_us, level)
        duty = renderer.row_duty(middle_s, exposure_us, rows)
        renderer.frame_into(buffer, index, middle_s, exposure_us, self._gain, level, duty)
        half_lit = bool(np.ptp(np.append(rows, (level, *ends))) > _SAME_LEVEL)
        return Frame(buffer, index, readout_ns, exposure_us, self._gain, level, level > 0, half_lit)

    def _row_levels(self, readout_ns: int, exposure_us: float, level: float) -> float | NDArray[np.float64]:
        """What each row of a rolling shutter saw, looked up every few rows; a global shutter's rows all see the same."""
        if self._row_ns == 0:
            return level
        height = self.description.height
        looks = np.arange(0, height + _ROWS_BETWEEN_LOOKS, _ROWS_BETWEEN_LOOKS).clip(0, height)
        ends = [readout_ns + round(row * self._row_ns) for row in looks]
        seen = [self._light.over(end - round(exposure_us * 1000), end) for end in ends]
        return np.interp(np.arange(height), looks, seen)
