"""The plain picture, which defines what is shown, against scipy and scikit-image."""

import numpy as np
import pytest
from scipy import ndimage
from skimage.measure import block_reduce, find_contours

from shared.calibration import Calibration
from shared.colour import NEUTRAL, tone
from shared.frame import CameraDescription, Frame
from shared.live_picture import (
    BLOCK_SHARE,
    DARK_STROKE,
    LIGHT_STROKE,
    SMOOTHED_BLOCK_SHARE,
    SMOOTHED_SHARE,
    Look,
    PlainPicture,
    block_any,
    block_means,
    contour_strokes,
    dash_pattern,
    dot_pattern,
    neighbourhood,
    smoothed,
    stripe_pattern,
)
from shared.settings import PictureSettings

BINOMIAL = np.outer([1, 2, 1], [1, 2, 1]) / 16


@pytest.fixture
def noise():
    return np.random.default_rng(1).normal(100, 20, (41, 57))


def test_smoothing_is_the_binomial_with_repeated_edges(noise):
    assert np.allclose(smoothed(noise), ndimage.convolve(noise, BINOMIAL, mode="nearest"))


def test_smoothing_leaves_the_stated_share_of_variance():
    draws = np.random.default_rng(2).normal(0, 1, (700, 700))
    assert (BINOMIAL**2).sum() == pytest.approx(SMOOTHED_SHARE)
    assert smoothed(draws).var() == pytest.approx(SMOOTHED_SHARE, rel=0.02)
    assert block_means(smoothed(draws)).var() == pytest.approx(SMOOTHED_BLOCK_SHARE, rel=0.03)
    assert block_means(draws).var() == pytest.approx(BLOCK_SHARE, rel=0.03)


def test_neighbourhoods_and_blocks(noise):
    levels = np.rint(noise / 10).astype(np.int8)
    assert np.array_equal(neighbourhood(levels, np.maximum), ndimage.maximum_filter(levels, 3, mode="nearest"))
    assert np.array_equal(neighbourhood(levels, np.minimum), ndimage.minimum_filter(levels, 3, mode="nearest"))
    even = noise[:40, :56]
    assert np.allclose(block_means(even), block_reduce(even, 2, np.mean))
    assert block_means(noise).shape == (21, 29)
    assert block_means(noise)[-1, -1] == pytest.approx(noise[-1, -1])
    assert np.array_equal(block_any(even > 120), block_reduce(even > 120, 2, np.any))


def test_strokes_lie_on_both_sides_of_the_contour():
    rows, columns = np.indices((80, 100))
    hill = 100 * np.exp(-(((rows - 40) / 20.0) ** 2 + ((columns - 50) / 28.0) ** 2))
    strokes = contour_strokes(hill, (20.0, 60.0))
    for level in (20.0, 60.0):
        line = np.concatenate(find_contours(hill, level))
        near = np.rint(line).astype(int)
        found = ndimage.maximum_filter((strokes == LIGHT_STROKE).astype(int), 3)[near[:, 0], near[:, 1]]
        assert found.all()
    inked = np.argwhere(strokes > 0)
    lines = np.concatenate([np.concatenate(find_contours(hill, level)) for level in (20.0, 60.0)])
    distance = np.sqrt(((inked[:, None] - lines[None]) ** 2).sum(-1)).min(1)
    assert distance.max() < 2.0
    light, dark = hill[strokes == LIGHT_STROKE], hill[strokes == DARK_STROKE]
    assert np.all((light >= 20) | (light >= 60))
    assert np.all(dark < 60)


def test_patterns_differ_by_shape_not_only_by_brightness():
    stripes, dots, dashes = (pattern((16, 16)) for pattern in (stripe_pattern, dot_pattern, dash_pattern))
    assert (stripes > 0).all()
    assert 0 < (dots > 0).mean() < 0.1
    assert 0.25 < (dashes > 0).mean() < 0.4
    longest = [
        max(len(run) for run in "".join("x" if ink else " " for ink in row).split()) for row in (dots[0], dashes[1])
    ]
    assert longest == [2, 5]
    for pattern in (stripes, dots, dashes):
        assert np.array_equal(pattern[:8, :8], pattern[8:, 8:])


def flat_frame(counts: int, lit: bool = True) -> tuple[Calibration, Frame]:
    camera = CameraDescription("test", 64, 48, 10, 40.0)
    pixels = np.full(camera.shape, counts, np.uint16)
    return Calibration.assumed(camera), Frame(pixels, 1, 1, 10_000.0, 1.0, 1.0 if lit else 0.0, lit)


def test_an_even_frame_is_drawn_in_one_colour():
    known, frame = flat_frame(540)
    planes = PlainPicture(known, PictureSettings()).draw(frame, Look("relative", (), 100.0))
    assert len(np.unique(planes.y)) == len(np.unique(planes.u)) == len(np.unique(planes.v)) == 1
    assert planes.u[0, 0] != NEUTRAL


def test_an_unlit_frame_is_grey_and_leaves_the_steadied_signal_alone():
    known, lit = flat_frame(540)
    _, unlit = flat_frame(60, lit=False)
    picture, other = PlainPicture(known, PictureSettings()), PlainPicture(known, PictureSettings())
    look = Look("relative", (), 100.0)
    picture.draw(lit, look)
    between = picture.draw(unlit, look)
    assert (between.u == NEUTRAL).all()
    assert between.y[0, 0] == round(255 * float(tone(np.array(20 / (1023 - 40)))))
    other.draw(lit, look)
    assert np.array_equal(picture.draw(lit, look).y, other.draw(lit, look).y)


def test_what_is_too_uncertain_is_dashed_over_the_grey_picture():
    known, frame = flat_frame(540)
    look = Look("relative", (), 100.0, reference_u=12.0)
    planes = PlainPicture(known, PictureSettings()).draw(frame, look)
    assert (planes.u == NEUTRAL).all()
    assert (planes.v == NEUTRAL).all()
    dashes, plain_grey = dash_pattern((24, 32)), PlainPicture(known, PictureSettings()).draw(frame, Look()).y
    assert np.array_equal(planes.y[::2, ::2], np.where(dashes > 0, dashes, plain_grey[::2, ::2]))
    sure = PlainPicture(known, PictureSettings(widest_u_percent=8.0)).draw(frame, look)
    assert (sure.u != NEUTRAL).all()


def test_a_dark_frame_is_dotted_and_a_clipped_one_striped():
    known, dark = flat_frame(40)
    planes = PlainPicture(known, PictureSettings()).draw(dark, Look("relative", (), 100.0))
    assert (planes.u == NEUTRAL).all()
    dots = dot_pattern((24, 32))
    assert np.array_equal(planes.y[::2, ::2], dots)
    _, bright = flat_frame(1023)
    planes = PlainPicture(known, PictureSettings()).draw(bright, Look("relative", (), 100.0))
    assert np.array_equal(planes.y[::2, ::2], stripe_pattern((24, 32)))
