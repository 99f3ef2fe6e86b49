"""Polygons, lines and moves by touch and by key; zoom; the frozen picture; the scale: on the live place in a real browser."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from shared.protocol import control as c
from shared.region import Region
from tests.web_ui.browser.accessibility import axe_finds
from tests.web_ui.browser.conftest import (
    PATIENCE_MS,
    WebProcess,
    drag_on_picture,
    expect_live,
    open_sheet,
    point_on_picture,
)
from tests.web_ui.browser.page_device import PageDevice
from tests.web_ui.fake_device import HEIGHT, MM_PER_PX, WIDTH

pytestmark = pytest.mark.browser

SKIN = c.RegionState("Reference:100,100,60,60", "Reference", 100.0, 0.5)
TIP = c.RegionState("Tip:900,500,80,80", "Tip", None, None)


def drawn(requests: list[object]) -> list[Region]:
    return [Region.parse(request.region) for request in requests if isinstance(request, c.PutRegion)]


def touch(page: Page, x: float, y: float) -> None:
    page.touchscreen.tap(*point_on_picture(page, x, y))


@pytest.fixture
def marked(live: Page, device: PageDevice) -> Page:
    """A live place with a reference and a region."""
    device.change(reference=SKIN, regions=(TIP,), light={"state": "lit", "level": 0.6, "wanted_on": True})
    expect(live.locator("#labels .label")).to_have_count(2)
    return live


def test_a_polygon_is_drawn_corner_by_corner_and_closed_at_its_first(marked: Page, device: PageDevice) -> None:
    open_sheet(marked, "Regions")
    marked.get_by_role("button", name="Draw a polygon").click()
    words, done = marked.locator("#drawing-words"), marked.locator("#drawing-done")
    expect(words).to_have_text("Polygon: touch its first corner, or draw round the tissue.")
    expect(done).to_be_disabled()
    for corner in ((0.2, 0.2), (0.5, 0.25), (0.9, 0.9), (0.4, 0.7)):
        touch(marked, *corner)
        if corner == (0.9, 0.9):  # a slip
            expect(words).to_contain_text("3 corners")
            marked.locator("#drawing-undo").click()
            expect(words).to_contain_text("Two corners")
    expect(words).to_contain_text("3 corners")
    touch(marked, 0.21, 0.21)
    (region,) = drawn(device.wait_for(lambda asked: bool(drawn(asked))))
    assert region.shape == "polygon"
    wanted = [(0.2, 0.2), (0.5, 0.25), (0.4, 0.7)]
    for x, y, (share_x, share_y) in zip(region.numbers[0::2], region.numbers[1::2], wanted, strict=True):
        assert abs(x - share_x * WIDTH) <= 3
        assert abs(y - share_y * HEIGHT) <= 3
    expect(marked.locator("#drawing")).to_be_hidden()
    marked.locator("#line").get_by_role("button", name="Undo").click()
    device.wait_for(lambda asked: c.RemoveRegion("A") in asked)


def test_a_line_follows_a_finger_and_says_how_wide_it_is(marked: Page, device: PageDevice) -> None:
    open_sheet(marked, "Regions")
    marked.get_by_role("button", name="Draw a line").click()
    drag_on_picture(marked, (0.2, 0.3), (0.7, 0.6))
    marked.locator("#drawing-done").click()
    (region,) = drawn(device.wait_for(lambda asked: bool(drawn(asked))))
    assert region.shape == "line"
    width, x1, y1, *_, x2, y2 = region.numbers
    assert width == round(3 / MM_PER_PX)
    assert abs(x1 - 0.2 * WIDTH) <= 16
    assert abs(y1 - 0.3 * HEIGHT) <= 16
    assert abs(x2 - 0.7 * WIDTH) <= 3
    assert abs(y2 - 0.6 * HEIGHT) <= 3
    expect(marked.locator("#line-text")).to_have_text("Line A added: its value is the mean over 3.0 mm along it.")


def test_drawing_by_keys_alone_and_leaving_it(marked: Page, device: PageDevice) -> None:
    open_sheet(marked, "Regions")
    marked.get_by_role("button", name="Draw a polygon").press("Enter")
    expect(marked.locator("#canvas")).to_be_focused()
    for key in (
        "Enter",
        "ArrowRight",
        "ArrowRight",
        "ArrowRight",
        "Enter",
        "ArrowDown",
        "ArrowDown",
        "ArrowDown",
        "Enter",
    ):
        marked.keyboard.press(key)
    expect(marked.locator("#drawing-words")).to_contain_text("3 corners")
    marked.keyboard.press("Backspace")
    expect(marked.locator("#drawing-words")).to_contain_text("Two corners")
    marked.keyboard.press("Enter")
    marked.keyboard.press("Enter")  # twice at one place: done
    (region,) = drawn(device.wait_for(lambda asked: bool(drawn(asked))))
    assert len(region.numbers) == 6
    open_sheet(marked, "Regions")
    marked.get_by_role("button", name="Draw a line").press("Enter")
    marked.keyboard.press("Enter")
    marked.keyboard.press("Escape")
    expect(marked.locator("#drawing")).to_be_hidden()
    assert len(drawn(device.requests)) == 1


def test_a_region_is_moved_and_the_move_undone(marked: Page, device: PageDevice) -> None:
    open_sheet(marked, "Regions")
    marked.locator("#regions-list .row", has_text="Tip").get_by_role("button", name="Move", exact=True).click()
    expect(marked.locator("#drawing-words")).to_contain_text("where the middle of Tip shall lie")
    touch(marked, 0.25, 0.75)
    (region,) = drawn(device.wait_for(lambda asked: bool(drawn(asked))))
    assert region.name == "Tip"
    assert region.numbers[2:] == (80, 80)
    assert abs(region.numbers[0] + 40 - 0.25 * WIDTH) <= 3
    marked.locator("#line").get_by_role("button", name="Undo").click()
    device.wait_for(lambda asked: asked[-1] == c.PutRegion("Tip:900,500,80,80"))


def test_a_removed_region_comes_back(marked: Page, device: PageDevice) -> None:
    open_sheet(marked, "Regions")
    marked.locator("#regions-list .row", has_text="Tip").get_by_role("button", name="Remove").click()
    device.wait_for(lambda asked: c.RemoveRegion("Tip") in asked)
    marked.locator("#line").get_by_role("button", name="Undo").click()
    device.wait_for(lambda asked: asked[-1] == c.PutRegion("Tip:900,500,80,80"))


def test_touches_map_right_when_closer_and_marks_follow(marked: Page, device: PageDevice) -> None:
    """Twice as close about a quarter of the picture: the window then begins an eighth in."""
    marked.mouse.move(*point_on_picture(marked, 0.25, 0.25))
    for _ in range(3):
        marked.mouse.wheel(0, -100)
    zoom = 1.25**3
    expect(marked.locator("#zoom-factor")).to_have_text("2.0 ×")
    left, width = 0.25 - 0.25 / zoom, 1 / zoom
    touch(marked, 0.5, 0.5)
    (region,) = drawn(device.wait_for(lambda asked: bool(drawn(asked))))
    middle = region.numbers[0] + region.numbers[2] / 2
    assert abs(middle - (left + 0.5 * width) * WIDTH) <= 4
    box = marked.evaluate(
        "() => { const mark = document.querySelector('#outlines polygon.reference'); const one = mark.getBoundingClientRect();"
        " const all = document.getElementById('picture').getBoundingClientRect();"
        " return [(one.left - all.left) / all.width, one.width / all.width]; }"
    )
    assert box[0] == pytest.approx((100 / WIDTH - left) / width, abs=0.02)
    assert box[1] == pytest.approx(60 / WIDTH / width, abs=0.02)
    marked.locator("#zoom-whole").click()
    expect(marked.locator("#zoom-whole")).to_be_hidden()


def test_two_fingers_bring_it_closer_and_draw_nothing(marked: Page, device: PageDevice) -> None:
    session = marked.context.new_cdp_session(marked)

    def fingers(kind: str, *shares: tuple[float, float]) -> None:
        points = [dict(zip("xy", point_on_picture(marked, *share), strict=True)) for share in shares]
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    fingers(
        "touchStart", (0.45, 0.5), (0.55, 0.5)
    )  # one after the other, and no hold of the first, however slow the driver is
    for share in (0.1, 0.15, 0.2):
        fingers("touchMove", (0.5 - share, 0.5), (0.5 + share, 0.5))
    fingers("touchEnd")
    expect(marked.locator("#zoom-factor")).to_have_text("4.0 ×")
    assert drawn(device.requests) == []
    session.detach()
    marked.locator("#canvas").focus()
    marked.keyboard.press("0")
    expect(marked.locator("#zoom-whole")).to_be_hidden()
    marked.keyboard.press("+")
    expect(marked.locator("#zoom-factor")).to_have_text(re.compile(r"1.[23]\s×"))
    marked.keyboard.press("0")


def frozen_s(page: Page, least: int) -> int:
    """How old the page says that its frozen picture is, once it is as old as that."""
    said = page.wait_for_function(
        "(least) => { const age = /^FROZEN, (\\d+)\\ss old$/.exec(document.getElementById('frozen-word').textContent);"
        " return age && Number(age[1]) >= least ? age[1] : null; }",
        arg=least,
        timeout=PATIENCE_MS,
    )
    return int(said.json_value())


def test_a_frozen_picture_says_so_while_all_else_goes_on(marked: Page, device: PageDevice) -> None:
    marked.locator("#freeze").click()
    expect(marked.locator("#live-word")).to_have_text("FROZEN")
    aged_s = frozen_s(marked, 1)
    still = marked.evaluate("() => document.getElementById('canvas').toDataURL()")
    label = marked.locator(".label[data-name=Tip]")
    sequence = label.get_attribute("data-sequence")
    device.change(light={"state": "off", "level": 0.0, "wanted_on": False}, recording={"name": "K7-Heron-9"})
    expect(marked.locator("#light-word")).to_have_text("Light off")
    expect(marked.locator("#recording-word")).to_contain_text("Rec")
    frozen_s(marked, aged_s + 1)
    assert marked.evaluate("() => document.getElementById('canvas').toDataURL()") == still
    assert label.get_attribute("data-sequence") == sequence
    touch(marked, 0.3, 0.3)
    expect(marked.locator("#line-text")).to_contain_text("The picture is frozen")
    assert drawn(device.requests) == []
    device.fall_silent()
    expect(marked.locator("#live-word")).to_have_text("NOT LIVE")
    expect(marked.locator("#band")).to_be_visible()
    device.speak_again()
    expect(marked.locator("#live-word")).to_have_text("FROZEN")
    marked.locator("#frozen-back").click()
    expect_live(marked)
    expect(marked.locator("#frozen")).to_be_hidden()


def test_the_bar_is_as_long_as_it_says(marked: Page) -> None:
    expect(marked.locator("#scale-words")).to_have_text("20 mm")
    share = marked.evaluate(
        "() => document.getElementById('scale-bar').offsetWidth / document.getElementById('picture').clientWidth"
    )
    assert share * WIDTH * MM_PER_PX == pytest.approx(20.0, rel=0.05)


def test_the_whole_screen_and_back(marked: Page) -> None:
    marked.locator("#tools-open").click()
    marked.locator("#full-screen").click()
    expect(marked.locator("#full-screen")).to_have_attribute("aria-pressed", "true")
    expect_live(marked)
    marked.locator("#full-screen").click()
    expect(marked.locator("#full-screen")).to_have_attribute("aria-pressed", "false")
    marked.locator("#tools-open").click()


def test_the_dye_clock_is_large_and_a_second_touch_only_asks(marked: Page, device: PageDevice) -> None:
    marked.locator("#act-dye").click()
    clock = marked.locator("#dye-clock")
    expect(clock).to_have_text(re.compile(r"^\d:\d[1-9]$"))
    assert float(clock.evaluate("(one) => parseFloat(getComputedStyle(one).fontSize)")) >= 50
    marked.locator("#act-dye").click()
    expect(marked.locator("#line-text")).to_contain_text("Has more gone in now?")
    assert sum(isinstance(one, c.MarkInjection) for one in device.requests) == 1
    marked.locator("#line").get_by_role("button", name="Dye in again").click()
    device.wait_for(lambda asked: sum(isinstance(one, c.MarkInjection) for one in asked) == 2)


def test_curves_grow_and_a_tablet_that_comes_late_sees_them_whole(
    marked: Page, web: WebProcess, device: PageDevice, opened: Callable[..., Page]
) -> None:
    marked.locator("#act-dye").click()
    expect(marked.locator("#dye-clock")).to_have_text(re.compile("0:0[3-9]"))
    late = opened(f"{web.url}/#pair={web.pair}", context=marked.context)
    expect_live(late)
    keys = late.locator("#curves-chart .chart-key-name")
    expect(keys).to_have_text(["Reference", "Tip"])
    answer = late.evaluate("async () => (await fetch('/api/v1/curves')).json()")
    assert answer["injections_ms"]
    assert answer["times_ms"][-1] - answer["times_ms"][0] > 2000
    late.close()
    kept_as_table_and_picture(marked)
    marked.locator("#curves-fold").click()
    expect(marked.locator("#curves")).to_be_hidden()
    marked.locator("#curves-fold").click()
    expect(marked.locator("#curves")).to_be_visible()


def kept_as_table_and_picture(page: Page) -> None:
    """The growing curves as CSV with their uncertainties, and as PNG."""
    for word, kind in (("Save table", "csv"), ("Save picture", "png")):
        open_sheet(page, "More")
        page.locator("#curves-save").click()
        with page.expect_download() as saving:
            page.locator("#line").get_by_role("button", name=word).click()
        assert saving.value.suggested_filename.endswith(kind)
        content = Path(saving.value.path()).read_bytes()
        assert content.startswith(b"\x89PNG") if kind == "png" else content.count(b"\n") > 5


def test_axe_finds_nothing_while_drawing_frozen_closer_or_in_a_sheet(marked: Page) -> None:
    expect(marked.locator("#curves-chart .chart-key")).to_have_count(2)
    open_sheet(marked, "Regions")
    assert axe_finds(marked) == []
    marked.get_by_role("button", name="Draw a polygon").click()
    assert axe_finds(marked) == []
    marked.locator("#drawing-cancel").click()
    open_sheet(marked, "More")
    assert axe_finds(marked) == []
    marked.keyboard.press("Escape")
    marked.locator("#tools-open").click()
    marked.locator("#zoom-closer").click()
    marked.locator("#freeze").click()
    expect(marked.locator("#frozen")).to_be_visible()
    assert axe_finds(marked) == []
    marked.locator("#zoom-whole").click()
    marked.locator("#tools-open").click()
    marked.locator("#frozen-back").click()


PHONE = """() => ({
  small: [...document.querySelectorAll("#live button, #live input")].filter((one) => one.checkVisibility()).map((one) => {
    const box = one.getBoundingClientRect(); return [one.id || one.textContent, box.width, box.height]; })
    .filter(([, width, height]) => width < 48 || height < 48),
  spills: [...document.querySelectorAll("#live button, .status-cell")].filter((one) => one.checkVisibility()
    && one.scrollWidth > one.clientWidth + 1).map((one) => one.id || one.textContent),
  sideways: document.getElementById("live").scrollWidth - document.getElementById("live").clientWidth,
})"""


LONG_TRIP = "the ring was lit for 600 s without a pause, the longest allowed: let it rest 60 s more"
CUT_OFF = (
    """() => document.getElementById("line-text").scrollHeight - document.getElementById("line-text").clientHeight"""
)
COVERED = """() => document.getElementById("line").getBoundingClientRect().height
  / document.getElementById("stage").getBoundingClientRect().height"""


def test_a_phone_has_everything_one_below_the_other(
    web: WebProcess, device: PageDevice, opened: Callable[..., Page]
) -> None:
    page = opened(f"{web.url}/#pair={web.pair}", (390, 844))
    device.change(reference=SKIN, regions=(TIP,), light={"state": "lit", "level": 0.6, "wanted_on": True})
    expect_live(page)
    expect(page.locator("#curves-chart .chart-key")).to_have_count(2)
    assert page.evaluate(PHONE) == {"small": [], "spills": [], "sideways": 0}
    for name in ("#canvas", "#act-light", "#act-dye", "#freeze", "#legend", "#curves-chart", "[data-sheet=sheet-more]"):
        page.locator(name).scroll_into_view_if_needed()
        expect(page.locator(name)).to_be_in_viewport()
    device.change(light={"state": "tripped", "reason": LONG_TRIP})
    more = page.locator("#line").get_by_role("button", name="More")
    expect(more).to_be_visible()
    assert page.evaluate(COVERED) < 0.3
    more.tap()
    expect(page.locator("#line").get_by_role("button", name="Less")).to_be_visible()
    assert page.evaluate(CUT_OFF) <= 1
