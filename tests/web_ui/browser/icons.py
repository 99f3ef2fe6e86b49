"""``python -m tests.web_ui.browser.icons`` draws the page's icons anew from web_ui/static/icons/icon.svg."""

from pathlib import Path

from playwright.sync_api import sync_playwright

from tests import chromium

FOLDER = Path(__file__).resolve().parents[3] / "web_ui" / "static" / "icons"
GROUND = "#0c0f12"
SAFE = 0.8
"""A launcher may cut a maskable icon to a circle of this share of its side (W3C, Web Application Manifest: safe zone)."""


def main() -> None:
    """Write them over those that are there."""
    svg = (FOLDER / "icon.svg").read_text()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium.PATH, args=chromium.FLAGS)
        for name, side, share in (
            ("icon-180", 180, 1),
            ("icon-192", 192, 1),
            ("icon-512", 512, 1),
            ("icon-maskable-512", 512, SAFE),
        ):
            page = browser.new_page(viewport={"width": side, "height": side})
            full = "" if share == 1 and side != 180 else f"background: {GROUND};"
            page.set_content(
                f"<style>body {{ margin: 0; {full} display: grid; place-items: center; height: 100vh }} "
                f"svg {{ width: {100 * share}%; height: {100 * share}% }}</style>{svg}"
            )
            page.screenshot(path=FOLDER / f"{name}.png", omit_background=True)
        browser.close()


if __name__ == "__main__":
    main()
