"""Pictures of the page, in every state, at both ways to hold a tablet, into tests/screenshots/.

``python -m tests.web_ui.browser.screenshots`` runs the demo for it; ``--url U --pair W`` takes a page that is running.
"""

import argparse
import json
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Browser, Page, expect, sync_playwright

from tests.web_ui.browser.conftest import (
    CHROMIUM,
    FLAGS,
    LANDSCAPE,
    PORTRAIT,
    STOP_S,
    drag_on_picture,
    expect_live,
    point_on_picture,
)

FOLDER = Path(__file__).resolve().parents[2] / "screenshots"
DYE_ARRIVED = "0:40"
SHEETS = ("Regions", "Contours", "Note", "Exposure", "Recordings", "Cautions")


@contextmanager
def demo() -> Iterator[tuple[str, str]]:
    """Address and pairing word of a demo that runs meanwhile."""
    command = [sys.executable, "-m", "device", "demo", "--json"]
    with subprocess.Popen(command, stdout=subprocess.PIPE) as process:
        try:
            assert process.stdout is not None
            line = json.loads(process.stdout.readline())
            yield line["url"], line["pair"]
        finally:
            process.send_signal(signal.SIGTERM)
            process.wait(STOP_S)


class Album:
    """Takes the pictures of one tablet."""

    def __init__(self, browser: Browser, size: tuple[int, int]) -> None:
        viewport = {"width": size[0], "height": size[1]}
        self.page: Page = browser.new_context(viewport=viewport, has_touch=True).new_page()
        self._suffix = "landscape" if size == LANDSCAPE else "portrait"

    def keep(self, name: str) -> None:
        self.page.screenshot(path=FOLDER / f"{name}-{self._suffix}.png")

    def take(self, url: str, pair: str) -> None:
        page = self.page
        page.goto(url)
        expect(page.get_by_label("Word shown by the device")).to_be_visible()
        self.keep("pairing")
        page.goto("about:blank")
        page.goto(f"{url}/#pair={pair}")
        expect_live(page)
        self._empty()
        self._measured()
        self._sheets()
        self._ended()

    def _empty(self) -> None:
        page = self.page
        self._view("grey")
        page.locator("#quiet").get_by_role("button", name="Regions").click()
        rows = page.locator("#regions-list > li")
        for left in reversed(range(rows.count())):
            rows.last.get_by_role("button", name="Remove").click()
            expect(rows).to_have_count(left)
        page.get_by_role("region", name="Regions").get_by_role("button", name="Close").click()
        expect(page.locator("#reference-wish")).to_be_visible()
        self.keep("grey")

    def _measured(self) -> None:
        """Reference and regions, dye, light held, and the views one after the other."""
        page = self.page
        page.touchscreen.tap(*point_on_picture(page, 0.25, 0.5))
        expect(page.locator("#labels .label")).to_have_count(1)
        drag_on_picture(page, (0.48, 0.40), (0.58, 0.52))
        page.touchscreen.tap(*point_on_picture(page, 0.78, 0.5))
        expect(page.locator("#labels .label")).to_have_count(3)
        page.locator("#act-dye").click()
        page.locator("#line").get_by_role("button", name="Close").click()
        if page.locator("#act-record").get_attribute("aria-pressed") == "false":
            page.locator("#act-record").click()
        box = page.locator("#act-light").bounding_box()
        assert box is not None
        page.mouse.move(box["x"] + 20, box["y"] + 20)
        page.mouse.down()
        expect(page.locator("#light-word")).to_contain_text("Light on")
        self._view("relative")
        expect(page.locator("#since-injection")).to_have_text(f"Dye {DYE_ARRIVED}", timeout=60_000)
        self.keep("relative")
        self._view("side by side")
        self.keep("side-by-side")
        self._view("relative")
        page.mouse.up()

    def _view(self, wanted: str) -> None:
        """By keyboard: the mouse may be holding the light."""
        word = self.page.locator("#view-word")
        for _ in range(3):
            if word.text_content() == wanted:
                break
            before = word.text_content() or ""
            self.page.locator("#act-view").press("Enter")
            expect(word).not_to_have_text(before)
        expect(word).to_have_text(wanted)

    def _sheets(self) -> None:
        page = self.page
        for name in SHEETS:
            page.locator("#quiet").get_by_role("button", name=name).click()
            expect(page.get_by_role("region", name=name)).to_be_visible()
            self.keep(f"sheet-{name.lower()}")
        page.keyboard.press("Escape")

    def _ended(self) -> None:
        page = self.page
        page.locator("#act-record").click()
        self.keep("question")
        page.locator("#line").get_by_role("button", name="Stop").click()
        expect(page.locator("#recording-word")).to_have_text("Not recording")
        page.context.set_offline(True)
        expect(page.locator("#live-word")).to_have_text("NOT LIVE", timeout=30_000)
        self.keep("not-live")
        page.context.close()


def main() -> None:
    """Take all pictures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--url", help="a page that is running")
    parser.add_argument("--pair", help="its pairing word")
    arguments = parser.parse_args()
    FOLDER.mkdir(exist_ok=True)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        for size in (LANDSCAPE, PORTRAIT):
            if arguments.url:
                Album(browser, size).take(arguments.url, arguments.pair)
                continue
            with demo() as (url, pair):
                Album(browser, size).take(url, pair)
        browser.close()
    print(f"pictures are in {FOLDER}")


if __name__ == "__main__":
    main()
