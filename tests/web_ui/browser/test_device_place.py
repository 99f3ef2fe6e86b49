"""The state of the device, read: what is known, what is missing, and nothing that is made up."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from shared.protocol.light import ConditionState
from tests.web_ui.browser.accessibility import axe_finds
from tests.web_ui.browser.conftest import LANDSCAPE, PORTRAIT, WebProcess, expect_live
from tests.web_ui.browser.page_device import PageDevice
from tests.web_ui.browser.tablets import Tablet
from tests.web_ui.browser.test_commissioning_place import WIDE
from tests.web_ui.browser.test_places import PHONE, SMALL

pytestmark = pytest.mark.browser

CONDITIONS = (
    ConditionState("ring obeys", "holds", "", None, None, ""),
    ConditionState("LED temperature", "holds", "", 41.2, 60.0, "°C"),
    ConditionState("supply", "missing", "the supply gives 4.10 V: charge or change the battery", 4.1, 4.8, "V"),
    ConditionState("cover", "absent", "no cover sensor is fitted: nothing watches it", None, None, ""),
    ConditionState("exposure budget", "holds", "", 88.0, None, "s"),
)


@pytest.fixture
def place(web: WebProcess, device: PageDevice, opened: Callable[..., Page], tablet: Tablet) -> Page:
    page = opened(f"{web.url}/#pair={web.pair}", tablet=tablet)
    device.change(light={"conditions": CONDITIONS})
    expect_live(page)
    page.evaluate("() => { location.hash = '#device'; }")
    expect(page.locator("#device-network-facts dd").first).to_be_visible()
    return page


def fact(page: Page, name: str) -> str:
    row = page.locator("#device .fact").filter(has=page.get_by_text(name, exact=True)).first
    return row.locator("dd").inner_text().replace("\u00a0", " ")


def test_what_is_met_missing_and_not_fitted_is_said(place: Page, device: PageDevice) -> None:
    expect(place.locator("#device-light-facts .fact")).to_have_count(7)
    assert fact(place, "LED temperature") == "met: 41 °C, limit 60 °C"
    assert fact(place, "Battery, or supply") == "MISSING: the supply gives 4.10 V: charge or change the battery"
    assert fact(place, "Cover of the ring") == "not fitted"
    assert fact(place, "Exposure budget for eyes and skin") == "met: 88 s left at this level"
    assert fact(place, "Connection of this tablet").startswith("not encrypted")
    assert fact(place, "Set") == "not since it was switched on"
    assert "ahead" in fact(place, "Beside this tablet"), "the fake device lives in 2031"
    trips = place.locator(".trip")
    expect(trips.first).to_contain_text("tried on purpose")
    expect(trips.nth(1)).to_contain_text("the LEDs are at 61.0 °C")
    device.change(camera={"lost_frames": 17, "rate_hz": 12.0})
    expect(place.locator("#device-camera-facts .fact-loud")).to_contain_text("12.0, of 30.0")
    expect(place.locator("#device-camera-facts")).to_contain_text("17")


def test_settings_are_read_only_and_say_where_they_are_changed(place: Page) -> None:
    expect(place.locator("#device-settings-where")).to_contain_text("/etc/tapetum/settings.toml")
    section = place.locator(".setting-section").filter(has_text="differs from the vendor's")
    expect(section).to_have_count(1)
    section.locator("summary").tap()
    expect(section.locator(".fact")).to_contain_text("light goes dark this long after the last verified frame")
    assert place.locator("#device input, #device select, #device textarea").count() == 0


def test_a_device_that_falls_silent_is_not_spoken_for(place: Page, device: PageDevice) -> None:
    device.change(light={"reachable": False, "state": "off"})
    expect(place.locator("#device-light-facts")).to_contain_text("its conditions are not known")
    device.close()
    expect(place.locator("#device-unknown")).to_be_visible()


@pytest.mark.parametrize("size", [LANDSCAPE, PORTRAIT, PHONE], ids=["landscape", "portrait", "phone"])
def test_it_fits_and_axe_finds_nothing(place: Page, size: tuple[int, int]) -> None:
    place.set_viewport_size({"width": size[0], "height": size[1]})
    place.locator(".setting-section summary").first.tap()
    assert place.evaluate(SMALL) == []
    assert not place.evaluate(WIDE)
    assert axe_finds(place) == []
