"""Keeps every frame, in a thread of its own, without ever holding up the one that takes the frames.

``offer`` takes a frame into a ring of rooms made beforehand; a frame that finds the ring full is counted and stored as a gap.
What happens to it from there: recording_run.py.
"""

import shutil
import threading
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from device.kept_before import KeptBefore
from device.recording_run import RecordingRun
from shared.calibration import Calibration
from shared.clock import Clock
from shared.errors import Refused
from shared.frame import CameraDescription, Frame
from shared.protocol.control import RecordingState
from shared.recording.events import checked_event
from shared.recording.names import checked_case, checked_name, recording_name
from shared.recording.packing import FrameRoom
from shared.recording.writer import RecordingWriter
from shared.settings import RecordingSettings

QUIET_BITS = 3
"""Uppermost bits that hardly change from pixel to pixel: the rest is noise to the packer (5.5 to 6.2 bits of ten in the scenes)."""


def free_bytes(folder: Path) -> int:
    """Room left for us on the file system of ``folder``, or of the nearest folder above it that exists."""
    while not folder.exists():
        folder = folder.parent
    return shutil.disk_usage(folder).free


def utc_now() -> datetime:
    """Wall-clock time, for names only."""
    return datetime.now(UTC)


class Recorder:
    """Starts and stops recordings. All methods belong to the imager's loop and return at once, but for ``close``.

    ``failure`` keeps the exception of a thread that died of something other than a full disk; ``state`` says so too.
    """

    def __init__(
        self,
        settings: RecordingSettings,
        clock: Clock,
        *,
        free: Callable[[Path], int] = free_bytes,
        wall: Callable[[], datetime] = utc_now,
    ) -> None:
        self._settings = settings
        self._clock = clock
        self._free = free
        self._wall = wall
        self._ring: list[FrameRoom] = []
        self._shape = (0, 0)
        self._run: RecordingRun | None = None
        self._before = KeptBefore()
        self._beginning = threading.Lock()
        self.failure: BaseException | None = None

    def prepare(self, camera: CameraDescription) -> None:
        """Make the ring for this frame size, and compile what compresses it, now, so that ``start`` need not (it takes seconds)."""
        if self._shape != camera.shape:
            self._ring = [FrameRoom(camera.shape) for _ in range(self._settings.queue_frames)]
            self._shape = camera.shape
            noisy = 1 << max(camera.bit_depth - QUIET_BITS, 1)
            usual = np.random.default_rng(0).integers(0, noisy, camera.shape, np.uint16)
            for room in self._ring:  # so that no frame waits for the kernel to hand over memory
                room.take(usual)

    @property
    def recording(self) -> bool:
        """Whether frames are being kept."""
        return self._run is not None and self._run.accepting

    @property
    def path(self) -> Path | None:
        """Folder of the recording that is being kept, None while there is none."""
        run = self._run
        return self._settings.directory / f"{run.name}.zarr" if run is not None and run.accepting else None

    def start(
        self,
        name: str | None,
        camera: CameraDescription,
        calibration: Calibration,
        case: str = "",
        extra: Mapping[str, Any] | None = None,
        *,
        keep_before: bool = False,
    ) -> str:
        """Begin a recording, called after the moment and the case where ``name`` is None; returns its name.

        ``keep_before``: the newest frames come first, as far as they are kept (kept_before.py). Raises Refused while another one
        runs or is still being finished, for a bad case code, or where there is no room.
        """
        if self._run is not None and not self._run.finished:
            raise Refused("a recording is running", self._run.name, "stop it and wait until it is written")
        folder = self._settings.directory
        started_at = self._wall()
        case = checked_case(case)
        name = self._unused(recording_name(started_at, case)) if name is None else checked_name(name)
        if (folder / f"{name}.zarr").exists():
            raise Refused("there is already a recording of this name", name, "choose another name")
        self._check_room(folder)
        self.prepare(camera)
        self.failure = None

        def make() -> RecordingWriter:
            moment = started_at.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
            path = folder / f"{name}.zarr"
            return RecordingWriter(path, camera, calibration, started_at=moment, case=case, extra=extra)

        with self._beginning:  # a frame goes either before the recording or into it
            before = self._before.handed_over(self._clock.now_ns())
            self._run = RecordingRun(
                name,
                make,
                self._ring,
                self._settings,
                self._clock,
                lambda: self._free(folder),
                before if keep_before else (),
            )
        return name

    def offer(self, frame: Frame) -> bool:
        """Keep a copy of ``frame`` if a recording runs and there is a free buffer; never blocks. Returns whether it was kept."""
        with self._beginning:
            run = self._run
            if run is None or run.finished:
                self._before.take(frame, self._ring)
                return False
        return run.offer(frame)

    def event(self, kind: str, time_ns: int | None = None, **fields: Any) -> bool:
        """Keep an event, at this moment unless told otherwise; returns False while nothing is recorded. Raises Refused."""
        event = checked_event(kind, self._clock.now_ns() if time_ns is None else time_ns, fields)
        return self._run is not None and self._run.event(event)

    @property
    def gaps(self) -> int:
        """Frames that the recording that runs, or ran last, could not keep."""
        return 0 if self._run is None else self._run.gaps

    def stop(self) -> None:
        """End the recording after the frames already kept. Returns at once; ``finished`` tells when all is on the disk."""
        if self._run is not None:
            self._run.stop()

    @property
    def finished(self) -> bool:
        """Whether nothing waits to be written."""
        return self._run is None or self._run.finished

    def wait_finished(self, timeout_s: float) -> bool:
        """Wait until the last recording is on the disk; returns whether it is."""
        return self._run is None or self._run.wait(timeout_s)

    def state(self) -> RecordingState:
        """What the page shows. ``frames`` are those kept, written or still in the ring."""
        run = self._run
        free_mb = round(self._free(self._settings.directory) / 1e6, 1)
        if run is None:
            return RecordingState(None, 0.0, 0, 0, 0.0, free_mb, least_free_mb=self._settings.least_free_mb)
        self.failure = run.failure or self.failure
        return RecordingState(
            name=None if run.finished else run.name,
            seconds=round(run.seconds, 3),
            frames=run.frames,
            gaps=run.gaps,
            queue_fill=run.queue_fill,
            free_mb=free_mb,
            ended_because=run.ended_because,
            least_free_mb=self._settings.least_free_mb,
        )

    def close(self) -> None:
        """Stop, and wait until everything is on the disk."""
        if self._run is not None:
            self._run.stop()
            self._run.join()

    # ---- pieces -----------------------------------------------------------------------------------------------------

    def _unused(self, name: str) -> str:
        names = [name, *(f"{name}-{number}" for number in range(2, 100))]
        return next(one for one in names if not (self._settings.directory / f"{one}.zarr").exists())

    def _check_room(self, folder: Path) -> None:
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise Refused(
                f"{folder}: no recordings can be kept there ({error.strerror})", remedy="set recording.directory"
            ) from None
        free_mb = self._free(folder) / 1e6
        if free_mb < self._settings.least_free_mb:
            raise Refused(
                f"no room to record: {free_mb:.0f} MB free, recording.least_free_mb is {self._settings.least_free_mb}",
                remedy="export and delete old recordings",
            )
