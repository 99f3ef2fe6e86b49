"""Counts to signal, and its noise, against EMVA 1288 figures, scipy and repeated draws."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import ndimage

from shared.calibration import Calibration
from shared.errors import Refused
from shared.frame import CameraDescription, Frame
from shared.signal import (
    DefectSources,
    Measured,
    RegionPixels,
    corrected_counts,
    counts_variance,
    region_signal,
    saturated,
    signal,
)


def calibration(shape=(24, 32), k=0.25, read=3.0, defects=(), flat=None, dark=20.0) -> Calibration:
    camera = CameraDescription("test", shape[1], shape[0], 12, dark)
    bad = np.zeros(shape, bool)
    for at in defects:
        bad[at] = True
    plane = np.ones(shape, np.float32) if flat is None else flat.astype(np.float32)
    return Calibration(camera, np.full(shape, dark, np.float32), plane, bad, k, read, 4095)


def test_signal_to_noise_of_a_pixel_is_that_of_emva_1288():
    # EMVA 1288 Release 4.0 Linear, equation of the SNR: K 0.25, sigma_d 3 e, 5000 e (10 000 photons at QE 0.5) give 70.63772
    counts = 0.25 * 5000
    assert counts / math.sqrt(counts_variance(counts, 1.0, calibration())) == pytest.approx(70.63772, rel=1e-6)


@given(
    exposure_us=st.floats(100, 1e5),
    gain=st.floats(1, 10),
    level=st.floats(0.05, 1),
    glow=st.floats(1e-3, 1e2),
)
def test_signal_does_not_know_exposure_gain_or_light(exposure_us, gain, level, glow):
    flat = np.linspace(0.4, 1.0, 24 * 32).reshape(24, 32)
    known = calibration(flat=flat, dark=0.0)
    factor = known.counts_to_signal(exposure_us, gain, level)
    pixels = np.clip(np.rint(glow / factor * known.flat.astype(np.float64)), 0, 65535).astype(np.uint16)
    seen = signal(Frame(pixels, 0, 0, exposure_us, gain, level), known, DefectSources.around(known.defects))
    rounding = 0.5 * factor / known.flat
    inside = pixels < 65535
    assert np.all(np.abs(seen - glow)[inside] <= 1.0001 * rounding[inside] + 1e-9 * glow)


def test_defects_are_the_mean_of_their_eight_neighbours():
    rng = np.random.default_rng(3)
    pixels = rng.integers(100, 4000, (24, 32)).astype(np.uint16)
    places = [(5, 5), (12, 20), (20, 9)]
    known = calibration(defects=places)
    ring = np.ones((3, 3))
    ring[1, 1] = 0
    means = ndimage.convolve(pixels - 20.0, ring / 8)
    counts = corrected_counts(pixels, known, DefectSources.around(known.defects))
    for at in places:
        assert counts[at] == pytest.approx(means[at], rel=1e-12)
    good = ~known.defects
    assert np.array_equal(counts[good], pixels[good] - 20.0)


def test_defects_in_corners_and_clusters_use_good_pixels_alone():
    places = [(0, 0), (10, 10), (10, 11), (11, 10), (11, 11), (9, 9), (9, 10), (9, 11), (10, 9), (11, 9), (23, 31)]
    known = calibration(defects=places)
    pixels = np.full((24, 32), 520, np.uint16)
    pixels[known.defects] = 4095
    counts = corrected_counts(pixels, known, DefectSources.around(known.defects))
    assert np.all(counts == 500.0)
    assert not saturated(pixels, known).any()


def test_a_camera_of_defects_is_refused():
    with pytest.raises(Refused, match="every pixel"):
        DefectSources.around(np.ones((4, 4), bool))


def test_uncertainty_of_a_region_is_the_spread_of_repeated_draws():
    flat = np.linspace(0.5, 1.0, 24 * 32).reshape(24, 32)
    known = calibration(flat=flat, defects=[(10, 10)])
    region = RegionPixels.gathered(np.arange(200, 420), known)
    rng = np.random.default_rng(4)
    electrons = 900.0 * flat
    values, claimed = [], []
    for _ in range(600):
        draw = (rng.poisson(electrons) + rng.normal(0, 3.0, flat.shape)) * 0.25 + 20.0
        frame = Frame(np.rint(draw).astype(np.uint16), 0, 0, 5000.0)
        found = region_signal(frame, region, known)
        values.append(found.signal.value)
        claimed.append(found.signal.u)
    # 600 draws know a standard deviation to 1/sqrt(2 x 599) = 2.9 %; four of those
    assert np.std(values, ddof=1) == pytest.approx(np.mean(claimed), rel=0.12)
    assert np.mean(values) == pytest.approx(900.0 * 0.25 / 5.0, abs=4 * np.std(values) / math.sqrt(600))


def test_saturation_counts_the_good_pixels_alone():
    known = calibration(defects=[(0, 0)])
    pixels = np.full((24, 32), 1000, np.uint16)
    pixels[0, 0] = pixels[0, 1] = 4095
    found = region_signal(Frame(pixels, 0, 0, 1000.0), RegionPixels.gathered(np.arange(101), known), known)
    assert found.saturated_share == pytest.approx(0.01)
    assert found.is_saturated


def test_an_unlit_frame_and_a_region_of_defects_are_refused():
    known = calibration(defects=[(0, 0)])
    frame = Frame(np.zeros((24, 32), np.uint16), 0, 0, 1000.0, 1.0, 0.0, False)
    with pytest.raises(Refused, match="unlit"):
        signal(frame, known, DefectSources.around(known.defects))
    with pytest.raises(Refused, match="defect"):
        RegionPixels.gathered(np.array([0]), known)


def test_signal_to_noise_of_an_exact_value_is_infinite():
    assert Measured(1.0, 0.0).signal_to_noise == math.inf
    assert Measured(3.0, 2.0).signal_to_noise == 1.5
