"""Commissioning and check as a person walks through it: warned first, watched all the while, decided on afterwards."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from shared.protocol import commissioning as p
from shared.protocol import control as c
from tests.web_ui.browser.accessibility import axe_finds
from tests.web_ui.browser.conftest import LANDSCAPE, PORTRAIT, WebProcess, expect_live
from tests.web_ui.browser.page_device import PageDevice
from tests.web_ui.browser.tablets import Tablet
from tests.web_ui.browser.test_places import PHONE, SMALL
from tests.web_ui.fake_commissioning import CHECK

pytestmark = pytest.mark.browser

SCRIPT = "<img src=x onerror=window.harm=1>"
WIDE = "() => document.documentElement.scrollWidth > document.documentElement.clientWidth + 1"


@pytest.fixture
def place(web: WebProcess, device: PageDevice, opened: Callable[..., Page], tablet: Tablet) -> Page:
    page = opened(f"{web.url}/#pair={web.pair}", tablet=tablet)
    expect_live(page)
    show(page, "")
    return page


def show(page: Page, sheet: str) -> None:
    page.evaluate("(address) => { location.hash = address; }", f"#commissioning/{sheet}".rstrip("/"))
    expect(page.locator("#commissioning")).to_be_visible()
    expect(page.locator("#commissioning-list a")).to_have_count(12)


def begin(page: Page, device: PageDevice, walk: str) -> None:
    """From what is known, by the guide, to a walk that runs."""
    show(page, walk)
    page.locator(".walk-go").tap()
    go(page, device, walk)


def go(page: Page, device: PageDevice, walk: str) -> None:
    """From the guide to a walk that runs."""
    if walk != "dark":
        expect(page.locator(".guide-start")).to_be_disabled()
        page.locator(".caution-box input").check()
    page.locator(".guide-start").tap()
    expect(page.locator(".walk-stop")).to_be_visible()
    device.wait_for(lambda asked: any(isinstance(one, p.StartWalk) and one.walk == walk for one in asked))


def test_it_says_what_is_known_and_what_comes_next(place: Page) -> None:
    expect(place.locator("#commissioning-next")).to_contain_text("Flat field is missing")
    rows = place.locator("#commissioning-list a")
    expect(rows).to_have_count(12)
    expect(rows.filter(has_text="Dark")).to_contain_text("12 days ago")
    expect(rows.filter(has_text="Gain")).to_contain_text("never taken")
    show(place, "dark")
    expect(place.locator(".figures")).to_contain_text("60.02 ± 0.01 counts")
    expect(place.locator(".step-drawing canvas")).to_be_visible()
    show(place, "sensitivity")
    expect(place.locator(".walk-go")).to_be_disabled()
    expect(place.locator(".walk-why")).to_contain_text("First: Flat field, Scale.")


def test_a_check_is_warned_of_watched_and_told_line_by_line(place: Page, device: PageDevice) -> None:
    show(place, "check")
    place.locator(".walk-go").tap()
    expect(place.locator(".caution-box")).to_contain_text("Do not look into it")
    expect(place.locator(".guide-start")).to_have_text("Start: the ring lights")
    assert not any(isinstance(one, p.StartWalk) for one in device.requests), "neither touch so far began it"
    go(place, device, "check")
    device.commissioning.tell("unlit frames", items=CHECK[:3])
    device.change(light={"state": "lit", "level": 1.0})
    expect(place.locator(".ring-word")).to_have_text("The ring is lit")
    expect(place.locator(".said li").last).to_have_text("unlit frames")
    expect(place.locator(".check-item")).to_have_count(3)
    device.wait_for(lambda asked: asked.count(p.WatchWalk()) >= 2)
    device.change(light={"state": "ready", "level": 0.0})
    device.commissioning.tell(items=CHECK[3:])
    device.commissioning.finish(passed=False)
    expect(place.locator(".verdict")).to_contain_text("FAILED")
    first = place.locator(".check-item").first
    expect(first).to_contain_text("Leakage")
    expect(first).to_contain_text("is the filter loose or cracked?")
    expect(place.locator("#commissioning-list a").first).to_contain_text("FAILED")


def test_stop_stops_and_the_reason_is_said(place: Page, device: PageDevice) -> None:
    begin(place, device, "gain")
    place.locator(".walk-stop").tap()
    device.wait_for(lambda asked: p.StopWalk() in asked)
    expect(place.locator("#commissioning-detail .walk-error")).to_have_text("It ended without a result: it was stopped")
    expect(place.locator(".walk-go")).to_be_enabled()


def test_a_result_is_kept_or_discarded_and_the_former_can_be_used_again(place: Page, device: PageDevice) -> None:
    kept, before = "2031-05-04T09-41-00Z", "2031-04-22T08-05-00Z"
    begin(place, device, "dark")
    device.commissioning.finish()
    expect(place.locator(".figures thead")).to_contain_text("Before")
    expect(place.locator("#commissioning-next")).to_contain_text("waits for your decision: Dark")
    place.locator(".decide").get_by_role("button", name="Discard").tap()
    expect(place.locator("#line-text")).to_contain_text("It cannot be brought back")
    assert p.SettleProposal(False) not in device.requests, "asked first"
    place.locator("#line").get_by_role("button", name="Discard").tap()
    expect(place.locator("#line-text")).to_contain_text("Discarded")
    assert device.commissioning.now.calibrations[0].name == before
    begin(place, device, "dark")
    device.commissioning.finish()
    place.locator(".decide").get_by_role("button", name="Keep").tap()
    expect(place.locator("#line-text")).to_contain_text("Kept")
    assert device.commissioning.now.calibrations[0].name == kept
    place.locator("#line").get_by_role("button", name="Undo").tap()
    device.wait_for(lambda asked: p.UseCalibration(before) in asked)
    show(place, "history")
    rows = place.locator(".calibration")
    expect(rows).to_have_count(4)
    expect(rows.first).to_contain_text("again from")
    expect(rows.nth(2)).to_contain_text("in force")
    rows.nth(3).get_by_role("button", name="Use this one").tap()
    expect(rows).to_have_count(5)


def test_a_light_that_tripped_is_armed_by_a_press_of_its_own(place: Page, device: PageDevice) -> None:
    show(place, "gain")
    device.change(light={"state": "tripped", "reason": "the camera's frames stopped coming"})
    expect(place.locator("#commissioning-detail")).to_contain_text(
        "The light has tripped: the camera's frames stopped coming."
    )
    place.get_by_role("button", name="Arm the light again").tap()
    device.wait_for(lambda asked: c.Light("rearm") in asked)
    expect(place.get_by_role("button", name="Arm the light again")).to_be_hidden()


def test_fields_are_read_and_told_where_they_are_wrong(place: Page, device: PageDevice) -> None:
    show(place, "scale")
    place.locator(".walk-go").tap()
    place.locator(".caution-box input").check()
    place.get_by_label("From the lens to the sheet, mm").fill("far")
    place.locator(".guide-start").tap()
    expect(place.locator(".guide-trouble")).to_contain_text("A number is needed here.")
    assert not any(isinstance(one, p.StartWalk) for one in device.requests)
    place.get_by_label("From the lens to the sheet, mm").fill("312,5")
    asked = device.requests.count(p.GetCommissioning())
    device.change(light={"state": "tripped", "reason": "too warm"})
    device.wait_for(lambda requests: requests.count(p.GetCommissioning()) > asked)
    expect(place.get_by_label("From the lens to the sheet, mm")).to_have_value("312,5")
    place.locator(".guide-start").tap()
    device.wait_for(lambda asked: p.StartWalk("scale", 312.5, 10.0) in asked)


def test_what_newest_and_in_force_differ_in_can_be_put_right(place: Page, device: PageDevice) -> None:
    old, new = "2031-04-22T08:05:00Z", "2031-05-04T08:00:00Z"
    device.commissioning.now = p.Commissioning(
        **{
            **device.commissioning.now.__dict__,
            "steps": tuple(
                p.StepLine(one.step, new, "r", one.needs, one.lights, ()) for one in device.commissioning.now.steps
            ),
            "newest": new,
            "in_force": old,
            "light_in_force": new,
        }
    )
    show(place, "papers")
    place.get_by_role("button", name="Certificate: Write it").tap()
    with place.expect_download() as saved:
        place.get_by_role("link", name="Save").tap()
    assert saved.value.suggested_filename == "certificate.pdf"
    place.get_by_role("button", name="Put it in force").tap()
    expect(place.locator("#line-text")).to_contain_text("The picture is gone for some seconds")
    assert p.PutInForce() not in device.requests, "asked first"
    place.locator("#line").get_by_role("button", name="Put it in force").tap()
    device.wait_for(lambda asked: p.PutInForce() in asked)


def test_a_tablet_that_watches_sees_all_and_starts_nothing(
    place: Page, web: WebProcess, device: PageDevice, opened: Callable[..., Page]
) -> None:
    viewer = opened(f"{web.url}/#pair={web.pair}", PORTRAIT)
    expect_live(viewer)
    show(viewer, "gain")
    viewer.locator(".walk-go").tap()
    viewer.locator(".caution-box input").check()
    viewer.locator(".guide-start").tap()
    expect(viewer.locator("#line-text")).to_have_text("This tablet watches.")
    begin(place, device, "gain")
    expect(viewer.locator(".walk-stop")).to_be_visible()
    viewer.locator(".walk-stop").tap()
    expect(viewer.locator("#line-text")).to_have_text("This tablet watches.")
    assert not [one for one in device.requests if isinstance(one, p.StopWalk)]
    device.commissioning.finish()


def test_hostile_text_is_shown_inert(place: Page, device: PageDevice) -> None:
    begin(place, device, "check")
    device.commissioning.tell(SCRIPT, items=(p.CheckItem(SCRIPT, False, SCRIPT),))
    expect(place.locator(".said li").last).to_have_text(SCRIPT)
    expect(place.locator(".check-words")).to_have_text(SCRIPT)
    device.commissioning.finish(error=SCRIPT)
    expect(place.locator("#commissioning-detail .walk-error")).to_contain_text(SCRIPT)
    assert place.evaluate("() => [window.harm ?? 0, document.querySelectorAll('img[src=x]').length]") == [0, 0]


@pytest.mark.parametrize("size", [LANDSCAPE, PORTRAIT, PHONE], ids=["landscape", "portrait", "phone"])
def test_every_state_fits_and_axe_finds_nothing(place: Page, device: PageDevice, size: tuple[int, int]) -> None:
    place.set_viewport_size({"width": size[0], "height": size[1]})
    found: dict[str, list[str]] = {}

    def look(state: str) -> None:
        assert place.evaluate(SMALL) == [], state
        assert not place.evaluate(WIDE), state
        found[state] = axe_finds(place) if size != PORTRAIT else []

    look("list")
    show(place, "dark")
    expect(place.locator(".step-drawing canvas")).to_be_visible()
    look("step")
    show(place, "sensitivity")
    show(place, "check")
    place.locator(".walk-go").tap()
    look("guide")
    place.locator(".caution-box input").check()
    place.locator(".guide-start").tap()
    device.change(light={"state": "lit", "level": 1.0})
    expect(place.locator(".ring-lit")).to_be_visible()
    device.commissioning.tell("unlit frames", items=CHECK)
    expect(place.locator(".check-item")).to_have_count(len(CHECK))
    look("running")
    device.commissioning.finish(passed=False)
    expect(place.locator(".verdict")).to_be_visible()
    look("check")
    begin(place, device, "dark")
    device.commissioning.finish()
    expect(place.locator(".decide")).to_be_visible()
    look("result")
    for sheet in ("history", "papers"):
        show(place, sheet)
        look(sheet)
    assert {state: lines for state, lines in found.items() if lines} == {}


def test_a_check_is_begun_and_stopped_by_keyboard_alone(place: Page, device: PageDevice) -> None:
    show(place, "check")

    def press_until(what: str) -> None:
        for _ in range(60):
            if place.evaluate("(wanted) => document.activeElement?.matches(wanted) ?? false", what):
                return
            place.keyboard.press("Tab")
        raise AssertionError(f"60 times Tab did not lead to {what}")

    press_until(".walk-go")
    place.keyboard.press("Enter")
    press_until(".caution-box input")
    place.keyboard.press("Space")
    press_until(".guide-start")
    place.keyboard.press("Enter")
    expect(place.locator(".walk-stop")).to_be_visible()
    press_until(".walk-stop")
    place.keyboard.press("Enter")
    device.wait_for(lambda asked: p.StopWalk() in asked)
    assert c.Light("hold") not in device.requests, "the page itself never holds the light for a walk"
