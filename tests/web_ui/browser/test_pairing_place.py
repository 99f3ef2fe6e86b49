"""Pairing: nothing is shown to whoever does not know the word."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.web_ui.browser.accessibility import axe_finds
from tests.web_ui.browser.conftest import PAIR_WORD, WebProcess, expect_live, new_tablet

pytestmark = [pytest.mark.browser, pytest.mark.usefixtures("device")]


def test_an_unpaired_page_asks_for_the_word(web: WebProcess, opened: Callable[..., Page]) -> None:
    page = opened(web.url)
    expect(page.get_by_label("Word shown by the device")).to_be_focused()
    expect(page.locator("#live")).to_be_hidden()
    expect(page.locator("#pairing").get_by_text("Not a certified medical device")).to_be_visible()
    page.keyboard.type("wrong word")
    page.keyboard.press("Enter")
    expect(page.locator("#pairing-line")).to_contain_text("not the word")
    page.get_by_label("Word shown by the device").fill(PAIR_WORD)
    page.get_by_role("button", name="Pair").click()
    expect_live(page)
    page.reload()
    expect_live(page)


def test_the_word_of_a_link_leaves_the_history(web: WebProcess, opened: Callable[..., Page]) -> None:
    page = opened(f"{web.url}/#pair={web.pair}")
    expect_live(page)
    assert page.url.rstrip("/") == web.url.rstrip("/")
    page.goto(f"{web.url}/api/v1/openapi.json")
    page.go_back()
    expect_live(page)
    assert "pair" not in page.url


@pytest.mark.parametrize(("locale", "title"), [("de-AT", "Dieses Tablet koppeln"), ("es-MX", "Emparejar esta tableta")])
def test_pairing_speaks_the_browsers_language_and_any_other(
    web: WebProcess, chrome: Browser, locale: str, title: str
) -> None:
    tablet = new_tablet(chrome, locale=locale)
    page = tablet.new_page()
    page.goto(web.url)
    expect(page.get_by_role("heading", name=title)).to_be_visible()
    assert axe_finds(page) == []
    page.get_by_role("button", name="English").tap()
    expect(page.get_by_role("heading", name="Pair this tablet")).to_be_visible()
    page.reload()
    expect(page.get_by_role("heading", name="Pair this tablet")).to_be_visible()
    tablet.close()
