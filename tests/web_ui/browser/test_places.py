"""From place to place: each within two touches of each, the device's state in sight everywhere, nothing typed is lost."""

import itertools
import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from shared.protocol import control as c
from tests.web_ui.browser.accessibility import axe_finds
from tests.web_ui.browser.conftest import LANDSCAPE, PORTRAIT, WebProcess, expect_live, in_control, leave, new_tablet
from tests.web_ui.browser.page_device import PageDevice
from tests.web_ui.browser.test_live_place import lights

pytestmark = pytest.mark.browser

LANGUAGES = ("de", "es", "en")

PHONE = (390, 844)
SIZES = [LANDSCAPE, PORTRAIT, PHONE]
REGISTERED = "() => [...document.querySelectorAll('[data-place]')].map((tile) => tile.dataset.place)"
WAY = "[data-sheet=sheet-places]:visible"
SMALL = """() => [...document.querySelectorAll("button, input, select, a, summary")].filter((one) => one.checkVisibility())
  .map((one) => one.closest("label") ?? one).filter((one) => {
    const { width, height } = one.getBoundingClientRect();
    return Math.min(width, height) < 48;
  }).map((one) => one.outerHTML.slice(0, 200))"""
TABS = 60
PROBE_TABLE = """
export const PLACES = {
  live: async () => (await import("../live/live_place.js")).LivePlace,
  probe: async () => class {
    constructor(page) { this.page = page; this.heard = []; window.probe = this; }
    open(parts) { this.heard.push(["open", ...parts]); }
    close() { this.heard.push(["close"]); }
    relabel() { this.heard.push(["relabel"]); }
  },
};
"""
PROBE_MAIN = """document.addEventListener("DOMContentLoaded", () => {
  const main = document.createElement("main");
  main.id = "probe"; main.className = "place"; main.hidden = true;
  main.innerHTML = '<h1 tabindex="-1">Probe</h1><label>Typed <input id="typed"></label>';
  document.getElementById("live").after(main);
});"""


@pytest.fixture
def probe(web: WebProcess, device: PageDevice, chrome: Browser) -> Iterator[Page]:
    """A page with one more place, which remembers what it was told."""
    context = new_tablet(chrome)
    context.route("**/place_table.js", lambda route: route.fulfill(body=PROBE_TABLE, content_type="text/javascript"))
    context.route("**/words/en.ftl", lambda route: route.fulfill(body=_with_probe(route.fetch().text())))
    page = context.new_page()
    page.add_init_script(PROBE_MAIN)
    page.goto(f"{web.url}/#pair={web.pair}")
    expect_live(page)
    in_control(page, device)  # what the tablet before it asked of the light has ended
    yield page
    leave(page)
    context.close()


def _with_probe(words: str) -> str:
    return f"{words}\nprobe-place = Probe\nprobe-about = A place of this test\n"


def go(page: Page, place: str) -> None:
    """Two touches."""
    page.locator(WAY).tap()
    page.locator(f"[data-place={place}]").tap()
    expect(page.locator(f"main#{place}")).to_be_visible()


@pytest.mark.parametrize("size", SIZES, ids=["landscape", "portrait", "phone"])
def test_each_place_is_two_touches_from_each(live: Page, size: tuple[int, int]) -> None:
    live.set_viewport_size({"width": size[0], "height": size[1]})
    places = live.evaluate(REGISTERED)
    for place in [*places[1:], places[0]]:
        go(live, place)
        assert live.locator("main:visible").count() == 1
        assert live.evaluate(SMALL) == [], place
        live.locator(WAY).tap()
        live.locator("#sheet-places [data-sheet=sheet-tablets]").tap()
    go(live, "live")
    expect_live(live)


def test_each_place_is_reached_by_keyboard_alone(live: Page) -> None:
    def press_until(what: str, most: int = TABS) -> None:
        for _ in range(most):
            if live.evaluate("(wanted) => document.activeElement?.matches(wanted) ?? false", what):
                return
            live.keyboard.press("Tab")
        raise AssertionError(f"{most} times Tab did not lead to {what}")

    before = "live"
    for place in [*live.evaluate(REGISTERED), "live"]:
        press_until("[data-sheet=sheet-places]")
        live.keyboard.press("Enter")
        press_until(f"[data-place={place}]")
        live.keyboard.press("Enter")
        expect(live.locator(f"main#{place}")).to_be_visible()
        if place != before:
            expect(live.locator(f"main#{place} h1")).to_be_focused()
        before = place


SPEAK = """async (language) => {
  const own = document.querySelector("script[type=module]").src;
  await (await import(own.replace("page.js", "language.js"))).chooseLanguage(language);
}"""


