"""A short recording of an invented scene: dye comes in, and a frame is missing."""

from pathlib import Path

import numpy as np
import pytest

from shared.calibration import Calibration
from shared.frame import CameraDescription, Frame
from shared.recording import Recording
from shared.recording.writer import RecordingWriter

CAMERA = CameraDescription("test", 160, 120, black_level=20.0, frame_interval_us=100_000.0, mm_per_px=0.25)
FRAMES = 80


def counts(number: int) -> np.ndarray:
    rng = np.random.default_rng(number)
    rise = 1 - np.exp(-np.maximum(number - 20, 0) / 12)
    mean = np.full(CAMERA.shape, 12.0)
    mean[:, :80] += 500 * rise
    mean[:, 80:] += 200 * rise
    return np.clip(np.rint(20 + rng.poisson(mean * 10) / 10 + rng.normal(0, 0.3, mean.shape)), 0, 1023).astype(
        np.uint16
    )


def write(path: Path, marked: bool = True) -> Path:
    writer = RecordingWriter(path, CAMERA, Calibration.assumed(CAMERA), started_at="2026-11-25T13:20:11Z", case="H-7")
    with writer:
        if marked:
            writer.event("reference", 0, region="base:20,20,40,60")
            writer.event("region", 0, region="tip:100,20,40,60")
        for number in range(FRAMES):
            if number == 50:
                continue
            if number == 18 and marked:
                writer.event("injection", 10**9 + number * 10**8)
                writer.event("note", 10**9 + 40 * 10**8, text="=2+2")
            writer.append(Frame(counts(number), number, 10**9 + number * 10**8, 8000.0, 1.0, 1.0, True))
    return path


@pytest.fixture(scope="session")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write(tmp_path_factory.mktemp("recorded") / "2026-11-25T13-20-11Z_H-7.zarr")


@pytest.fixture
def recording(recorded: Path):
    with Recording.open(recorded) as opened:
        yield opened
