"""The legend shows the colours that the picture uses, at the places its numbers say, and fits its width."""

import numpy as np
import pytest
from PIL import Image

from shared.colour import PercentColours
from shared.legend import BACKGROUND, SCALE_GREY, Legend, drawn_legend, with_legend

LEGEND = Legend(120.0, 0.75, (20.0, 40.0, 60.0), "base", has_percent=True, baseline=True)


def test_the_scale_has_the_colour_of_each_percentage():
    width = 1456
    pixels = np.asarray(drawn_legend(width, LEGEND).convert("YCbCr")).astype(float)
    margin = round(width / 64 * 1.5)
    inner = width - 2 * margin
    colours = PercentColours(120.0, 0.75)
    row = margin + round(width / 64 * 2) + 8
    for percent in (2.0, 30.0, 50.0, 75.0, 110.0):
        seen = pixels[row, margin + round(percent / 120 * (inner - 1))]
        cover = colours.opacity_at(np.array(percent))
        wanted = SCALE_GREY + cover * (colours.luma(np.array(percent)) - SCALE_GREY)
        assert seen[0] == pytest.approx(float(wanted), abs=2)
        assert seen[1:] == pytest.approx(np.array(colours.chroma(np.array(percent))), abs=3)


@pytest.mark.parametrize("width", [640, 728, 1456, 2592])
@pytest.mark.parametrize("has_percent", [True, False])
def test_nothing_runs_over_the_edge(width, has_percent):
    legend = Legend(200.0, 0.75, (20.0, 40.0, 60.0, 150.0), "the healthy side of the flap", has_percent, True)
    pixels = np.asarray(drawn_legend(width, legend))
    margin = round(max(width / 64, 14))
    for strip in (pixels[:, :margin], pixels[:, -margin:], pixels[-4:]):
        assert (strip == BACKGROUND).all()


def test_the_words_of_each_mark_are_there_only_when_it_can_appear():
    whole = drawn_legend(1456, LEGEND).height
    without_lines = drawn_legend(1456, Legend(120.0, 0.75, (), "base", True)).height
    grey = drawn_legend(1456, Legend(120.0, 0.75, (), "", False)).height
    assert whole > without_lines > grey


def test_a_small_picture_is_kept_whole_above_a_legend_wide_enough_to_read():
    picture = Image.new("RGB", (100, 50), (200, 10, 10))
    whole = np.asarray(with_legend(picture, LEGEND))
    assert whole.shape[1] == 640
    assert (whole[:50] == (200, 10, 10)).all(axis=-1).sum() == 100 * 50
