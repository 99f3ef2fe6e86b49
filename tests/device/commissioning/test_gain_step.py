"""The gain step on frames drawn here by numpy's Poisson and normal numbers, some pixels hot."""

import numpy as np
import pytest

from device.commissioning.gain_step import GainStep
from device.commissioning.takes import SETTLING_FRAMES
from shared.calibration import Calibration
from shared.commissioning.calibration_folder import Figures, Kept, Taken
from shared.commissioning.dark import Dark
from shared.frame import CameraDescription, Frame
from shared.recording import Recording
from shared.recording.writer import RecordingWriter

CAMERA = CameraDescription("fake", 240, 180, bit_depth=12, black_level=100.0)
K, READ_E, BLACK, WHITE = 0.25, 3.0, 100.0, 4095
ELECTRONS_PER_MS, FRAMES = 2000.0, 8
HOT_E_PER_MS, HOT_E = 3.0, 20.0
"""Of one pixel in a hundred: dark current, and noise that no exposure takes away, 20 e rms."""


def hot() -> np.ndarray:
    mask = np.zeros(CAMERA.shape, np.bool_)
    mask.reshape(-1)[::101] = True
    return mask


def recorded(path):
    """Dark and lit frames at eleven exposures, up to beyond where the converter clips."""
    rng, number, is_hot = np.random.default_rng(1), 0, hot()
    with RecordingWriter(path, CAMERA, Calibration.assumed(CAMERA), started_at="2026-11-25T10:00:00Z") as writer:
        for exposure_ms in (0.5, 1, 2, 3, 4, 5, 6, 7, 7.5, 8.5, 10):
            for level in (0.0, 1.0):
                electrons = exposure_ms * (level * ELECTRONS_PER_MS + HOT_E_PER_MS * is_hot)
                for _ in range(FRAMES + SETTLING_FRAMES):
                    seen = rng.poisson(electrons) + rng.normal(0, np.where(is_hot, HOT_E, READ_E))
                    pixels = np.clip(np.rint(BLACK + K * seen), 0, WHITE).astype(np.uint16)
                    readout_ns = 33_000_000 * (number + 1)
                    writer.append(Frame(pixels, number, readout_ns, 1000 * exposure_ms, 1.0, level, level > 0))
                    number += 1
    return Recording.open(path)


@pytest.fixture(scope="module")
def recording(tmp_path_factory):
    with recorded(tmp_path_factory.mktemp("gain") / "a.zarr") as opened:
        yield opened


def kept(defects):
    figures = Figures.empty("A", CAMERA)
    planes = {
        "dark_counts": np.full(CAMERA.shape, BLACK),
        "dark_variance": np.full(CAMERA.shape, 0.65),
        "defects": defects,
    }
    dark = Dark(2000, 1, 16, BLACK, 0.01, 0.8, 0.2, 5.0, 0.1)
    return Kept("", figures).with_step("dark", dark, planes, Taken("dark", "2026-11-25T10:00:00Z", "r"))


def test_known_defects_have_no_part_in_gain_and_read_noise(recording):
    """The truth within a percent; with them in, read noise is beyond ten (EMVA 1288's method on the rest of the pixels)."""
    found = GainStep().read(recording, kept(hot())).found
    assert found.counts_per_electron == pytest.approx(K, rel=0.01)
    assert found.read_noise_electrons == pytest.approx(READ_E, rel=0.01)
    with_them = GainStep().read(recording, kept(np.zeros(CAMERA.shape, np.bool_))).found
    assert with_them.read_noise_electrons > 1.1 * READ_E
