"""Pictures of pairing, the Places sheet and every registered place, empty as a newcomer finds them, into tests/screenshots/.

``python -m tests.web_ui.browser.place_screenshots``: tablet lying and standing, and a phone; dark and bright; all three languages.
Only the imager is a fake.
"""

import tempfile
from pathlib import Path

from playwright.sync_api import Browser, Locator, Page, sync_playwright

from tests import chromium
from tests.web_ui.browser.conftest import LANDSCAPE, PORTRAIT, WebProcess, free_port_pair, web_process
from tests.web_ui.browser.page_device import PageDevice
from tests.web_ui.browser.screenshots import FOLDER

PHONE = (390, 844)
TABLETS = {
    "landscape-dark-en": (LANDSCAPE, "dark", "en"),
    "landscape-bright-de": (LANDSCAPE, "bright", "de"),
    "portrait-bright-en": (PORTRAIT, "bright", "en"),
    "portrait-dark-es": (PORTRAIT, "dark", "es"),
    "phone-dark-de": (PHONE, "dark", "de"),
    "phone-bright-es": (PHONE, "bright", "es"),
}
REGISTERED = "() => [...document.querySelectorAll('[data-place]')].map((tile) => tile.dataset.place)"
SETTLED = "() => document.querySelector('[aria-busy=true]') === null && document.fonts.status === 'loaded'"


def choose(theme: str, language: str) -> str:
    """What a page runs first, so that it finds both chosen."""
    return f"localStorage.setItem('theme', '{theme}'); localStorage.setItem('language', '{language}');"


def take(browser: Browser, web: WebProcess, name: str) -> None:
    """One tablet, from pairing through all places."""
    (width, height), theme, language = TABLETS[name]
    context = browser.new_context(viewport={"width": width, "height": height}, has_touch=True)
    page = context.new_page()

    def keep(what: str) -> None:
        page.wait_for_function(SETTLED)
        page.screenshot(path=FOLDER / f"place-{what}-{name}.png")

    page.goto(web.url)
    page.evaluate(choose(theme, language))
    page.reload()
    page.locator("#pairing").wait_for()
    keep("pairing")
    page.goto("about:blank")
    page.goto(f"{web.url}/#pair={web.pair}")
    page.wait_for_function(
        "() => document.querySelector('#live:not([hidden])') && !document.querySelector('.not-live')"
    )
    for place in page.evaluate(REGISTERED):
        places(page).click()
        if place == "live":
            keep("sheet")
            page.locator("#sheet-places [data-sheet=sheet-tablets]").click()
            keep("tablets")
            places(page).click()
        page.locator(f"[data-place={place}]").click()
        page.locator(f"main#{place}").wait_for()
        keep(place)
    context.close()


def places(page: Page) -> Locator:
    """The way to other places."""
    return page.locator("[data-sheet=sheet-places]:visible")


def main() -> None:
    """Take them all."""
    FOLDER.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium.PATH, args=chromium.FLAGS)
        with PageDevice(Path(folder), Path(folder)), web_process(Path(folder), Path(folder), free_port_pair()) as web:
            for name in TABLETS:
                take(browser, web, name)
        browser.close()


if __name__ == "__main__":
    main()
