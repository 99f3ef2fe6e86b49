"""The tablet's clock is set: what is live stays live, what is not is found out all the same, and light stays under the finger."""

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.web_ui.browser.conftest import (
    AGED,
    PATIENCE_MS,
    WebProcess,
    expect_live,
    free_port_pair,
    in_control,
    web_process,
)
from tests.web_ui.browser.page_device import PageDevice
from tests.web_ui.browser.test_live_place import lights
from tests.web_ui.browser.test_streams import child_on, stopped

pytestmark = pytest.mark.browser

CLOCK = """() => {
  let ahead_ms = 0;
  const True = Date;
  window.setClock = (ms) => { ahead_ms = ms; };
  window.Date = class extends True {
    constructor(...given) { super(...(given.length === 0 ? [True.now() + ahead_ms] : given)); }
    static now() { return True.now() + ahead_ms; }
  };
}"""
"""A tablet's clock that can be set. Timers, and what counts from the page's start, go on as they do when somebody sets one."""

JUMPS = (timedelta(hours=3), timedelta(hours=-3))
"""Ahead, and back of what it was at first."""


def can_be_set(page: Page) -> None:
    page.add_init_script(f"({CLOCK})()")


def set_clock(page: Page, ahead: timedelta) -> None:
    page.evaluate("(ms) => setClock(ms)", 1000 * ahead.total_seconds())


def test_a_set_clock_is_not_taken_for_age(web: WebProcess, device: PageDevice, opened: Callable[..., Page]) -> None:
    page = opened(f"{web.url}/#pair={web.pair}", watch=can_be_set)
    expect_live(page)
    in_control(page, device)
    box = page.locator("#act-light").bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 20, box["y"] + 20)
    for jump in JUMPS:
        device.requests.clear()
        page.mouse.down()
        device.wait_for(lambda asked: "on" in lights(asked))
        set_clock(page, jump)
        before = lights(device.requests).count("on")
        device.wait_for(lambda asked, before=before: lights(asked).count("on") >= before + 3)
        assert "off" not in lights(device.requests)
        expect_live(page)
        page.mouse.up()
        device.wait_for(lambda asked: lights(asked)[-1] == "off")
        device.fall_silent()
        expect(page.locator("#band")).to_have_text(AGED)
        device.speak_again()
        expect_live(page)


def test_a_network_lost_as_the_clock_is_set_back_is_given_up_all_the_same(
    tmp_path: Path, opened: Callable[..., Page]
) -> None:
    streams: list[str] = []

    def watch(page: Page) -> None:
        can_be_set(page)
        page.on("websocket", lambda stream: streams.append(stream.url))

    with PageDevice(tmp_path, tmp_path), web_process(tmp_path, tmp_path, free_port_pair()) as web:
        page = opened(f"{web.url}/#pair={web.pair}", watch=watch)
        expect_live(page)
        with stopped(child_on(web.port)):
            set_clock(page, timedelta(hours=-3))
            expect(page.locator("#live-word")).to_have_text("NOT LIVE")
            expect(page.locator("#light-word")).to_have_text("Light not known")
            with page.expect_event(
                "websocket", timeout=PATIENCE_MS
            ):  # the old one is given up after five seconds of silence
                pass
        expect_live(page)
    assert len(streams) >= 2
