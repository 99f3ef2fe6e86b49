"""The installed page asks the device past its own worker: the light's "off" of a page that is closed waits for nothing."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Browser, Page

from tests.web_ui.browser.conftest import WebProcess, expect_live, in_control
from tests.web_ui.browser.page_device import PageDevice
from tests.web_ui.browser.tablets import new_tablet
from tests.web_ui.browser.test_installed_page import paired
from tests.web_ui.browser.test_live_place import lights

pytestmark = pytest.mark.browser

WAY_OF_QUESTIONS = """() => [...new Set(performance.getEntriesByType("resource").filter(({ name }) => name.includes("/api/"))
  .map(({ workerFinalSourceType }) => workerFinalSourceType))]"""
FILES_BY_THE_WORKER = """() => performance.getEntriesByType("resource")
  .some(({ name, workerStart }) => name.includes("/static/") && workerStart > 0)"""


def test_light_goes_out_with_the_page_though_the_worker_sleeps(
    web: WebProcess, device: PageDevice, chrome: Browser, opened: Callable[..., Page]
) -> None:
    installed = new_tablet(chrome, service_workers="allow")
    try:
        page = paired(web, installed, opened)
        page.reload()
        expect_live(page)
        in_control(page, device)
        assert page.evaluate(FILES_BY_THE_WORKER), "the page was not fetched by its worker"
        assert page.evaluate(WAY_OF_QUESTIONS) == ["network"]
        browser = installed.new_cdp_session(page)
        browser.send("ServiceWorker.enable")
        browser.send("ServiceWorker.stopAllWorkers")
        box = page.locator("#act-light").bounding_box()
        assert box is not None
        page.mouse.move(box["x"] + 20, box["y"] + 20)
        page.mouse.down()
        device.wait_for(lambda asked: "on" in lights(asked))
        page.goto("about:blank")
        device.wait_for(lambda asked: lights(asked)[-1] == "off")
    finally:
        installed.close()
