"""Text at twice its size, by zoom and by the browser's size of text: nothing is lost or scrolls sideways (WCAG 2.2, 1.4.4)."""

from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.web_ui.browser.conftest import LANDSCAPE, PORTRAIT, WebProcess, leave, new_tablet

pytestmark = pytest.mark.browser

PHONE = (390, 844)
USUAL_PX = 16
"""Size of text that browsers start from."""

REGISTERED = "() => [...document.querySelectorAll('[data-place]')].map((tile) => tile.dataset.place)"
LOST = """() => {
  const seen = (one) => one.checkVisibility() && one.clientWidth > 0 && !one.closest(".unseen, svg, canvas");
  const spills = (one) => one.scrollWidth > one.clientWidth + 1;
  const clips = (one) => ["hidden", "clip"].includes(getComputedStyle(one).overflowX);
  const all = [...document.querySelectorAll("body *")].filter((one) => seen(one) && spills(one));
  const lost = all.filter((one) => clips(one) || one.matches("button, .bar-cell, .bar-title"));
  const sideways = [document.documentElement, ...all.filter((one) => one.matches("main, .sheet"))].filter(spills);
  return [...lost, ...sideways].map((one) => `${one.tagName} #${one.id} .${one.className}: ${one.textContent.trim().slice(0, 40)}`);
}"""


@contextmanager
def enlarged(chrome: Browser, how: str, size: tuple[int, int]) -> Iterator[Page]:
    """A page whose text is twice as large: zoom halves the window in CSS pixels, a larger default leaves it."""
    context = new_tablet(chrome, (size[0] // 2, size[1] // 2) if how == "zoom" else size)
    page = context.new_page()
    if how != "zoom":
        context.new_cdp_session(page).send("Page.setFontSizes", {"fontSizes": {"standard": 2 * USUAL_PX, "fixed": 26}})
    yield page
    leave(page)
    context.close()


@pytest.mark.usefixtures("device")
@pytest.mark.parametrize(
    ("how", "size", "language"),
    [
        ("zoom", LANDSCAPE, "es"),
        ("zoom", PORTRAIT, "en"),
        ("size of text", LANDSCAPE, "en"),
        ("size of text", PHONE, "de"),
    ],
)
def test_nothing_is_lost_at_twice_the_text(
    web: WebProcess, chrome: Browser, how: str, size: tuple[int, int], language: str
) -> None:
    with enlarged(chrome, how, size) as page:
        page.add_init_script(f"localStorage.setItem('language', '{language}')")
        page.goto(web.url)
        expect(page.locator("#pairing")).to_be_visible()
        found = {"pairing": page.evaluate(LOST)}
        page.goto("about:blank")
        page.goto(f"{web.url}/#pair={web.pair}")
        page.wait_for_function(
            "() => !document.getElementById('live').hidden && document.querySelector('.not-live') === null"
        )
        for place in page.evaluate(REGISTERED):
            page.locator("[data-sheet=sheet-places]:visible").tap()
            found[f"the Places sheet before {place}"] = page.evaluate(LOST)
            page.locator(f"[data-place={place}]").tap()
            expect(page.locator(f"main#{place}")).to_be_visible()
            found[place] = page.evaluate(LOST)
        size_px = page.evaluate("() => parseFloat(getComputedStyle(document.documentElement).fontSize)")
        assert size_px == (USUAL_PX if how == "zoom" else 2 * USUAL_PX)
    assert {where: what for where, what in found.items() if what} == {}
