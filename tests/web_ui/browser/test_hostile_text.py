"""Names, warnings and files that somebody chose to do harm: the page shows them as they are written, and nothing of them acts."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from shared.protocol import control as c
from tests.web_ui.browser.conftest import WebProcess, expect_live, open_sheet
from tests.web_ui.browser.page_device import PageDevice

pytestmark = pytest.mark.browser

SCRIPT = "<img src=x onerror=window.harm=1><script>window.harm=1</script>"
BACKWARDS = "\u202egnp.exe\u2066 \u200f"  # right-to-left override and isolate, as in file names that lie


def test_hostile_text_is_shown_inert(live: Page, device: PageDevice) -> None:
    name = f"A{BACKWARDS}"
    device.change(
        regions=(c.RegionState(f"{name}:700,500,80,80", name, 40.0, 1.0),),
        warnings=(SCRIPT + BACKWARDS,),
        recording={"ended_because": SCRIPT},
    )
    expect(live.locator("#line-text")).to_contain_text("<img src=x onerror=window.harm=1>")
    open_sheet(live, "Cautions")
    expect(live.locator("#device-warnings")).to_contain_text("<img src=x")
    live.locator("#quiet").get_by_role("button", name="Regions").click()
    expect(live.locator("#regions-list > li")).to_have_count(1)
    assert live.evaluate("() => [window.harm ?? 0, document.querySelectorAll('img[src=x], #live script').length]") == [
        0,
        0,
    ]
    # what reads backwards stays within its own box: words beside it keep their order
    isolated = live.evaluate(
        """() => [...document.querySelectorAll("#regions-list strong, #labels .label-name")]
             .map((one) => getComputedStyle(one).unicodeBidi)"""
    )
    assert isolated
    assert set(isolated) == {"isolate"}


def test_what_the_address_says_is_no_markup_and_no_way_elsewhere(web: WebProcess, opened: Callable[..., Page]) -> None:
    page = opened(f"{web.url}/#pair={SCRIPT}")
    expect(page.locator("#pairing-line")).not_to_be_empty()
    assert page.evaluate("() => window.harm ?? 0") == 0
    assert "#" not in page.url


def test_a_policy_keeps_foreign_code_out_even_if_some_got_into_the_page(live: Page) -> None:
    """Content Security Policy Level 3: neither inline nor foreign scripts run, and nothing is sent elsewhere."""
    found = live.evaluate(
        """async () => {
          const inline = document.createElement("script");
          inline.textContent = "window.harm = 1";
          const foreign = document.createElement("script");
          foreign.src = "http://127.0.0.1:9/harm.js";
          document.head.append(inline, foreign);
          const sent = await fetch("http://127.0.0.1:9/").then(() => "sent", () => "refused");
          return [window.harm ?? 0, sent];
        }"""
    )
    assert found == [0, "refused"]
    expect_live(live)
