"""Frames unpacked ahead: the same, in order, however the work on them ends."""

import threading
from pathlib import Path

import numpy as np
import pytest

from device.frames_ahead import frames_ahead
from shared.errors import Refused
from shared.recording import Recording
from shared.recording.writer import RecordingWriter
from tests.shared.inflow.simulated_frames import Patch, calibration, frames


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    """100 frames, more than a shard holds."""
    known = calibration(16, 24)
    with RecordingWriter(tmp_path / "run.zarr", known.camera, known, started_at="2026-11-25T10:00:00Z") as writer:
        for frame in frames(known, (Patch(20.0),), 10.0):
            writer.append(frame)
    return tmp_path / "run.zarr"


def test_frames_are_those_of_the_recording_in_order(recording: Path) -> None:
    with Recording.open(recording) as opened, frames_ahead(opened) as ahead:
        for number, frame in enumerate(ahead):
            wanted = opened.frame(number)
            assert frame.sequence == wanted.sequence
            assert np.array_equal(frame.pixels, wanted.pixels)
        assert number == 99


def test_whoever_stops_early_leaves_no_thread(recording: Path) -> None:
    before = threading.active_count()
    with Recording.open(recording) as opened, frames_ahead(opened) as ahead:
        next(ahead)
    assert threading.active_count() == before


def test_a_damaged_frame_is_refused_where_the_frames_are_used(recording: Path) -> None:
    shard = recording / "image" / "c" / "1" / "0" / "0"
    with Recording.open(recording) as opened:
        shard.write_bytes(shard.read_bytes()[:-2000])
        with pytest.raises(Refused, match="damaged"), frames_ahead(opened) as ahead:
            list(ahead)
