"""Recordings, clips and pictures through the same door as a live camera, at the pace at which they were taken."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from device.camera.clip import VideoClip
from device.camera.footage import Footage, Taken
from device.camera.lent_buffers import LentBuffers
from device.camera.source import CameraStalled, EndOfFrames
from device.camera.stack import PictureFolder, TiffStack
from shared.calibration import Calibration
from shared.clock import Clock, SystemClock
from shared.errors import Refused
from shared.frame import CameraDescription, Counts, Frame
from shared.recording.recording import Recording


class RecordedFootage:
    """A recording: everything is known of it, but for what it says is not."""

    def __init__(self, path: Path) -> None:
        self.recording = Recording.open(path)
        if not self.recording.frames:
            self.recording.close()
            raise Refused(f"{path}: the recording holds no frame", remedy="replay another recording")
        self.description = self.recording.camera
        self.calibration = self.recording.calibration
        self.unknown = self.recording.unknown

    def __len__(self) -> int:
        return self.recording.frames

    def time_ns(self, number: int) -> int:
        """Sensor time after the first frame's."""
        times = self.recording.frame_table.sensor_time_ns
        return int(times[number]) - int(times[0])

    def read(self, number: int, out: Counts) -> Taken:
        """Copy frame ``number`` into ``out``; raises Refused where the file is damaged."""
        frame = self.recording.frame(number)
        out[:] = frame.pixels
        first = int(self.recording.frame_table.sequence[0])
        return Taken(
            frame.sequence - first, frame.exposure_us, frame.gain, frame.light_level, frame.lit, frame.half_lit
        )

    def close(self) -> None:
        """Close the files; may be called twice."""
        self.recording.close()


class ReplayCamera:
    """Footage as a camera, paced by ``clock``: a late consumer gets the newest frame and sees a step in the sequence.

    Sensor times are those of the replay, so frames are as fresh as a camera's; exposure, gain and light are the footage's. With
    ``loop`` the footage begins again after its last frame, and sequence and time run on.
    """

    def __init__(self, footage: Footage, clock: Clock, loop: bool = False) -> None:
        self.footage = footage
        self._clock = clock
        self._loop = loop
        self._interval_ns = round(footage.description.frame_interval_us * 1000)
        self._due_ns = (
            np.array([footage.time_ns(number) for number in range(len(footage))], np.int64) + self._interval_ns
        )
        self._round_ns = int(self._due_ns[-1])
        self._started_ns: int | None = None
        self._next = 0
        self._sequences_a_round = 0
        self._buffers = LentBuffers(self.description.shape)
        self._sequences_a_round = self._last_sequence() + 1

    @property
    def description(self) -> CameraDescription:
        """Of the footage; ``unknown`` says what of it was assumed."""
        return self.footage.description

    @property
    def calibration(self) -> Calibration:
        """The recording's own, else an assumed one."""
        return self.footage.calibration

    @property
    def unknown(self) -> tuple[str, ...]:
        """What was assumed of the footage, in words for people."""
        return self.footage.unknown

    def start(self) -> None:
        """Begin to play."""
        if self._started_ns is None:
            self._started_ns = self._clock.now_ns()

    def set_exposure(self, exposure_us: float, gain: float) -> None:
        """Refused: what is replayed was exposed long ago."""
        raise Refused(
            "a replay's exposure and gain cannot be changed", f"{exposure_us:g} us, gain {gain:g}", "use a camera"
        )

    @contextmanager
    def next_frame(self, timeout_s: float = 1.0) -> Iterator[Frame]:
        """Newest frame not yet lent; raises CameraStalled, EndOfFrames, or Refused where the footage is damaged."""
        step = self._await_frame(timeout_s)
        with self._buffers.lent() as buffer:
            yield self._loaded(step, buffer)

    def close(self) -> None:
        """Stop and close the footage; may be called twice."""
        self._started_ns = None
        self.footage.close()

    def _last_sequence(self) -> int:
        if isinstance(self.footage, RecordedFootage):
            sequences = self.footage.recording.frame_table.sequence
            return int(sequences[-1]) - int(sequences[0])
        return len(self.footage) - 1

    def _due_at_ns(self, step: int) -> int:
        assert self._started_ns is not None
        rounds, number = divmod(step, len(self.footage))
        return self._started_ns + rounds * self._round_ns + int(self._due_ns[number])

    def _await_frame(self, timeout_s: float) -> int:
        if self._started_ns is None:
            raise CameraStalled("the replay is not started")
        now_ns = self._clock.now_ns()
        rounds, within_ns = divmod(now_ns - self._started_ns, self._round_ns)
        newest = rounds * len(self.footage) + int(np.searchsorted(self._due_ns, within_ns, side="right")) - 1
        if not self._loop:
            newest = min(newest, len(self.footage) - 1)
        step = max(newest, self._next)
        if step >= len(self.footage) and not self._loop:
            raise EndOfFrames(f"the footage is over after {len(self.footage)} frames")
        if self._due_at_ns(step) > now_ns + round(timeout_s * 1e9):
            self._clock.sleep_until_ns(now_ns + round(timeout_s * 1e9))
            raise CameraStalled(f"no frame within {timeout_s:g} s")
        self._clock.sleep_until_ns(self._due_at_ns(step))
        self._next = step + 1
        return step

    def _loaded(self, step: int, buffer: Counts) -> Frame:
        rounds, number = divmod(step, len(self.footage))
        taken = self.footage.read(number, buffer)
        return Frame(
            buffer,
            rounds * self._sequences_a_round + taken.sequence,
            self._due_at_ns(step),
            taken.exposure_us,
            taken.gain,
            taken.light_level,
            taken.lit,
            taken.half_lit,
        )


def open_replay(
    path: Path, *, fps: float | None = None, loop: bool = False, clock: Clock | None = None
) -> ReplayCamera:
    """Open a recording, TIFF stack, folder of pictures or video clip as a camera; raises Refused saying what is wrong with it.

    ``fps`` replaces the footage's own frame rate (not a recording's); without either, 30 a second is assumed and listed in
    ``unknown``.
    """
    return ReplayCamera(open_footage(path, fps), SystemClock() if clock is None else clock, loop)


def open_footage(path: Path, fps: float | None = None) -> Footage:
    """The same without a clock: frames in order, as fast as they can be read."""
    if fps is not None and not 0.1 <= fps <= 1000:
        raise Refused("frames a second must be from 0.1 to 1000", fps, "give the rate at which the clip was taken")
    if not path.exists():
        raise Refused("no such clip, folder or recording", str(path), "check the path")
    if path.is_dir():
        if path.suffix != ".zarr" and not (path / "zarr.json").exists():
            return PictureFolder(path, fps)
        if fps is not None:
            raise Refused("a recording knows its own frame times", f"{fps:g} fps", "leave the frame rate away")
        return RecordedFootage(path)
    return TiffStack(path, fps) if path.suffix.lower() in (".tif", ".tiff") else VideoClip(path, fps)
