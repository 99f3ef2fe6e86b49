"""The recorder keeps every frame or says which it could not, and ends by itself only for a reason it names."""

import errno
import os
import threading
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from device.recorder import Recorder
from shared.calibration import Calibration
from shared.errors import Refused
from shared.frame import CameraDescription, Frame
from shared.recording import Recording
from shared.recording.packing import FrameRoom
from shared.recording.table import FrameRow
from shared.recording.writer import RecordingWriter
from shared.settings import RecordingSettings
from tests.conftest import ManualClock

CAMERA = CameraDescription("test", 64, 48)
CALIBRATION = Calibration.assumed(CAMERA)
STARTED = datetime(2026, 11, 25, 13, 20, 11, tzinfo=UTC)
DEADLINE_S = 20.0


def frame(number: int) -> Frame:
    pixels = np.random.default_rng(number).integers(0, 1024, CAMERA.shape, np.uint16)
    return Frame(pixels, number, 1_000_000_000 + number * 33_333_333, 8000.0, 1.0, 0.8, True)


class Bench:
    """A recorder in a temporary folder with a clock and a disk turned by hand."""

    def __init__(self, folder: Path, clock: ManualClock, queue_frames: int = 8) -> None:
        self.free = 10_000_000_000
        self.settings = RecordingSettings(folder, least_free_mb=500, queue_frames=queue_frames, longest_minutes=1.0)
        self.recorder = Recorder(self.settings, clock, free=lambda _: self.free, wall=lambda: STARTED)

    def start(self, case: str = "H-7") -> Path:
        name = self.recorder.start(None, CAMERA, CALIBRATION, case)
        return self.settings.directory / f"{name}.zarr"

    def finish(self) -> None:
        self.recorder.stop()
        assert self.recorder.wait_finished(DEADLINE_S)


@pytest.fixture
def bench(tmp_path: Path, manual_clock: ManualClock) -> Iterator[Bench]:
    made = Bench(tmp_path / "recordings", manual_clock)
    yield made
    made.recorder.close()


@pytest.fixture
def gate(monkeypatch: pytest.MonkeyPatch) -> Iterator[threading.Event]:
    """While it is closed no frame gets past the writer."""
    opened = threading.Event()
    real = RecordingWriter.append_taken

    def append(self: RecordingWriter, row: FrameRow, room: FrameRoom) -> None:
        assert opened.wait(DEADLINE_S)
        real(self, row, room)

    monkeypatch.setattr(RecordingWriter, "append_taken", append)
    yield opened
    opened.set()


def offer_all(bench: Bench, frames: Iterator[Frame] | list[Frame]) -> None:
    """Offer each frame when there is room, as a camera slower than the disk would."""
    for one in frames:
        while bench.recorder.state().queue_fill >= 0.9:
            threading.Event().wait(0.001)
        assert bench.recorder.offer(one)


def test_every_frame_is_kept(bench: Bench) -> None:
    path = bench.start()
    assert path.name == "2026-11-25T13-20-11Z_H-7.zarr"
    offer_all(bench, [frame(n) for n in range(100)])
    assert bench.recorder.event("injection", frame(30).sensor_time_ns)
    state = bench.recorder.state()
    assert (state.name, state.frames, state.gaps) == (path.stem, 100, 0)
    bench.finish()
    state = bench.recorder.state()
    assert (state.name, state.frames, state.gaps, state.ended_because) == (None, 100, 0, "")
    with Recording.open(path) as recording:
        assert (recording.complete, len(recording), recording.case) == (True, 100, "H-7")
        assert recording.started_at == "2026-11-25T13:20:11Z"
        for number in range(100):
            kept, wanted = recording.frame(number), frame(number)
            np.testing.assert_array_equal(kept.pixels, wanted.pixels)
            assert (kept.sequence, kept.sensor_time_ns, kept.light_level) == (number, wanted.sensor_time_ns, 0.8)
        assert [event.kind for event in recording.events] == ["injection", "end"]


