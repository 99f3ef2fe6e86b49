"""Sharpness against blur whose transfer is known in closed form: Gaussian of sigma times the pixel's own box."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr

from shared.commissioning.slanted_edge import sharpness
from shared.errors import Refused

MTF50 = {0.4: 0.376638, 0.5: 0.323088, 0.6: 0.280730, 0.8: 0.220124, 1.0: 0.179965, 1.2: 0.151796}
"""Computed from exp(-2 (pi sigma f)^2) sinc(f) = 1/2 by bisection, in cycles a pixel."""
FINE = 8


def edge(sigma, lean_deg=5.0, shape=(120, 80), low=40.0, high=400.0, place=0.3):
    """Area-sampled: the pixel's box is integrated by 8 x 8 points."""
    y, x = ((np.arange(size * FINE) + 0.5) / FINE for size in shape)
    lean = np.radians(lean_deg)
    across = (x[None, :] - shape[1] / 2 - place) * np.cos(lean) - (y[:, None] - shape[0] / 2) * np.sin(lean)
    fine = low + (high - low) * ndtr(across / sigma)
    return fine.reshape(shape[0], FINE, shape[1], FINE).mean(axis=(1, 3))


@pytest.mark.parametrize("sigma", MTF50)
def test_half_contrast_is_where_it_must_be(sigma):
    found = sharpness(edge(sigma))
    assert found.mtf50_cycles_per_px == pytest.approx(MTF50[sigma], abs=0.01)
    assert found.lean_deg == pytest.approx(5, abs=0.01)
    truth = np.exp(-2 * (np.pi * sigma * np.array(found.frequency_cycles_per_px)) ** 2)
    truth *= np.sinc(found.frequency_cycles_per_px)
    assert np.abs(np.array(found.contrast) - truth).max() < 0.01


@settings(max_examples=25, deadline=None)
@given(st.floats(3, 9), st.sampled_from((-1, 1)), st.booleans(), st.booleans(), st.floats(-2, 2))
def test_whichever_way_it_leans_or_faces(lean, sign, turned, mirrored, place):
    plane = edge(0.8, sign * lean, place=place)
    plane = plane.T if turned else plane
    plane = plane[:, ::-1] if mirrored else plane
    assert sharpness(plane).mtf50_cycles_per_px == pytest.approx(MTF50[0.8], abs=0.01)


def test_noise_moves_it_little_and_is_in_its_uncertainty():
    rng = np.random.default_rng(4)
    found = [sharpness(edge(0.8) + rng.normal(0, 3, (120, 80))) for _ in range(12)]
    off = np.array([one.mtf50_cycles_per_px for one in found]) - MTF50[0.8]
    assert np.abs(off).max() < 0.02
    assert np.median([one.mtf50_cycles_per_px_u for one in found]) < 0.02


def test_in_millimetres():
    found = sharpness(edge(0.8), mm_per_px=0.14)
    assert found.mtf50_cycles_per_mm == pytest.approx(found.mtf50_cycles_per_px / 0.14)


@pytest.mark.parametrize(
    ("plane", "words"),
    [
        (np.full((80, 80), 50.0), "no clear edge"),
        (np.full((80, 80), np.nan), "not numbers"),
        (edge(0.8, shape=(30, 60)), "too small"),
        (edge(0.8, lean_deg=0.5), "leans by: 0.5 degrees"),
        (edge(0.8, lean_deg=25), "leans by: 25"),
        (edge(0.8, place=34), "no clear edge|runs out|lost in noise"),
    ],
)
def test_what_is_no_edge_is_refused(plane, words):
    with pytest.raises(Refused, match=words):
        sharpness(plane)
