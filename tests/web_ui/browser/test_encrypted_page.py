"""A real browser over HTTPS, as a tablet has it."""

from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from tests.web_ui.browser.conftest import expect_live, free_port_pair, new_tablet, web_process
from tests.web_ui.browser.page_device import PageDevice

pytestmark = pytest.mark.browser


def test_the_page_is_live_over_https_and_every_request_is_encrypted(chrome: Browser, tmp_path: Path) -> None:
    with (
        PageDevice(tmp_path, tmp_path),
        web_process(tmp_path, tmp_path, free_port_pair(), "--host", "0.0.0.0") as web,
    ):
        # What a tablet trusts is checked in test_encryption.py; here the browser is told to.
        tablet = new_tablet(chrome, ignore_https_errors=True)
        asked: list[str] = []
        tablet.on("request", lambda request: asked.append(request.url))
        page = tablet.new_page()
        page.on("websocket", lambda stream: asked.append(stream.url))
        page.goto(f"https://127.0.0.1:{web.port}/#pair={web.pair}")
        expect_live(page)
        expect(page.locator("#role")).to_have_text("You control")
        (session,) = tablet.cookies()
        assert (session["secure"], session["httpOnly"], session["sameSite"]) == (True, True, "Strict")
        own = (f"https://127.0.0.1:{web.port}/", f"wss://127.0.0.1:{web.port + 1}/", "data:", "blob:https://127.0.0.1")
        assert len(asked) > 30
        assert [url for url in asked if not url.startswith(own)] == []
        tablet.close()