def test_a_frame_without_room_is_a_counted_and_stored_gap(bench: Bench, gate: threading.Event) -> None:
    path = bench.start()
    kept = [n for n in range(12) if bench.recorder.offer(frame(n))]
    assert kept == list(range(8))
    assert bench.recorder.state().gaps == 4
    assert bench.recorder.state().queue_fill == 1.0
    gate.set()
    while bench.recorder.state().queue_fill > 0.5:
        threading.Event().wait(0.001)
    assert bench.recorder.offer(frame(12))
    bench.finish()
    with Recording.open(path) as recording:
        assert list(recording.frame_table.sequence) == [*range(8), 12]
        assert recording.gaps == 4
        (gap,) = [event for event in recording.events if event.kind == "gap"]
        assert gap.fields == {"frames": 4, "cause": "recorder too slow"}
        assert gap.time_ns == frame(8).sensor_time_ns
        np.testing.assert_array_equal(recording.pixels(8), frame(12).pixels)


def test_frames_refused_at_the_very_end_are_stored_too(bench: Bench, gate: threading.Event) -> None:
    path = bench.start()
    for number in range(10):
        bench.recorder.offer(frame(number))
    gate.set()
    bench.finish()
    assert bench.recorder.state().gaps == 2
    with Recording.open(path) as recording:
        assert [event.fields.get("frames") for event in recording.events] == [2, None]


def test_what_the_camera_lost_is_a_gap_with_another_cause(bench: Bench) -> None:
    path = bench.start()
    for number in (5, 6, 9, 10):
        bench.recorder.offer(frame(number))
    bench.finish()
    assert bench.recorder.state().gaps == 2
    with Recording.open(path) as recording:
        (gap,) = [event for event in recording.events if event.kind == "gap"]
        assert gap.fields == {"frames": 2, "cause": "lost by the camera"}
        assert recording.gaps == 2


def test_offer_copies(bench: Bench, gate: threading.Event) -> None:
    path = bench.start()
    pixels = np.full(CAMERA.shape, 7, np.uint16)
    bench.recorder.offer(Frame(pixels, 0, 1, 8000.0))
    pixels[:] = 9
    gate.set()
    bench.finish()
    with Recording.open(path) as recording:
        assert set(np.unique(recording.pixels(0))) == {7}


def test_nothing_is_kept_unless_asked(bench: Bench) -> None:
    assert not bench.recorder.offer(frame(0))
    assert not bench.recorder.event("injection")
    assert bench.recorder.state().name is None
    bench.recorder.stop()
    assert bench.recorder.finished


def test_a_nearly_full_disk_ends_it_cleanly(bench: Bench, manual_clock: ManualClock) -> None:
    path = bench.start()
    offer_all(bench, [frame(n) for n in range(20)])
    bench.free = 499_000_000
    manual_clock.advance_ms(300)
    bench.recorder.offer(frame(20))
    assert bench.recorder.wait_finished(DEADLINE_S)
    assert "499 MB free, recording.least_free_mb is 500" in bench.recorder.state().ended_because
    assert not bench.recorder.offer(frame(21))
    with Recording.open(path) as recording:
        assert recording.complete
        assert len(recording) >= 20
        assert "nearly full" in recording.events[-1].fields["reason"]
    with pytest.raises(Refused, match="no room to record: 499 MB free"):
        bench.start()


