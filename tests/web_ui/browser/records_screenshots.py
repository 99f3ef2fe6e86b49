"""Pictures of recordings, compare and export, into tests/screenshots/, at three sizes, once under a lamp, and in other languages.

``python -m tests.web_ui.browser.records_screenshots``. Two runs are simulated and compared by the device's own code; the imager
beside the page is the fake one, with ten thousand recordings in its list.
"""

import tempfile
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

from device.simulate import simulate
from tests import chromium
from tests.device.test_comparison import BASE, TIP, scene, second_run
from tests.many_recordings import listed_recordings, many_recordings
from tests.web_ui.browser.conftest import LANDSCAPE, PORTRAIT, expect_live, free_port_pair, web_process
from tests.web_ui.browser.page_device import PageDevice
from tests.web_ui.browser.test_compare_and_export_places import COMPARE, LOADED
from tests.web_ui.browser.test_recordings_place import FIRST_PAGE, LATER, PHONE

FOLDER = Path(__file__).resolve().parents[3] / "tests" / "screenshots"
SIZES = {"landscape": LANDSCAPE, "portrait": PORTRAIT, "phone": PHONE}


def _filled(data: Path) -> list[str]:
    """Ten thousand listed recordings, six real ones, whose names are returned, and two runs of one view."""
    folder = data / "recordings"
    listed_recordings(folder, 10_000)
    names = many_recordings(folder, 6, first=LATER, letter="R")
    simulate(scene(), folder / "before.zarr", 120.0, seed=4)
    second_run(data, 5, 0.48, 14.0).rename(folder / "after5.zarr")
    return names


def _keep(page: Page, name: str) -> None:
    for size, (width, height) in SIZES.items():
        page.set_viewport_size({"width": width, "height": height})
        page.evaluate("() => new Promise((drawn) => requestAnimationFrame(() => requestAnimationFrame(drawn)))")
        page.screenshot(path=FOLDER / f"{name}-{size}.png")


def _recordings(page: Page, address: str) -> None:
    page.goto(f"{address}#recordings/*")
    page.wait_for_function(FIRST_PAGE)
    page.locator(".choose-label").nth(0).tap()
    page.locator(".choose-label").nth(1).tap()
    _keep(page, "recordings-all")
    page.goto(f"{address}#recordings/R0-Heron")
    page.locator("#dye-card").wait_for()
    page.locator("#dye-card").get_by_text("Enter a dose").tap()
    page.get_by_label("Body mass, kg").fill("62.5")
    page.keyboard.press("Enter")
    page.locator("#dye-card progress").wait_for()
    _keep(page, "recordings-case")


def _export(page: Page, address: str, names: list[str], device: PageDevice) -> None:
    page.goto(f"{address}#export/{names[0]}/{names[1]}")
    page.locator("#export-drives label").wait_for()
    _keep(page, "export-ready")
    device.records.export_ends_at_once = False
    page.locator("#export-start").tap()
    page.locator("#export-jobs .runs").wait_for()
    device.records.change_export(done=0.42)
    page.locator("#export-jobs .job-bar").wait_for()
    page.locator("#export-jobs").scroll_into_view_if_needed()
    _keep(page, "export-running")
    device.records.end_export()


def _compare(page: Page, address: str) -> None:
    page.goto(f"{address}#compare/before/after5")
    page.locator("#compare-start").wait_for()
    page.evaluate(COMPARE, [BASE, TIP])
    page.locator(".region-card").wait_for(timeout=120_000)
    for look in ("beside", "blend", "difference"):
        page.locator(f"[data-look={look}]").tap()
        page.wait_for_function(LOADED)
        _keep(page, f"compare-{look}")
    page.locator("#compare-figures").scroll_into_view_if_needed()
    page.evaluate("() => { document.documentElement.dataset.theme = 'bright'; }")
    _keep(page, "compare-bright")


def _other_languages(page: Page, address: str, names: list[str]) -> None:
    """Compare's figures and export, where words are longer."""
    for language in ("de", "es"):
        page.evaluate("(language) => localStorage.setItem('language', language)", language)
        page.goto("about:blank")
        page.goto(f"{address}#compare/before/after5")
        page.locator(".region-card").wait_for()
        page.locator("#compare-figures").scroll_into_view_if_needed()
        _keep(page, f"compare-figures-{language}")
        page.goto(f"{address}#export/{names[0]}/{names[1]}")
        page.locator("#export-drives label").wait_for()
        _keep(page, f"export-{language}")


def main() -> None:
    """Take all of them."""
    FOLDER.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        run, data = Path(folder) / "run", Path(folder) / "data"
        run.mkdir()
        data.mkdir()
        names = _filled(data)
        browser = playwright.chromium.launch(executable_path=chromium.PATH, args=chromium.FLAGS)
        with PageDevice(run, data) as device, web_process(run, data, free_port_pair()) as web:
            page = browser.new_context(has_touch=True).new_page()
            page.goto(f"{web.url}/#pair={web.pair}")
            expect_live(page)
            _recordings(page, f"{web.url}/")
            _export(page, f"{web.url}/", names, device)
            _compare(page, f"{web.url}/")
            _other_languages(page, f"{web.url}/", names)
        browser.close()
    print(f"pictures are in {FOLDER}")


if __name__ == "__main__":
    main()
