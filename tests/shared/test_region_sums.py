"""The compiled sums against numpy's, which define them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.calibration import Calibration
from shared.frame import CameraDescription, Frame
from shared.region_sums import compiled_sums
from shared.signal import RegionPixels, region_signal


@given(st.integers(0, 2**32 - 1), st.integers(1, 700), st.integers(8, 16))
def test_both_measure_the_same(seed: int, number: int, depth: int) -> None:
    rng = np.random.default_rng(seed)
    camera = CameraDescription("test", 40, 30, depth, 3.0)
    white, shape = camera.white_level, camera.shape
    dark = (white * 0.04 + rng.normal(0.0, 1.0, shape)).astype(np.float32)
    flat = rng.uniform(0.3, 1.0, shape).astype(np.float32)
    known = Calibration(camera, dark, flat, rng.random(shape) < 0.05, 0.1, 3.0, white)
    pixels = np.minimum(rng.integers(0, int(white * 1.1), shape), white).astype(np.uint16)
    frame = Frame(pixels, 1, 1, 10_000.0)
    region = RegionPixels.gathered(rng.choice(pixels.size, number, replace=False), known)
    plain, fast = region_signal(frame, region, known), region_signal(frame, region, known, compiled_sums)
    largest = known.counts_to_signal(10_000.0, 1.0, 1.0) * white / 0.3
    assert fast.saturated_share == plain.saturated_share
    assert fast.signal.value == pytest.approx(plain.signal.value, rel=1e-5, abs=1e-6 * largest)
    assert fast.signal.u == pytest.approx(plain.signal.u, rel=1e-4)
