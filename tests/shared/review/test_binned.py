"""A camera of half the size: the same signal, and the noise that four pixels' mean has (EMVA 1288, photon transfer)."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.calibration import Calibration
from shared.frame import CameraDescription, Frame
from shared.review.binned import binned_calibration, binned_frame
from shared.signal import counts_variance


def calibration(height=32, width=48, **known):
    return replace(Calibration.assumed(CameraDescription("quay", width, height, mm_per_px=0.2)), **known)


@given(st.floats(5.0, 900.0), st.floats(0.05, 0.4), st.floats(1.0, 6.0))
def test_the_model_of_the_half_camera_gives_a_quarter_of_the_variance(counts, k, read):
    whole = calibration(counts_per_electron=k, read_noise_electrons=read)
    quantisation = 1.0 / 12.0  # each camera's own rounding
    half = binned_calibration(whole)
    of_four = (counts_variance(counts, 1.0, whole) - quantisation) / 4.0
    assert counts_variance(counts, 1.0, half) - quantisation == pytest.approx(of_four, rel=1e-9)


def test_binned_frames_scatter_as_their_model_says():
    whole = calibration(256, 256)
    k, read, electrons = whole.counts_per_electron, whole.read_noise_electrons, 3000.0
    rng = np.random.default_rng(3)
    counts = k * (rng.poisson(electrons, (256, 256)) + rng.normal(0.0, read, (256, 256)))
    frame = binned_frame(Frame(np.rint(counts).astype(np.uint16), 0, 0, 8000.0), whole)
    expected = counts_variance(k * electrons, 1.0, binned_calibration(whole)) + 1.0 / 48.0
    assert frame.pixels.var(dtype=float) == pytest.approx(float(expected), rel=0.05)
    assert frame.pixels.mean() == pytest.approx(k * electrons, abs=0.2)


def test_an_odd_edge_is_left_out_and_scale_doubles():
    whole = calibration(33, 49)
    half = binned_calibration(whole)
    assert half.camera.shape == (16, 24)
    assert half.camera.mm_per_px == pytest.approx(0.4)
    assert binned_frame(Frame(np.zeros((33, 49), np.uint16), 0, 0, 8000.0), whole).pixels.shape == (16, 24)


def test_a_block_with_a_saturated_pixel_is_saturated_and_no_other_becomes_so():
    whole = calibration()
    top = whole.saturation_counts
    pixels = np.full(whole.camera.shape, top - 1, np.uint16)
    pixels[4, 7] = top
    frame = binned_frame(Frame(pixels, 0, 0, 8000.0), whole)
    assert np.argwhere(frame.pixels >= top).tolist() == [[2, 3]]
    broken = replace(whole, defects=pixels == top)
    assert not (binned_frame(Frame(pixels, 0, 0, 8000.0), broken).pixels >= top).any()
    assert binned_calibration(broken).defects[2, 3]