def test_axe_finds_nothing_in_any_place_theme_or_language(live: Page) -> None:
    """Each place in both themes and two of the languages, by turns, so that all six pairs come up; the third in its own tests."""
    found: dict[str, list[str]] = {}
    turns = itertools.count()

    def look(where: str) -> None:
        turn = next(turns)
        for theme, language in (("dark", LANGUAGES[turn % 3]), ("bright", LANGUAGES[(turn + 1) % 3])):
            live.evaluate("(theme) => { document.documentElement.dataset.theme = theme; }", theme)
            live.evaluate(SPEAK, language)
            expect(live.locator("html")).to_have_attribute("lang", language)
            lines = axe_finds(live)
            found.update({f"{where}, {theme}, {language}": lines} if lines else {})

    live.locator(WAY).tap()
    look("the Places sheet")
    live.locator("#sheet-places [data-sheet=sheet-tablets]").tap()
    look("the Tablets sheet")
    for place in live.evaluate(REGISTERED):
        go(live, place)
        look(place)
    live.evaluate("() => localStorage.clear()")
    assert found == {}


def test_the_bar_tells_and_puts_the_light_out_and_leads_back(probe: Page, device: PageDevice) -> None:
    device.change(light={"state": "lit", "level": 0.6, "wanted_on": True}, recording={"name": "K7-Heron-9"})
    go(probe, "probe")
    assert probe.evaluate("() => [location.hash, document.title]") == ["#probe", "Probe · tapetum"]
    expect(probe.locator("#bar-live")).to_have_text(re.compile("NOT LIVE.*to the live picture", re.DOTALL))
    expect(probe.locator("#bar-light-word")).to_have_text("Light on 60 %")
    expect(probe.locator("#bar-recording-word")).to_contain_text("Rec ")
    device.requests.clear()
    probe.locator("#bar-light").tap()
    device.wait_for(lambda asked: c.Light("off") in asked)
    expect(probe.locator("#bar-light-word")).to_have_text("Light off")
    assert c.Light("on") not in device.requests
    device.close()
    expect(probe.locator("#bar-live")).to_have_text(re.compile("NOT LIVE.*no picture comes", re.DOTALL))
    expect(probe.locator("#bar-light-word")).to_have_text("Light not known")
    probe.locator("#bar-live").tap()
    expect(probe.locator("main#live")).to_be_visible()
    assert probe.evaluate("() => probe.heard") == [["open"], ["close"]]


def test_light_that_is_held_ends_with_the_live_place(probe: Page, device: PageDevice) -> None:
    device.requests.clear()
    box = probe.locator("#act-light").bounding_box()
    assert box is not None
    probe.mouse.move(box["x"] + 20, box["y"] + 20)
    probe.mouse.down()
    device.wait_for(lambda asked: "on" in lights(asked))
    probe.evaluate("() => { location.hash = '#probe'; }")
    asked = lights(device.wait_for(lambda asked: "off" in lights(asked)))
    expect(probe.locator("main#probe")).to_be_visible()
    assert "on" not in asked[asked.index("off") :]


def test_what_was_typed_stays_whatever_the_address_becomes(probe: Page) -> None:
    probe.evaluate("() => { location.hash = '#probe/K7%2F1/b'; }")
    probe.locator("#typed").fill("half a sentence")
    for address in ("#probe/other", "#nowhere/at/all", "#probe/%E0%A4%A"):
        probe.evaluate("(address) => { location.hash = address; }", address)
    go(probe, "probe")
    expect(probe.locator("#typed")).to_have_value("half a sentence")
    opened = [told[1:] for told in probe.evaluate("() => probe.heard") if told[0] == "open"]
    assert opened == [["K7/1", "b"], ["other"], []]
    probe.go_back()
    expect(probe.locator("main#live")).to_be_visible()


def test_another_language_changes_every_word_and_nothing_else(live: Page, device: PageDevice) -> None:
    device.change(recording={"name": "K7-Heron-9"})
    live.get_by_role("button", name="Note").tap()
    live.locator("#note-text").fill("half a sentence")
    live.locator(WAY).tap()
    live.get_by_role("button", name="Deutsch").tap()
    expect(live.get_by_role("heading", name="Orte")).to_be_visible()
    expect(live.locator("#role")).to_have_text(re.compile("^Sie (steuern|sehen zu)$"))
    expect(live.locator("#recording-word")).to_contain_text("Aufn. ")
    expect(live.locator("#note-text")).to_have_value("half a sentence")
    live.get_by_role("button", name="Hell", exact=True).tap()
    expect(live.locator("html")).to_have_attribute("data-theme", "bright")
    live.reload()
    expect(live.locator("html")).to_have_attribute("lang", "de")
    expect(live.locator("html")).to_have_attribute("data-theme", "bright")
    live.locator(WAY).tap()
    live.get_by_role("button", name="English").tap()
    expect(live.get_by_role("heading", name="Places")).to_be_visible()
    live.evaluate("() => localStorage.clear()")


def test_who_asked_for_stillness_gets_it(live: Page) -> None:
    running = "() => document.getAnimations().filter((one) => one.playState === 'running').length"
    live.emulate_media(reduced_motion="no-preference")
    expect(live.locator("#reference-wish")).to_be_visible()
    assert live.evaluate(running) > 0
    live.emulate_media(reduced_motion="reduce")
    assert live.evaluate(running) == 0
