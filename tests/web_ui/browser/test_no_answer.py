"""A device that is asked and never answers: not an error, nothing at all. The page says so, and holds no light by it."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, Route, expect

from tests.web_ui.browser.conftest import WebProcess, expect_live
from tests.web_ui.browser.page_device import PageDevice

pytestmark = pytest.mark.browser


def never(_: Route) -> None:
    """Neither sent on nor refused."""


def test_a_touch_that_is_not_answered_is_said_to_be_waited_for(
    web: WebProcess, device: PageDevice, opened: Callable[..., Page]
) -> None:
    """Its end after 20 s is the page's own test's (page_tests/device_api.test.js)."""
    page = opened(f"{web.url}/#pair={web.pair}", watch=lambda new: new.clock.install())
    expect_live(page)
    page.route("**/api/v1/view", never)
    page.locator("#act-view").click()
    page.clock.run_for(3_100)
    expect(page.locator("#line-text")).to_have_text("The device has not answered yet; it is still being waited for.")
    expect(page.locator("#act-view")).to_have_attribute("aria-busy", "true")


def test_light_asked_for_without_an_answer_is_held_no_longer(live: Page, device: PageDevice) -> None:
    live.route("**/api/v1/light", never)
    box = live.locator("#act-light").bounding_box()
    assert box is not None
    live.mouse.move(box["x"] + 20, box["y"] + 20)
    live.mouse.down()
    expect(live.locator("#line-text")).to_have_text("The device does not answer. Look at the device itself.")
    live.wait_for_function("() => !document.getElementById('act-light').classList.contains('held')")
    live.unroute("**/api/v1/light")
    live.mouse.up()
    live.mouse.down()
    device.wait_for(lambda asked: any(getattr(one, "act", "") == "on" for one in asked))
    live.mouse.up()
    device.wait_for(lambda asked: getattr(asked[-1], "act", "") == "off")
