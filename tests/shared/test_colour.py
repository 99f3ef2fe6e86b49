"""The colour map against matplotlib, CIE lightness by scikit-image, and JPEG's colours by Pillow."""

import matplotlib
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from scipy.spatial import cKDTree
from skimage.color import rgb2lab

from shared.colour import (
    CLEAR_PERCENT,
    COVERED_PERCENT,
    NEUTRAL,
    TONE_KNOTS,
    VIRIDIS,
    PercentColours,
    luma_chroma,
    tone,
)

# What a deuteranope and a protanope see, on linear light (Vienot, Brettel and Mollon 1999, Color Res Appl 24:243; from memory)
DEUTERANOPE = np.array([[0.29275, 0.70725, 0.0], [0.29275, 0.70725, 0.0], [-0.02234, 0.02234, 1.0]])
PROTANOPE = np.array([[0.11238, 0.88762, 0.0], [0.11238, 0.88762, 0.0], [0.00401, -0.00401, 1.0]])


def test_the_map_is_matplotlibs_viridis():
    assert np.abs(np.array(matplotlib.colormaps["viridis"].colors) * 255 - VIRIDIS).max() <= 0.5 + 1e-9


def test_lightness_rises_evenly():
    lightness = rgb2lab(VIRIDIS[None] / 255.0)[0, :, 0]
    # viridis runs from L* 14.95 to 90.90, linear with R^2 0.9996 (computed from matplotlib 3.10's table)
    assert lightness[0] == pytest.approx(14.95, abs=0.1)
    assert lightness[-1] == pytest.approx(90.90, abs=0.1)
    assert np.diff(lightness[::2]).min() > 0  # neighbours may tie or swap in 8 bits
    assert np.corrcoef(lightness, np.arange(256))[0, 1] ** 2 > 0.999
    # the check would refuse a rainbow: R^2 0.083 for matplotlib's jet (computed from its table)
    rainbow = rgb2lab(matplotlib.colormaps["jet"](np.arange(256))[None, :, :3])[0, :, 0]
    assert np.corrcoef(rainbow, np.arange(256))[0, 1] ** 2 == pytest.approx(0.083, abs=0.002)


@pytest.mark.parametrize("seen", [DEUTERANOPE, PROTANOPE])
def test_lightness_rises_for_the_colour_blind_too(seen):
    value = VIRIDIS / 255.0
    linear = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    dimmed = np.clip(linear @ seen.T, 0, 1)
    shown = np.where(dimmed <= 0.0031308, 12.92 * dimmed, 1.055 * dimmed ** (1 / 2.4) - 0.055)
    lightness = rgb2lab(shown[None])[0, :, 0]
    assert np.diff(lightness[::8]).min() > 0
    assert lightness[-1] - lightness[0] > 60


def test_luma_and_chroma_are_those_of_jpeg():
    planes = np.stack(luma_chroma(VIRIDIS), axis=-1)
    by_pillow = np.asarray(Image.fromarray(VIRIDIS[None]).convert("YCbCr"))[0]
    assert np.abs(planes - by_pillow).max() <= 1.0


STEPS = 4001


def read_back(colours: PercentColours, blue: np.ndarray, red: np.ndarray) -> np.ndarray:
    """The percentage whose chroma lies nearest, on a fine grid."""
    steps = np.linspace(0, colours.full_scale_percent, STEPS)
    return steps[cKDTree(np.column_stack(colours.chroma(steps))).query(np.column_stack([blue, red]))[1]]


@given(st.floats(-50, 500), st.sampled_from([50.0, 120.0, 200.0]))
def test_percent_can_be_read_back_from_chroma_to_a_step_of_the_table(percent, full_scale):
    colours = PercentColours(full_scale, 0.75)
    nearest = float(read_back(colours, *colours.chroma(np.array([percent])))[0])
    if percent <= CLEAR_PERCENT:
        assert nearest <= CLEAR_PERCENT
    else:
        bound = full_scale / 255 + 0.5 * full_scale / (STEPS - 1)
        assert nearest == pytest.approx(min(percent, full_scale), abs=bound)


def test_two_steps_of_the_table_have_one_chroma_so_that_no_finer_reading_can_be_promised():
    # 8 bits round them together; matplotlib's own numbers, which have more digits, differ there as everywhere
    steps = np.hypot(*np.diff(luma_chroma(VIRIDIS)[1:], axis=1))
    assert np.flatnonzero(steps == 0).tolist() == [112, 129]
    unrounded = 255.0 * np.array(matplotlib.colormaps["viridis"].colors)
    assert np.hypot(*np.diff(luma_chroma(unrounded)[1:], axis=1)).min() > 0.1
    colours = PercentColours(120.0, 0.75)
    between = np.array([129.0, 130.0]) / 255.0 * 120.0
    assert np.ptp(colours.chroma(between), axis=1) == pytest.approx(0, abs=1e-9)


def test_percent_read_from_a_picture_of_whole_numbers_is_right_within_a_point():
    # whole numbers of Cb and Cr, as a picture has them before JPEG loses more; at full scale 120 % and the usual opacity
    colours = PercentColours(120.0, 0.75)
    percent = np.linspace(COVERED_PERCENT, 120.0, 20_001)
    error = read_back(colours, *(np.rint(plane) for plane in colours.chroma(percent))) - percent
    assert np.abs(error).max() < 1.05
    assert 0.2 < np.sqrt(np.mean(error**2)) < 0.3


def test_low_values_are_clear_and_high_ones_translucent():
    colours = PercentColours(120.0, 0.75)
    assert list(colours.opacity_at(np.array([-5.0, 0.0, CLEAR_PERCENT, COVERED_PERCENT, 300.0]))) == [
        0,
        0,
        0,
        0.75,
        0.75,
    ]
    assert colours.chroma(np.array([0.0])) == (NEUTRAL, NEUTRAL)


@given(st.floats(0, 1), st.floats(0, 1))
def test_tone_rises_from_black_to_white(one, other):
    low, high = sorted((one, other))
    assert tone(np.array(low)) <= tone(np.array(high))
    assert tone(np.array(0.0)) == 0
    assert tone(np.array(1.0)) == 1
    assert all(tone(np.array(share)) == shown for share, shown in TONE_KNOTS)