def test_a_full_disk_keeps_what_was_written(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    real, room = os.pwritev, [400]

    def pwritev(handle: int, parts: list[memoryview], offset: int) -> int:
        room[0] -= 1
        if room[0] < 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        return real(handle, parts, offset)

    path = bench.start()
    monkeypatch.setattr(os, "pwritev", pwritev)
    number = 0
    while bench.recorder.recording and number < 1000:
        while bench.recorder.state().queue_fill >= 0.9:
            threading.Event().wait(0.001)
        bench.recorder.offer(frame(number))
        number += 1
    assert bench.recorder.wait_finished(DEADLINE_S)
    state = bench.recorder.state()
    assert state.ended_because == "the disk is full"
    assert bench.recorder.failure is None
    monkeypatch.setattr(os, "pwritev", real)
    with Recording.open(path) as recording:
        assert len(recording) == state.frames > 10
        for row in range(len(recording)):
            np.testing.assert_array_equal(recording.pixels(row), frame(recording.frame(row).sequence).pixels)


def test_the_longest_recording(bench: Bench) -> None:
    path = bench.start()
    assert bench.recorder.offer(frame(0))
    assert bench.recorder.offer(frame(30 * 60 - 1))
    assert not bench.recorder.offer(frame(30 * 61))
    assert bench.recorder.wait_finished(DEADLINE_S)
    assert "longest_minutes, 1" in bench.recorder.state().ended_because
    with Recording.open(path) as recording:
        assert recording.complete
        assert len(recording) == 2


def test_a_dead_writer_is_seen(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    def append(self: RecordingWriter, row: FrameRow, room: FrameRoom) -> None:
        raise RuntimeError("the writer broke")

    path = bench.start()
    monkeypatch.setattr(RecordingWriter, "append_taken", append)
    bench.recorder.offer(frame(0))
    assert bench.recorder.wait_finished(DEADLINE_S)
    state = bench.recorder.state()
    assert "the writer broke" in state.ended_because
    assert (state.frames, state.gaps) == (0, 1)
    assert isinstance(bench.recorder.failure, RuntimeError)
    with Recording.open(path) as recording:
        assert not recording.complete


def test_a_flusher_that_fails_is_seen(bench: Bench, monkeypatch: pytest.MonkeyPatch, manual_clock: ManualClock) -> None:
    failed = threading.Event()

    def fdatasync(handle: int) -> None:
        failed.set()
        raise OSError(errno.EIO, "Input/output error")

    bench.start()
    monkeypatch.setattr(os, "fdatasync", fdatasync)
    manual_clock.advance_ms(1500)
    bench.recorder.offer(frame(0))
    assert failed.wait(DEADLINE_S)
    bench.recorder.offer(frame(1))
    assert bench.recorder.wait_finished(DEADLINE_S)
    assert "Input/output error" in bench.recorder.state().ended_because
    assert isinstance(bench.recorder.failure, OSError)


def test_two_at_once_are_refused(bench: Bench) -> None:
    bench.start()
    with pytest.raises(Refused, match="a recording is running"):
        bench.start()
    bench.finish()
    assert bench.start().name == "2026-11-25T13-20-11Z_H-7-2.zarr"


@pytest.mark.parametrize("case", ["Anna Berg", "../x", "a/b", "x" * 41, "a.", "CON", "ü7", "-a", ".a"])
def test_what_is_no_case_code(bench: Bench, case: str) -> None:
    with pytest.raises(Refused, match="never a patient's name"):
        bench.start(case)
    assert not bench.recorder.recording


def test_a_folder_that_cannot_be_made(tmp_path: Path, manual_clock: ManualClock) -> None:
    (tmp_path / "file").write_text("x")
    bench = Bench(tmp_path / "file" / "recordings", manual_clock)
    with pytest.raises(Refused, match="no recordings can be kept there"):
        bench.start()


def test_the_newest_frames_before_it_come_first_where_they_are_asked_for(
    bench: Bench, manual_clock: ManualClock
) -> None:
    """Of a ring of eight rooms two; those of a run that is over, or that are long ago, belong to nothing that begins now."""
    bench.recorder.prepare(CAMERA)
    for number in range(5):
        assert not bench.recorder.offer(frame(number))
    manual_clock.sleep_until_ns(frame(4).sensor_time_ns)
    name = bench.recorder.start("with", CAMERA, CALIBRATION, keep_before=True)
    offer_all(bench, [frame(n) for n in range(5, 20)])
    bench.finish()
    with Recording.open(bench.settings.directory / f"{name}.zarr") as recording:
        assert list(recording.frame_table.sequence) == list(range(3, 20))
        assert recording.gaps == recording.frame_table.missing == 0
        for number in range(17):
            np.testing.assert_array_equal(recording.pixels(number), frame(number + 3).pixels)
    bench.recorder.offer(frame(20))
    manual_clock.sleep_until_ns(frame(20).sensor_time_ns + 2_000_000_000)
    name = bench.recorder.start("without", CAMERA, CALIBRATION, keep_before=True)
    bench.recorder.offer(frame(90))
    bench.finish()
    with Recording.open(bench.settings.directory / f"{name}.zarr") as recording:
        assert list(recording.frame_table.sequence) == [90]
