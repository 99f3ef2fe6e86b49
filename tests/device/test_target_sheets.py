"""The printed sheets, drawn at a known resolution and measured by the steps that will look at them."""

import io
import re

import numpy as np
import pytest
from PIL import Image

from device.target_sheets import PAPERS_MM, pages, write
from shared.commissioning.grid_scale import dots, grid_scale
from shared.commissioning.sheet import well_places_mm
from shared.commissioning.slanted_edge import sharpness
from shared.errors import Refused

DPI = 60
MM_PER_PX = 25.4 / DPI


def drawn(page, dpi=DPI):
    """Grey values of a page, white 255."""
    out = io.BytesIO()
    page.savefig(out, dpi=dpi, format="png")
    return np.asarray(Image.open(out).convert("L"), np.float64)


def middle(plane, share):
    height, width = plane.shape
    rows, columns = round(height * share / 2), round(width * share / 2)
    return plane[height // 2 - rows : height // 2 + rows, width // 2 - columns : width // 2 + columns]


@pytest.mark.parametrize("paper", PAPERS_MM)
def test_dots_are_ten_millimetres_apart_and_straight(paper):
    plane = middle(drawn(pages(paper)[0]), 0.7)
    found = grid_scale(plane, 10.0, 250.0)
    assert found.mm_per_px == pytest.approx(MM_PER_PX, rel=1e-3)
    assert found.distortion_percent == pytest.approx(0, abs=0.05)
    assert found.dots > 100
    middle_dot = dots(plane)
    assert np.hypot(*(middle_dot - np.array(plane.shape)[::-1] / 2).T).min() < 1.0


def test_the_edge_leans_by_five_degrees_through_the_middle():
    found = sharpness(middle(drawn(pages("a4")[1], 100), 0.25) + 20)
    assert abs(found.lean_deg) == pytest.approx(5, abs=0.05)


def test_wells_lie_where_the_step_looks():
    plane = drawn(pages("a4")[3], 120)
    scale, centre = 25.4 / 120, np.array(plane.shape)[::-1] / 2
    for place in well_places_mm():
        x, y = (centre + np.array(place) / scale).astype(int)
        rim = round(4.0 / scale)
        assert plane[y - 3 : y + 4, x - 3 : x + 4].min() == 255, "empty in the middle"
        assert plane[y, x + rim - 2 : x + rim + 3].min() < 128, "and ringed 4 mm from it"


@pytest.mark.parametrize(("paper", "box"), [("a4", (841.89, 595.28)), ("letter", (792, 612))])
def test_pages_of_the_pdf_have_the_papers_size(tmp_path, paper, box):
    """In points of 1/72 inch: ISO 216 and ANSI sizes."""
    write(tmp_path / "target.pdf", paper)
    found = re.findall(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", (tmp_path / "target.pdf").read_bytes())
    assert len(found) == 4
    for one in found:
        assert [float(side) for side in one] == pytest.approx(box, abs=0.02)


def test_other_kinds_and_places_are_refused(tmp_path):
    with pytest.raises(Refused, match=r"let the name end in \.pdf"):
        write(tmp_path / "target.png", "a4")
    with pytest.raises(Refused, match="cannot be written"):
        write(tmp_path / "nowhere" / "target.pdf", "a4")
