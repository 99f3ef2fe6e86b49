"""A slow network: fewer pictures, never a queue of old ones; their age is what it is; touches arrive."""

import json
import struct
import time
from collections.abc import Callable
from dataclasses import dataclass

import pytest
from playwright.sync_api import Page, WebSocket, expect

from shared.protocol import control as c
from tests.web_ui.browser.conftest import WebProcess, expect_live, in_control, point_on_picture
from tests.web_ui.browser.page_device import PageDevice
from tests.web_ui.browser.test_live_place import lights

pytestmark = pytest.mark.browser

LATENCY_S, BYTES_PER_S = 0.4, 125_000
"""1 Mbit/s: a picture of the fake device takes most of a second. Two are on their way at once, and no more."""

OLDEST_S = 8.0
ROUNDED_S = 0.2
"""The page tells tenths of a second, and looks twenty times a second."""

SLOW = {
    "offline": False,
    "latency": 1000 * LATENCY_S,
    "downloadThroughput": BYTES_PER_S,
    "uploadThroughput": BYTES_PER_S,
}
TELLS_WHAT_IT_DREW = """() => {
  const send = WebSocket.prototype.send;
  WebSocket.prototype.send = function (text) {
    if (text.startsWith("drawn ")) window.drew = Number(text.slice(6));
    return send.call(this, text);
  };
}"""
SHOWN = "() => [window.drew, document.getElementById('frame-age').textContent]"


@dataclass(frozen=True)
class Shown:
    """A picture on the screen: its age as it was told, and between what it truly was."""

    number: int
    told_s: float
    least_s: float
    most_s: float


class Published:
    """When each picture that came was published, by its number on the stream; told by the stream's own bytes."""

    def __init__(self) -> None:
        self.at_ns: dict[int, int] = {}

    def watch(self, page: Page) -> None:
        page.add_init_script(f"({TELLS_WHAT_IT_DREW})()")
        page.on("websocket", self._listen)

    def _listen(self, stream: WebSocket) -> None:
        stream.on("framereceived", self._take)

    def _take(self, message: str | bytes) -> None:
        if isinstance(message, bytes):
            _, _, size = struct.unpack_from("<4sII", message)
            header = json.loads(message[12 : 12 + size])
            self.at_ns[header["publication"]] = header["published_ns"]


def test_age_is_true_newest_wins_and_touches_arrive(
    web: WebProcess, device: PageDevice, opened: Callable[..., Page]
) -> None:
    published = Published()
    page = opened(f"{web.url}/#pair={web.pair}", watch=published.watch)
    expect_live(page)
    in_control(page, device)
    network = page.context.new_cdp_session(page)
    network.send("Network.enable")
    network.send("Network.emulateNetworkConditions", SLOW)
    shown = [next_shown(page, published) for _ in range(6)]
    for picture in shown:
        assert picture.least_s - ROUNDED_S <= picture.told_s <= picture.most_s + LATENCY_S + ROUNDED_S, shown
    numbers = [picture.number for picture in shown[2:]]  # two were on their way before
    assert numbers[-1] - numbers[0] > len(numbers), "pictures of a slow network are few, and the newest"
    assert max(picture.most_s for picture in shown) < OLDEST_S, "old ones queue up"
    expect(page.locator("#band")).to_contain_text("NOT LIVE")
    page.touchscreen.tap(*point_on_picture(page, 0.25, 0.5))
    device.wait_for(lambda asked: any(isinstance(one, c.SetReference) for one in asked))
    light = page.locator("#act-light")
    light.hover()
    page.mouse.down()
    assert "held" in str(light.get_attribute("class")), "a touch is answered here, whatever the network does"
    device.wait_for(lambda asked: lights(asked).count("on") >= 2)
    page.mouse.up()
    asked = lights(device.wait_for(lambda asked: "off" in lights(asked)))
    assert "on" not in asked[asked.index("off") :]
    network.detach()


def next_shown(page: Page, published: Published) -> Shown:
    """The next picture on the screen: its age as the page tells it, and as it is."""
    page.wait_for_function("(before) => window.drew > before", arg=page.evaluate("() => window.drew"))
    before_ns = time.monotonic_ns()
    number, words = page.evaluate(SHOWN)
    after_ns = time.monotonic_ns()
    while number not in published.at_ns:
        page.evaluate("() => 0")  # what the browser told of the stream is taken in
    at_ns = published.at_ns[number]
    return Shown(number, float(words.split()[0]), (before_ns - at_ns) / 1e9, (after_ns - at_ns) / 1e9)
