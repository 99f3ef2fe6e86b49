"""The live place in a real browser: picture, values, light, recording."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from shared.protocol import control as c
from shared.region import Region
from tests.web_ui.browser.conftest import (
    AGED,
    WebProcess,
    awake,
    drag_on_picture,
    expect_live,
    free_port_pair,
    open_sheet,
    point_on_picture,
    web_process,
)
from tests.web_ui.browser.page_device import PageDevice
from tests.web_ui.fake_records import FEW

pytestmark = pytest.mark.browser

DIFFERENT_PICTURES = """() => new Promise((done) => {
  const canvas = document.getElementById("canvas");
  const seen = new Set();
  const look = () => {
    const pixels = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
    let sum = 0;
    for (let i = 0; i < pixels.length; i += 4001) sum = (sum * 31 + pixels[i]) % 1000003;
    seen.add(sum);
    if (seen.size >= 5) done([canvas.width, canvas.height]);
    else requestAnimationFrame(look);
  };
  look();
})"""

WHEN_NOT_LIVE = """() => new Promise((done) => {
  let before = performance.now();
  let stalled = 0;
  const ticks = setInterval(() => {
    stalled = Math.max(stalled, performance.now() - before);
    before = performance.now();
  }, 10);
  const told = () => {
    if (!document.body.classList.contains("not-live")) return;
    clearInterval(ticks);
    done([document.getElementById("frame-age").textContent, Math.max(stalled, performance.now() - before) / 1000]);
  };
  new MutationObserver(told).observe(document.body, { attributes: true });
  told();
})"""
"""Age of the picture when the page says so, and for how long at most this machine let the page do nothing meanwhile."""


def lights(requests: list[object]) -> list[str]:
    return [request.act for request in requests if isinstance(request, c.Light)]


def views(requests: list[object]) -> list[str]:
    return [request.view for request in requests if isinstance(request, c.SetView)]


def regions(requests: list[object]) -> list[Region]:
    return [Region.parse(request.region) for request in requests if isinstance(request, c.PutRegion)]


def references(requests: list[object]) -> list[str | None]:
    return [request.region for request in requests if isinstance(request, c.SetReference)]


def test_pictures_follow_one_another(live: Page) -> None:
    assert live.evaluate(DIFFERENT_PICTURES) == [1456, 1088]


def test_numbers_are_those_of_the_picture(live: Page, device: PageDevice) -> None:
    device.change(
        reference=c.RegionState("Reference:100,100,40,40", "Reference", 100.0, 0.5),
        regions=(c.RegionState("Tip:900,500,80,80", "Tip", None, None),),
    )
    label = live.locator("#labels .label", has_text="Tip")
    for _ in range(3):
        expect(label).to_contain_text("±")
        sequence, text = live.evaluate(
            "() => { const label = document.querySelector('.label[data-name=Tip]');"
            " return [Number(label.dataset.sequence), label.querySelector('.label-value').textContent]; }"
        )
        value = device.published(sequence)["values"][0]
        assert text == f"{int(value['percent'] + 0.5)}\u00a0±\u00a0{int(value['percent_u'] + 0.5)}\u00a0%"
        expect(label).not_to_have_attribute("data-sequence", str(sequence))
    expect(live.locator("#labels .label", has_text="Reference")).to_contain_text("100 %")


def test_no_value_says_why(live: Page, device: PageDevice) -> None:
    device.change(regions=(c.RegionState("Tip:900,500,80,80", "Tip", None, None),))
    expect(live.locator("#labels .label", has_text="Tip")).to_contain_text("no reference")


def test_what_ails_the_reference_is_said_once(live: Page, device: PageDevice) -> None:
    device.ail_reference("reference too dark")
    device.change(
        reference=c.RegionState("Reference:100,100,40,40", "Reference", None, None),
        regions=(c.RegionState("Tip:900,500,80,80", "Tip", None, None),),
    )
    expect(live.locator(".label[data-name=Reference] .label-value")).to_have_text("too dark")
    expect(live.locator(".label[data-name=Tip] .label-value")).to_have_text("–")


def test_a_saturated_reference_is_announced_with_the_first_picture_that_shows_it(
    live: Page, device: PageDevice
) -> None:
    device.ail_reference("reference saturated")
    device.change(reference=c.RegionState("Reference:100,100,40,40", "Reference", None, None))
    expect(live.locator("#line-text")).to_have_text(re.compile("reference is saturated.*Dim the light"))
    device.ail_reference("")
    expect(live.locator("#line")).to_be_hidden()


def test_exposure_is_set_by_one_touch_and_said(live: Page, device: PageDevice) -> None:
    open_sheet(live, "Exposure")
    live.get_by_role("button", name="Set exposure").click()
    device.wait_for(lambda requests: c.ChooseExposure(apply=True) in requests)
    expect(live.locator("#line-text")).to_have_text(
        "Exposure set: 12.0 ms, gain 1.0 ×, light 40 % (brighter); base at 15 % of full scale."
    )


def test_a_silent_camera_is_not_live_within_half_a_second_and_comes_back(live: Page, device: PageDevice) -> None:
    device.fall_silent()
    age, stalled_s = live.evaluate(WHEN_NOT_LIVE)
    assert 0.5 <= float(age.split()[0]) <= 0.7 + stalled_s, (age, stalled_s)
    expect(live.locator("#band")).to_have_text(AGED)
    expect(live.locator("#canvas")).to_have_css("filter", "grayscale(1) brightness(0.7)")
    expect(live.locator("#veil")).to_be_visible()
    device.speak_again()
    expect_live(live)
    expect(live.locator("#band")).to_be_hidden()
    expect(live.locator("#canvas")).to_have_css("filter", "none")


def test_a_dead_imager_is_not_live_and_nothing_is_pretended(live: Page, device: PageDevice) -> None:
    device.close()
    expect(live.locator("#live-word")).to_have_text("NOT LIVE")
    expect(live.locator("#light-word")).to_have_text("Light not known")
    expect(live.locator("#recording-word")).to_have_text("Rec not known")


def test_the_page_comes_back_by_itself_when_the_web_process_does(tmp_path: Path, opened: Callable[..., Page]) -> None:
    folders, port = (tmp_path, tmp_path), free_port_pair()
    with PageDevice(*folders):
        _restarts(folders, port, opened)


def _restarts(folders: tuple[Path, Path], port: int, opened: Callable[..., Page]) -> None:
    with web_process(*folders, port) as web:
        page = opened(f"{web.url}/#pair={web.pair}")
        expect_live(page)
    expect(page.locator("#live-word")).to_have_text("NOT LIVE")
    expect(page.locator("#light-word")).to_have_text("Light not known")
    with web_process(*folders, port):
        expect_live(page)
    (folders[0] / "sessions.json").unlink()
    with web_process(*folders, port):
        awake(page)
        expect(page.get_by_label("Word shown by the device")).to_be_visible()


def test_the_first_touch_is_the_reference_the_next_a_region(live: Page, device: PageDevice) -> None:
    expect(live.locator("#reference-wish")).to_be_visible()
    live.touchscreen.tap(*point_on_picture(live, 0.25, 0.5))
    asked = references(device.wait_for(lambda all_asked: bool(references(all_asked))))
    x, y, width, height = Region.parse(str(asked[0])).numbers
    assert abs(x + width / 2 - 0.25 * 1456) <= 3
    assert abs(y + height / 2 - 0.5 * 1088) <= 3
    expect(live.locator("#reference-wish")).to_be_hidden()
    live.touchscreen.tap(*point_on_picture(live, 0.75, 0.25))
    (region,) = regions(device.wait_for(lambda all_asked: bool(regions(all_asked))))
    assert region.name == "A"
    live.locator("#line").get_by_role("button", name="Undo").click()
    device.wait_for(lambda all_asked: c.RemoveRegion("A") in all_asked)


def test_a_finger_on_an_offer_is_not_lost_as_the_words_beside_it_change(live: Page, device: PageDevice) -> None:
    words = live.locator("#line-text")
    device.change(light={"state": "tripped", "reason": "no fresh frame for 100 ms"})
    expect(words).to_contain_text("100 ms")
    live.locator("#canvas").focus()
    live.keyboard.press("Enter")
    undo = live.locator("#line").get_by_role("button", name="Undo")
    undo.hover()
    live.mouse.down()
    device.change(light={"reason": "no fresh frame for 101 ms"})
    expect(words).to_contain_text("101 ms")
    live.mouse.up()
    device.wait_for(lambda all_asked: references(all_asked)[-1:] == [None])


def test_a_drag_is_a_region_also_in_either_half(live: Page, device: PageDevice) -> None:
    device.change(view="side by side")
    expect(live.locator("#view-word")).to_have_text("side by side")
    live.evaluate(DIFFERENT_PICTURES)
    drag_on_picture(live, (0.10, 0.20), (0.20, 0.60))
    drag_on_picture(live, (0.60, 0.20), (0.70, 0.60))
    left, right = regions(device.wait_for(lambda all_asked: len(regions(all_asked)) == 2))
    assert (left.name, right.name) == ("A", "B")
    for one, other, wanted in zip(
        left.numbers, right.numbers, (0.2 * 1456, 0.2 * 1088, 0.2 * 1456, 0.4 * 1088), strict=True
    ):
        assert abs(one - wanted) <= 5
        assert abs(one - other) <= 5


def test_holding_a_region_opens_its_menu(live: Page, device: PageDevice) -> None:
    device.change(regions=(c.RegionState("A:700,500,80,80", "A", None, None),))
    expect(live.locator("#labels .label")).to_have_count(1)
    live.mouse.move(*point_on_picture(live, 740 / 1456, 540 / 1088))
    live.mouse.down()
    menu = live.locator("#spot-menu")
    expect(menu).to_be_visible()
    live.mouse.up()
    menu.get_by_role("button", name="Rename").click()
    menu.get_by_role("button", name="Tip").click()
    asked = device.wait_for(lambda all_asked: c.RemoveRegion("A") in all_asked)
    assert asked.index(c.PutRegion("Tip:700,500,80,80")) < asked.index(c.RemoveRegion("A"))


def test_light_burns_while_held_and_goes_out_on_release(live: Page, device: PageDevice) -> None:
    box = live.locator("#act-light").bounding_box()
    assert box is not None
    live.mouse.move(box["x"] + 20, box["y"] + 20)
    live.mouse.down()
    device.wait_for(lambda all_asked: lights(all_asked).count("on") >= 3)
    expect(live.locator("#light-word")).to_have_text("Light on 60 %")
    live.mouse.up()
    device.wait_for(lambda all_asked: lights(all_asked)[-1] == "off")  # behind an "on" that was still under way, too
    expect(live.locator("#light-word")).to_have_text("Light off")


def test_a_second_finger_does_not_put_the_light_out(live: Page, device: PageDevice) -> None:
    box = live.locator("#act-light").bounding_box()
    assert box is not None
    live.mouse.move(box["x"] + 20, box["y"] + 20)
    live.mouse.down()
    live.locator("#canvas").focus()
    live.keyboard.press("Enter")
    device.wait_for(lambda all_asked: bool(references(all_asked)) and lights(all_asked).count("on") >= 3)
    assert "off" not in lights(device.requests)
    live.mouse.up()
    device.wait_for(lambda all_asked: lights(all_asked)[-1] == "off")


def test_a_key_that_lost_its_button_puts_the_light_out(live: Page, device: PageDevice) -> None:
    live.locator("#act-light").focus()
    live.keyboard.down("Space")
    device.wait_for(lambda all_asked: "on" in lights(all_asked))
    live.locator("#act-still").focus()
    device.wait_for(lambda all_asked: lights(all_asked)[-1] == "off")
    live.keyboard.up("Space")


@pytest.mark.parametrize("lost", ["blur", "pagehide"])
def test_light_goes_out_when_the_page_is_left(live: Page, device: PageDevice, lost: str) -> None:
    box = live.locator("#act-light").bounding_box()
    assert box is not None
    live.mouse.move(box["x"] + 20, box["y"] + 20)
    live.mouse.down()
    device.wait_for(lambda all_asked: "on" in lights(all_asked))
    if lost == "blur":
        live.evaluate("() => dispatchEvent(new Event('blur'))")
    else:
        live.goto("about:blank")
    device.wait_for(lambda all_asked: lights(all_asked)[-1:] == ["off"])


def test_light_by_keyboard_and_by_switch(live: Page, device: PageDevice) -> None:
    live.locator("#act-light").focus()
    live.keyboard.down("Space")
    device.wait_for(lambda all_asked: lights(all_asked) == ["on"])
    live.keyboard.up("Space")
    device.wait_for(lambda all_asked: lights(all_asked)[-1] == "off")
    device.change(hold_to_light=False, light={"wanted_level": 0.8})
    expect(live.locator("#light-level")).to_have_text("set to 80 %")
    device.requests.clear()
    with live.expect_response(lambda response: response.url.endswith("/light")):
        live.locator("#act-light").click()
    device.wait_for(lambda all_asked: lights(all_asked)[-1:] == ["on"])
    expect(live.locator("#act-light")).to_have_attribute("aria-pressed", "true")


def test_a_trip_says_why_and_one_press_only_rearms(live: Page, device: PageDevice) -> None:
    device.change(light={"state": "tripped", "reason": "no fresh frame for 100 ms"})
    expect(live.locator("#light-word")).to_have_text("Light tripped")
    expect(live.locator("#line-text")).to_contain_text("No fresh frame for 100 ms.")
    live.locator("#act-light").click()
    asked = device.wait_for(lambda all_asked: bool(lights(all_asked)))
    assert lights(asked) == ["rearm"]
    expect(live.locator("#light-word")).to_have_text("Light off")


def test_recording_starts_at_a_touch_and_stops_after_a_question(live: Page, device: PageDevice) -> None:
    live.locator("#act-record").click()
    device.wait_for(lambda all_asked: c.Record("start") in all_asked)
    expect(live.locator("#recording-word")).to_have_text(re.compile(r"^Rec \d:\d[1-9]$"))
    live.locator("#act-record").click()
    live.locator("#line").get_by_role("button", name="Stop").click()
    device.wait_for(lambda all_asked: c.Record("stop") in all_asked)
    expect(live.locator("#recording-word")).to_have_text("Not recording")


def test_dye_in_starts_clock_and_recording_and_can_be_undone(live: Page, device: PageDevice) -> None:
    open_sheet(live, "Case")
    live.locator("#case-code").fill("K7-Heron")
    live.locator("#act-dye").click()
    expect(live.locator("#since-injection")).to_have_text(re.compile(r"^Dye \d:\d[1-9]$"))
    expect(live.locator("#recording-word")).to_contain_text("Rec 0:")
    expect(live.locator("#line-text")).to_have_text("Dye in: the clock runs, and a recording with it.")
    assert c.MarkInjection(False, "K7-Heron") in device.requests
    live.locator("#line").get_by_role("button", name="Undo").click()
    expect(live.locator("#since-injection")).to_have_text("No dye yet")
    expect(live.locator("#line-text")).to_have_text("Dye in taken back. The recording goes on.")
    expect(live.locator("#recording-word")).to_contain_text("Rec 0:")


def test_two_quick_touches_are_two_steps_of_the_view(live: Page, device: PageDevice) -> None:
    device.change(view="relative")
    expect(live.locator("#view-word")).to_have_text("relative")
    live.evaluate("() => { const view = document.getElementById('act-view'); view.click(); view.click(); }")
    asked = device.wait_for(lambda all_asked: len(views(all_asked)) == 2)
    assert views(asked) == ["side by side", "grey"]
    expect(live.locator("#view-word")).to_have_text("grey")


def test_still_is_kept_and_shown(live: Page) -> None:
    live.locator("#act-still").click()
    live.locator("#line").get_by_role("button", name="Show").click()
    expect(live.locator("#still-picture")).to_have_js_property("naturalWidth", 1456)


def test_a_refusal_is_in_sight_over_a_sheet(live: Page, device: PageDevice, size: tuple[int, int]) -> None:
    live.set_viewport_size({"width": size[0], "height": size[1]})
    open_sheet(live, "Note")
    live.get_by_role("button", name="Skin marked").click()
    words = live.locator("#line-text")
    expect(words).to_be_visible()
    on_top = "(one) => { const box = one.getBoundingClientRect(); return [0.02, 0.5, 0.98].every((share) =>"
    on_top += " one.contains(document.elementFromPoint(box.left + share * box.width, box.top + box.height / 2))); }"
    assert words.evaluate(on_top)


def test_refusals_are_one_calm_line(live: Page) -> None:
    open_sheet(live, "Note")
    live.get_by_role("button", name="Skin marked").click()
    expect(live.locator("#line-text")).to_have_text(
        "there is no recording to keep the note in; start a recording first"
    )


def test_a_case_is_opened_and_leads_to_its_recordings(live: Page, device: PageDevice, tmp_path: Path) -> None:
    device.records.folder = tmp_path  # without recordings of other tests
    open_sheet(live, "Case")
    expect(live.locator("#live-open-case")).to_have_text("No case is open")
    live.locator("#case-code").fill("K7-Heron")
    live.keyboard.press("Enter")
    expect(live.locator("#live-open-case")).to_have_text("K7-Heron")
    expect(live.locator("#case-code")).to_have_value("")
    live.get_by_role("link", name="All cases and recordings").click()
    rows = live.locator("#recording-list > li")
    expect(rows).to_have_count(len(FEW))
    assert rows.evaluate_all("rows => rows.map((row) => row.dataset.name)") == [one.name for one in FEW]


def test_nothing_is_asked_of_anyone_else(web: WebProcess, device: PageDevice, opened: Callable[..., Page]) -> None:
    asked: list[str] = []

    def watch(page: Page) -> None:
        page.on("request", lambda request: asked.append(request.url))
        page.on("websocket", lambda socket: asked.append(socket.url))

    page = opened(f"{web.url}/#pair={web.pair}", watch=watch)
    expect_live(page)
    own = (f"http://127.0.0.1:{web.port}/", f"ws://127.0.0.1:{web.port + 1}/")
    assert any(url.startswith("ws:") for url in asked)
    assert [url for url in asked if not url.startswith(own)] == []
