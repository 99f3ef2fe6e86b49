"""What gloves and two metres need: targets, sizes, nothing over anything, at both ways to hold a tablet."""

import contextlib
from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from shared.protocol import control as c
from tests.web_ui.browser.conftest import WebProcess, expect_live, in_control, open_sheet
from tests.web_ui.browser.page_device import PageDevice

pytestmark = pytest.mark.browser

BOXES = """() => [...document.querySelectorAll("button, input, a, .status-cell")]
  .filter((one) => one.checkVisibility()).map((one) => {
  const target = one.closest("label") ?? one;
  const box = target.getBoundingClientRect();
  return { what: one.id || one.textContent, left: box.left, top: box.top, right: box.right, bottom: box.bottom,
           spill: Math.max(one.scrollWidth - one.clientWidth, 0), touch: !one.matches(".status-cell"),
           inSheet: !!one.closest(".sheet") };
})"""

SMALL_TEXT = """() => [...document.querySelectorAll("body *")].filter((one) => one.checkVisibility()
  && [...one.childNodes].some((node) => node.nodeType === 3 && node.textContent.trim() !== "")
  && parseFloat(getComputedStyle(one).fontSize) < 16).map((one) => one.textContent)"""

SHEETS = {name: name for name in ("Regions", "Contours", "Note", "More", "Exposure", "Case", "Cautions")} | {
    "You control": "Tablets"
}


LIT = {"state": "lit", "level": 1.0, "wanted_level": 1.0, "wanted_on": True, "lease_left_ms": 100.0}


@pytest.fixture
def busy(web: WebProcess, device: PageDevice, opened: Callable[..., Page], size: tuple[int, int]) -> Page:
    """A live place in which everything happens at once, with the longest words there are."""
    page = opened(f"{web.url}/#pair={web.pair}", size)
    expect_live(page)
    in_control(page, device)  # what the tablet before it asked of the light has ended
    device.change(
        reference=c.RegionState("Reference:100,100,60,60", "Reference", 100.0, 0.5),
        regions=tuple(
            c.RegionState(f"Region {n}:{200 + 90 * n},{150 * n},80,80", f"Region {n}", None, None) for n in range(1, 6)
        ),
        light=LIT,
        recording={"name": "K7-Heron-9", "gaps": 1234, "free_mb": 987_654.0},
        calibration="assumed",
        camera={"lost_frames": 12_345, "rate_hz": 143.7},
    )
    expect_live(page)
    expect(page.locator("#labels .label")).to_have_count(6)
    expect(page.locator("#curves-chart .chart-key")).to_have_count(6)
    lit(page, device)
    return page


def lit(page: Page, device: PageDevice) -> None:
    """See to it that the light is shown as on: a tablet of the test before may still have put it out as it went."""
    for _ in range(10):
        device.change(light=LIT)
        with contextlib.suppress(AssertionError):
            expect(page.locator("#light-word")).to_have_text("Light on 100 %", timeout=1_000)
            return
    raise AssertionError("the light is put out again and again")


def check(page: Page, size: tuple[int, int]) -> None:
    boxes: list[dict[str, Any]] = page.evaluate(BOXES)
    for box in boxes:
        if box["touch"]:
            assert box["right"] - box["left"] >= 48, box
            assert box["bottom"] - box["top"] >= 48, box
        if not box["inSheet"]:
            assert box["left"] >= 0, box
            assert box["top"] >= 0, box
            assert box["right"] <= size[0], box
            assert box["bottom"] <= size[1], box
        assert box["spill"] == 0, box
    fixed = [box for box in boxes if not box["inSheet"]]
    for index, one in enumerate(fixed):
        for other in fixed[index + 1 :]:
            apart = (
                one["right"] <= other["left"] or other["right"] <= one["left"]
                or one["bottom"] <= other["top"] or other["bottom"] <= one["top"]
            )  # fmt: skip
            assert apart, (one, other)
    assert page.evaluate("() => [document.documentElement.scrollWidth, document.documentElement.scrollHeight]") == list(
        size
    )
    assert page.evaluate(SMALL_TEXT) == []


def test_live_place_fits(busy: Page, size: tuple[int, int]) -> None:
    check(busy, size)
    for name in ("#act-dye", "#act-record", "#act-still", "#act-light", "#act-view"):
        box = busy.locator(name).bounding_box()
        assert box is not None
        assert box["width"] >= 64, name
        assert box["height"] >= 64, name
    for label in busy.locator("#labels .label-value, .status-value").all():
        assert 28 <= float(label.evaluate("(one) => parseFloat(getComputedStyle(one).fontSize)")) <= 40


def test_every_sheet_fits_and_leaves_light_and_status_in_reach(busy: Page, size: tuple[int, int]) -> None:
    for opener, name in SHEETS.items():
        open_sheet(busy, opener)
        sheet = busy.get_by_role("region", name=name)
        expect(sheet).to_be_visible()
        check(busy, size)
        box = sheet.bounding_box()
        status = busy.locator("#status").bounding_box()
        light = busy.locator("#act-light").bounding_box()
        assert box is not None
        assert status is not None
        assert light is not None
        assert box["y"] >= status["y"] + status["height"]
        assert box["x"] + box["width"] <= light["x"] or box["y"] + box["height"] <= light["y"]
        assert sheet.evaluate("(one) => one.scrollWidth <= one.clientWidth")


def test_nothing_moves_when_values_change(busy: Page, device: PageDevice) -> None:
    places = "() => [...document.querySelectorAll('button, .status-cell, #picture, #legend, .label')].map((one) => {"
    places += " const box = one.getBoundingClientRect(); return [one.id, box.x, box.y, box.width, box.height]; })"
    before = busy.evaluate(places)
    device.change(
        light={"state": "off", "level": 0.0, "wanted_on": False},
        recording={"name": None, "gaps": 0, "free_mb": 640.0},
        camera={"lost_frames": 0, "rate_hz": 9.8},
        calibration="commissioned",
    )
    expect(busy.locator("#recording-word")).to_have_text("Not recording")
    device.fall_silent()
    expect(busy.locator("#live-word")).to_have_text("NOT LIVE")
    assert busy.evaluate(places) == before
