"""Pictures of a recording looked at again, into tests/screenshots/: every panel, both themes, three sizes, three languages.

``python -m tests.web_ui.browser.review_screenshots``. The recording is simulated and analysed first (about a minute); the device
beside the page is the fake one, which does to recordings what the real one does.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

from tests import chromium
from tests.web_ui.browser.conftest import LANDSCAPE, PORTRAIT, free_port_pair, web_process
from tests.web_ui.browser.page_device import PageDevice

FOLDER = Path(__file__).resolve().parents[3] / "tests" / "screenshots"
NAME = "2026-11-25T10-00-00Z_K7-Heron"
PHONE = (390, 844)
NOTE = "Tip still rising a minute after the dye"


def _analysed(data: Path) -> None:
    """A rehearsal of the flap, at half its size and a third of its frames, with its analysis and maps."""
    scene = (Path(__file__).resolve().parents[3] / "shared/scene/ready/flap.toml").read_text()
    for whole, part in (
        ("width = 1456", "width = 728"),
        ("height = 1088", "height = 544"),
        ("fps = 30.0", "fps = 10.0"),
        ("mm_per_px = 0.14", "mm_per_px = 0.28"),
    ):
        scene = scene.replace(whole, part)
    (data / "flap.toml").write_text(scene)
    (data / "recordings").mkdir()
    recording = str(data / "recordings" / f"{NAME}.zarr")
    program = [sys.executable, "-m", "device"]
    subprocess.run(
        [*program, "simulate", "--scene", str(data / "flap.toml"), "--seconds", "90", "--out", recording], check=True
    )
    subprocess.run([*program, "analyse", recording, "--review", "--maps", "--json"], check=True, capture_output=True)


def _take(page: Page, name: str) -> None:
    page.wait_for_function(
        "() => document.getElementById('review-canvas').width > 364"
    )  # the whole picture, not the quick one
    page.screenshot(path=FOLDER / f"review-{name}.png")


def _take_all(page: Page, address: str) -> None:
    page.goto(f"{address}#review/{NAME}")
    page.wait_for_function("() => document.getElementById('review-labels').children.length === 8")
    _take(page, "curves")
    for tab in ("figures", "maps"):
        page.locator(f"#review-tab-{tab}").click()
        if tab == "maps":
            page.wait_for_function("() => document.getElementById('review-map').naturalWidth > 1")
            page.locator("#review-map-frame").click(position={"x": 130, "y": 150})
            page.wait_for_function("() => document.getElementById('review-map-value').textContent.includes('±')")
        _take(page, tab)
    page.locator("#review-tab-notes").click()
    page.locator("#review-note-text").fill(NOTE)
    page.locator("#review-note-form button").click()
    page.locator("#line-acts button", has_text="Undo").wait_for()
    _take(page, "notes")
    page.locator("#line-acts button").last.click()
    page.locator("#review-draw-polygon").click()
    for x, y in ((300, 120), (420, 140), (380, 260)):
        page.locator("#review-canvas").click(position={"x": x, "y": y})
    _take(page, "drawing")
    page.locator("#review-drawing-cancel").click()
    page.locator("#review-tab-curves").click()
    for name, size in (("portrait", PORTRAIT), ("phone", PHONE)):
        page.set_viewport_size({"width": size[0], "height": size[1]})
        _take(page, name)
    page.set_viewport_size({"width": LANDSCAPE[0], "height": LANDSCAPE[1]})
    page.evaluate("() => { document.documentElement.dataset.theme = 'bright'; }")
    _take(page, "bright")


def main() -> None:
    """Take all of them."""
    FOLDER.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        run, data = Path(folder) / "run", Path(folder) / "data"
        run.mkdir()
        data.mkdir()
        _analysed(data)
        browser = playwright.chromium.launch(executable_path=chromium.PATH, args=chromium.FLAGS)
        with PageDevice(run, data), web_process(run, data, free_port_pair()) as web:
            for language in ("en", "de", "es"):
                size = {"width": LANDSCAPE[0], "height": LANDSCAPE[1]}
                page = browser.new_context(viewport=size, has_touch=True, locale=language).new_page()  # type: ignore[arg-type]
                page.goto(f"{web.url}/#pair={web.pair}")
                page.locator("#live").wait_for()
                if language == "en":
                    _take_all(page, web.url)
                    continue
                page.goto(f"{web.url}#review/{NAME}")
                page.wait_for_function("() => document.getElementById('review-labels').children.length === 8")
                page.locator("#review-tab-figures").click()
                _take(page, f"figures-{language}")
        browser.close()
    print(f"pictures are in {FOLDER}")


if __name__ == "__main__":
    main()
