"""How pictures come: by stream, one by one where no stream can be had, and again after sleep; a lost network: test_clock_jumps."""

import http.client
import os
import signal
import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import psutil
import pytest
from playwright.sync_api import Page, expect

from tests.web_ui.browser.conftest import AGED, WebProcess, expect_live
from tests.web_ui.browser.page_device import PageDevice

pytestmark = pytest.mark.browser

NO_STREAM = """() => {
  window.streams = window.WebSocket;
  window.WebSocket = class { static OPEN = 1; readyState = 3; close() {} constructor() { setTimeout(() => this.onclose?.(), 5); } };
}"""


@contextmanager
def stopped(process: psutil.Process) -> Iterator[None]:
    """As if the air were gone: connections stay, and nothing comes."""
    process.send_signal(signal.SIGSTOP)
    try:
        yield
    finally:
        process.send_signal(signal.SIGCONT)


def child_on(port: int) -> psutil.Process:
    """The web process of this test run that has that port."""
    for child in psutil.Process(os.getpid()).children(recursive=True):
        if "web_ui" in child.cmdline() and str(port) in child.cmdline():
            return child
    raise AssertionError(f"no web process on {port}")


def test_without_a_stream_pictures_come_one_by_one_and_the_page_says_so(
    web: WebProcess, device: PageDevice, opened: Callable[..., Page]
) -> None:
    page = opened(f"{web.url}/#pair={web.pair}", watch=lambda one: one.add_init_script(f"({NO_STREAM})()"))
    expect_live(page)
    expect(page.locator("#frame-rate")).to_have_text("no stream: slower")
    device.change(light={"state": "lit", "level": 0.6, "wanted_on": True})
    expect(page.locator("#light-word")).to_have_text("Light on 60 %")
    device.fall_silent()
    expect(page.locator("#band")).to_have_text(AGED)
    device.speak_again()
    expect_live(page)
    page.evaluate("() => { window.WebSocket = window.streams; }")
    expect(page.locator("#frame-rate")).to_have_text("30.0 per s")
    expect_live(page)


def test_a_page_that_slept_shows_nothing_old_and_wakes_by_itself(live: Page) -> None:
    session = live.context.new_cdp_session(live)
    session.send("Page.setWebLifecycleState", {"state": "frozen"})
    session.send("Page.setWebLifecycleState", {"state": "active"})
    expect_live(live)
    session.detach()


def test_whoever_reads_nothing_of_a_multipart_stream_holds_up_nobody(live: Page, web: WebProcess) -> None:
    cookie = "; ".join(f"{one['name']}={one['value']}" for one in live.context.cookies())
    stuck = [socket.create_connection(("127.0.0.1", web.port)) for _ in range(2)]
    try:
        for one in stuck:
            one.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            one.sendall(
                f"GET /api/v1/pictures.mjpeg HTTP/1.1\r\nHost: 127.0.0.1:{web.port}\r\nCookie: {cookie}\r\n\r\n".encode()
            )
            assert b"200 OK" in one.recv(200)
        live.evaluate("() => new Promise((done) => setTimeout(done, 1500))")
        asking = http.client.HTTPConnection("127.0.0.1", web.port, timeout=20)
        asking.request("GET", "/api/v1/pictures.mjpeg", headers={"Cookie": cookie})
        refused = asking.getresponse()
        assert refused.status == 409
        refused.read()
        asking.request("GET", "/api/v1/picture.jpg", headers={"Cookie": cookie})
        answer = asking.getresponse()
        answer.read()
        assert int(answer.headers["X-Age-Ms"]) < 1000
        asking.close()
        expect_live(live)
    finally:
        for one in stuck:
            one.close()
