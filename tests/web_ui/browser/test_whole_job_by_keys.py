"""The whole job by keyboard alone, on the real processes: pairing, reference, light, recording, dye, review, export."""

import hashlib
import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, TimeoutError, expect

from tests.web_ui.browser.conftest import LANDSCAPE, WORK_MS, expect_live, in_control
from tests.web_ui.browser.real_device import LIT, PRESS_MS, PRESSES, real_device

pytestmark = pytest.mark.browser

TABS = 120
"""Far more than any place has stops."""
IS_THERE = """([wanted, word]) => {
  const here = document.activeElement;
  return here !== null && here.matches(wanted) && (word === "" || here.textContent.trim() === word);
}"""


class Keys:
    """A keyboard and nothing else."""

    def __init__(self, page: Page) -> None:
        self._page = page

    def reach(self, what: str, word: str = "") -> None:
        """Tab until the focus is on ``what``, with ``word`` written on it."""
        for _ in range(TABS):
            if self._page.evaluate(IS_THERE, [what, word]):
                return
            self._page.keyboard.press("Tab")
        raise AssertionError(f"{TABS} times Tab did not lead to {what} {word}")

    def press(self, what: str, word: str = "", key: str = "Enter", times: int = 1) -> None:
        """Reach it and press a key there."""
        self.reach(what, word)
        for _ in range(times):
            self._page.keyboard.press(key)

    def go(self, place: str) -> None:
        """To a place."""
        self.press("[data-sheet=sheet-places]")
        self.press(f"[data-place={place}]")
        expect(self._page.locator(f"main#{place}")).to_be_visible()

    def hold_light(self, until: Callable[[], None]) -> None:
        """The space bar on Light, pressed again after a trip, until something is so."""
        self.reach("#act-light")
        for _ in range(PRESSES):
            self._page.keyboard.down("Space")
            try:
                self._page.wait_for_function(LIT, timeout=PRESS_MS)
                until()
                return
            except TimeoutError:
                continue  # after a trip that press only armed the light again
            finally:
                self._page.keyboard.up("Space")
        raise AssertionError("the light does not come on: is this machine too busy?")


def test_from_pairing_to_exported_files_by_keyboard_alone(opened: Callable[..., Page], tmp_path: Path) -> None:
    with real_device(tmp_path) as demo:
        (tmp_path / "stick").mkdir()
        page = opened(demo.url, LANDSCAPE)
        keys = Keys(page)
        expect(page.get_by_label("Word shown by the device")).to_be_focused()
        page.keyboard.type(demo.word)
        page.keyboard.press("Enter")
        expect_live(page)
        in_control(page)
        keys.press("#act-brighter", times=4)
        expect(page.locator("#light-level")).to_have_text("set to 100 %")
        keys.press("#canvas")  # the cross stands in the middle: it becomes the reference
        expect(page.locator("#labels .label")).to_have_count(1)
        for _ in range(8):
            page.keyboard.press("ArrowRight")
        page.keyboard.press("Enter")
        expect(page.locator("#labels .label")).to_have_count(2)
        keys.press("#act-dye")
        expect(page.locator("#line-text")).to_contain_text("Dye in")
        keys.hold_light(lambda: expect(page.locator("#labels .label").last).to_contain_text("%"))
        expect(page.locator("#light-word")).not_to_contain_text("Light on")
        keys.press("#act-record")
        keys.press("#line button", "Stop")
        expect(page.locator("#recording-word")).to_have_text("Not recording")
        keys.go("recordings")
        expect(page.locator("#recording-list > li")).to_have_count(1)
        (name,) = page.locator("#recording-list > li").evaluate_all("rows => rows.map((row) => row.dataset.name)")
        keys.press(".row-link")
        expect(page.locator("main#review")).to_be_visible()
        expect(page.locator("#review-labels .label")).to_have_count(2)
        keys.go("recordings")
        keys.press(".choose-label input", key="Space")
        keys.press("#chosen-export")
        keys.reach("input[type=radio][name=export-target]")
        if not page.get_by_label("A folder on the device").is_checked():
            page.keyboard.press("Space")  # where there is no drive it is the only one; else the arrow goes on to it
        if not page.get_by_label("A folder on the device").is_checked():
            page.keyboard.press("ArrowDown")
        expect(page.get_by_label("A folder on the device")).to_be_checked()
        keys.reach("input[type=text]")
        page.keyboard.type(str(tmp_path / "stick"))
        keys.press("#export-start")
        expect(page.locator(".export-job").first).to_contain_text(re.compile("Written to"), timeout=WORK_MS)
        folder = next(path.parent for path in (tmp_path / "stick").rglob("manifest.json"))
        for one in json.loads((folder / "manifest.json").read_text())["files"]:
            assert one["sha256"] == hashlib.sha256((folder / one["name"]).read_bytes()).hexdigest()
        assert folder.name == name
