"""Small invented frames with photon noise."""

from collections.abc import Iterator

import numpy as np
import pytest
import zarr.core.sync

from shared.calibration import Calibration
from shared.frame import CameraDescription, Frame

CAMERA = CameraDescription("test", 96, 64, bit_depth=10, black_level=16.0, mm_per_px=0.1403)


def noisy_frame(number: int, camera: CameraDescription = CAMERA, sequence: int | None = None) -> Frame:
    rng = np.random.default_rng(number)
    mean = np.linspace(20, 800, camera.width)[None, :] * np.ones((camera.height, 1))
    pixels = np.clip(rng.poisson(mean * 10) / 10 + 16, 0, camera.white_level).astype(np.uint16)
    return Frame(
        pixels,
        sequence=number if sequence is None else sequence,
        sensor_time_ns=5_000_000_000 + number * 33_333_000,
        exposure_us=8000.25,
        gain=1.5,
        light_level=0.6,
        lit=number % 5 != 4,
        half_lit=number % 7 == 3,
    )


@pytest.fixture
def calibration() -> Calibration:
    rng = np.random.default_rng(7)
    return Calibration(
        camera=CAMERA,
        dark_counts=rng.normal(16, 0.5, CAMERA.shape).astype(np.float32),
        flat=rng.uniform(0.4, 1, CAMERA.shape).astype(np.float32),
        defects=rng.random(CAMERA.shape) < 0.001,
        counts_per_electron=0.1,
        read_noise_electrons=2.5,
        saturation_counts=1000,
        light_output=((0.0, 0.0), (0.5, 0.45), (1.0, 1.0)),
        origin="scene truth",
        made_at="2026-11-25",
    )


@pytest.fixture(autouse=True)
def _zarr_threads() -> Iterator[None]:
    """zarr-python keeps an event loop and its pool for good; nothing of ours may."""
    yield
    zarr.core.sync.cleanup_resources()
