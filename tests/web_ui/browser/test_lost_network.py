"""A tablet that loses its network while it holds the light and a recording runs claims nothing, and lights nothing by itself."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from shared.protocol import control as c
from tests.web_ui.browser.conftest import WebProcess, expect_live, in_control
from tests.web_ui.browser.page_device import PageDevice

pytestmark = pytest.mark.browser


def lights(asked: list[object]) -> list[str]:
    return [one.act for one in asked if isinstance(one, c.Light)]


def test_light_and_recording_when_the_network_goes_and_comes_back(
    web: WebProcess, device: PageDevice, opened: Callable[..., Page]
) -> None:
    page = opened(f"{web.url}/#pair={web.pair}")
    expect_live(page)
    in_control(page, device)
    page.locator("#act-record").click()
    expect(page.locator("#recording-word")).to_contain_text("Rec 0:0")
    box = page.locator("#act-light").bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 20, box["y"] + 20)
    page.mouse.down()
    device.wait_for(lambda asked: lights(asked).count("on") >= 2)
    page.context.set_offline(True)
    expect(page.locator("#live-word")).to_have_text("NOT LIVE")
    expect(page.locator("#light-word")).to_have_text("Light not known")
    expect(page.locator("#recording-word")).to_have_text("Rec not known")
    page.wait_for_function("() => !document.getElementById('act-light').classList.contains('held')")
    device.requests.clear()
    device.change(light={"state": "off", "wanted_on": False})  # as the real one after a second without a word
    page.context.set_offline(False)
    expect_live(page)
    expect(page.locator("#recording-word")).to_contain_text("Rec 0:")
    expect(page.locator("#light-word")).to_have_text("Light off")
    assert "on" not in lights(device.requests), "a finger that was not heard lit again without a press"
    page.mouse.up()
    page.mouse.down()
    device.wait_for(lambda asked: "on" in lights(asked))
    page.mouse.up()
    device.wait_for(lambda asked: lights(asked)[-1] == "off")
