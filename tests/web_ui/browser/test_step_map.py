"""What a step measured can be kept, as a picture with its scale and as a table: over the picture's parts, or as curves."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Page, expect

from tests.web_ui.browser.conftest import WebProcess, expect_live
from tests.web_ui.browser.page_device import PageDevice
from tests.web_ui.browser.test_commissioning_place import begin
from tests.web_ui.fake_commissioning import FLAT_MAP, LINES

pytestmark = pytest.mark.browser


def test_a_map_is_kept_as_a_picture_and_as_a_table(
    web: WebProcess, device: PageDevice, opened: Callable[..., Page]
) -> None:
    page = opened(f"{web.url}/#pair={web.pair}")
    expect_live(page)
    begin(page, device, "flat")
    device.commissioning.finish()
    cells = page.locator(".step-map td")
    expect(cells).to_have_count(len(FLAT_MAP.x))
    with page.expect_download() as saving:
        page.get_by_role("button", name="Save table").tap()
    rows = Path(saving.value.path()).read_text().split()
    assert [float(one) for row in rows for one in row.split(",")] == pytest.approx(FLAT_MAP.x)
    with page.expect_download() as saving:
        page.get_by_role("button", name="Save picture").tap()
    with Image.open(saving.value.path()) as picture:
        saved = np.asarray(picture.convert("L"), np.float64)
    side = (saved.shape[1] - 32) / FLAT_MAP.columns  # a margin of 16 on both sides
    shades = saved[saved.shape[0] // 2, [int(16 + side * (column + 0.1)) for column in range(FLAT_MAP.columns)]]
    assert np.corrcoef(shades, FLAT_MAP.x[: FLAT_MAP.columns])[0, 1] > 0.999  # its rows differ by a constant only


def test_curves_are_kept_as_a_picture_and_as_a_table(
    web: WebProcess, device: PageDevice, opened: Callable[..., Page]
) -> None:
    page = opened(f"{web.url}/#pair={web.pair}")
    expect_live(page)
    begin(page, device, "gain")
    device.commissioning.finish()
    with page.expect_download() as saving:
        page.get_by_role("button", name="Save table").tap()
    assert saving.value.suggested_filename == "gain.csv"
    names, *rows = Path(saving.value.path()).read_text().strip().splitlines()
    assert names.endswith(",".join(line.name for line in LINES))
    assert [float(row.split(",")[0]) for row in rows] == [0.0, 1.0, 2.0]
    with page.expect_download() as saving:
        page.get_by_role("button", name="Save picture").tap()
    assert saving.value.suggested_filename == "gain.png"
    with Image.open(saving.value.path()) as picture:
        assert np.ptp(np.asarray(picture.convert("L"), np.float64)) > 100
