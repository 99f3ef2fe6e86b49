"""The whole job from pairing to exported files, and what disturbs it, on the real processes: only camera and ring are simulated."""

import csv
import hashlib
import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image
from playwright.sync_api import Page, expect

from shared.recording import Recording
from tests.bench.running_demo import START_S, Demo, wait_for
from tests.web_ui.browser.conftest import (
    LANDSCAPE,
    PORTRAIT,
    WORK_MS,
    expect_live,
    in_control,
    open_sheet,
    point_on_picture,
)
from tests.web_ui.browser.real_device import (
    BASE_AT,
    TIP_AT,
    TIP_PERCENT,
    FingerOnLight,
    real_device,
    steady_light,
)
from tests.web_ui.browser.test_live_place import DIFFERENT_PICTURES

pytestmark = pytest.mark.browser

PHONE = (390, 844)
ARRIVAL_S = 1.0
"""Of the scene."""

NEWEST_OF_CURVES = """async () => {
  const { curves } = await (await fetch("/api/v1/curves")).json();
  const at = curves[0].signal.findLastIndex((signal, index) => signal !== null && curves[1].signal[index] !== null);
  return curves.map(({ signal, signal_u, baseline }) => [signal[at] - baseline, signal_u[at]]);
}"""


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Demo]:
    with real_device(tmp_path_factory.mktemp("whole-job")) as running:
        yield running


def go(page: Page, place: str) -> None:
    """Two touches."""
    page.locator("[data-sheet=sheet-places]:visible").tap()
    page.locator(f"[data-place={place}]").tap()
    expect(page.locator(f"main#{place}")).to_be_visible()


def line_act(page: Page, word: str) -> None:
    page.locator("#line").get_by_role("button", name=word, exact=True).tap()


def pair_by_word(page: Page, word: str) -> None:
    page.get_by_label("Word shown by the device").fill(word)
    page.get_by_role("button", name="Pair", exact=True).tap()
    expect_live(page)
    in_control(page)


def note(page: Page, word: str) -> None:
    """By touches: the mouse stands for the finger that holds the light."""
    page.locator("#quiet [data-sheet=sheet-note]").tap()
    page.get_by_role("button", name=word, exact=True).tap()
    expect(page.locator("#line-text")).to_have_text(f"Note kept: {word}")


def record_a_run(page: Page, demo: Demo, finger: FingerOnLight, dye_act: str) -> None:
    """Baseline, dye, six seconds, stop; light is held."""
    steady_light(demo, finger)
    page.locator("#act-record").tap()
    finger.until("#recording-word", "Rec 0:02")
    page.locator("#act-dye").tap()
    line_act(page, dye_act)
    expect(page.locator("#since-injection")).to_have_text(re.compile("^Dye 0:0[0-5]$"))  # the clock runs anew
    finger.until("#since-injection", "Dye 0:06")
    page.locator("#act-record").tap()
    line_act(page, "Stop")
    expect(page.locator("#recording-word")).to_have_text("Not recording")


def test_from_pairing_to_exported_files(demo: Demo, opened: Callable[..., Page], tmp_path: Path) -> None:
    page = opened(demo.url, LANDSCAPE)
    pair_by_word(page, demo.word)
    open_sheet(page, "Case")
    page.locator("#case-code").fill("K7-Heron")
    page.keyboard.press("Enter")
    expect(page.locator("#live-open-case")).to_have_text("K7-Heron")
    page.locator("#sheet-case .close").tap()
    for _ in range(4):
        page.locator("#act-brighter").tap()
    expect(page.locator("#light-level")).to_have_text("set to 100 %")
    assert page.evaluate(DIFFERENT_PICTURES) == [364, 272]
    with FingerOnLight(page) as finger:
        for where, count in ((BASE_AT, 1), (TIP_AT, 2)):
            page.touchscreen.tap(*point_on_picture(page, *where))
            expect(page.locator("#labels .label")).to_have_count(count)
        steady_light(demo, finger)
        page.locator("#act-record").tap()
        finger.until("#recording-word", "Rec 0:02")
        page.locator("#act-dye").tap()
        expect(page.locator("#line-text")).to_contain_text("Dye in: the clock runs. The recording goes on.")
        finger.until("#since-injection", "Dye 0:03")
        shown, uncertainty = value_shown(page)
        assert abs(shown - TIP_PERCENT) <= 1 + 3 * uncertainty
        base, tip = page.evaluate(NEWEST_OF_CURVES)
        assert abs(100 * tip[0] / base[0] - TIP_PERCENT) <= 1 + 300 * tip[1] / base[0]
        note(page, "Pull on")
        page.locator("#act-still").tap()
        expect(page.locator("#line-text")).to_contain_text("Still kept: ")
        finger.until("#since-injection", "Dye 0:06")
        page.locator("#act-record").tap()
        line_act(page, "Stop")
        expect(page.locator("#recording-word")).to_have_text("Not recording")
        record_a_run(page, demo, finger, "Dye in again")
    expect(page.locator("#light-word")).not_to_contain_text("Light on")
    second, first = recordings(page)
    looked_at_again(page, first)
    compared(page, first, second)
    exported(page, [first, second], tmp_path)
    check_files(demo, [first, second], tmp_path)


def value_shown(page: Page) -> tuple[int, int]:
    """The tip's percentage and its uncertainty as they stand beside it."""
    label = page.locator(".label[data-name=A] .label-value")
    expect(label).to_contain_text("±")
    value, _, u = (label.text_content() or "").removesuffix("\u00a0%").partition("\u00a0±\u00a0")
    return int(value), int(u)


def recordings(page: Page) -> list[str]:
    """Names in the list, newest first, once both are there."""
    go(page, "recordings")
    rows = page.locator("#recording-list > li")
    expect(rows).to_have_count(2)
    return [str(name) for name in rows.evaluate_all("rows => rows.map((row) => row.dataset.name)")]


def looked_at_again(page: Page, name: str) -> None:
    """Picture, figures and maps of a recording: the scene's own numbers."""
    page.locator(f'[data-name="{name}"] .row-link').tap()
    expect(page.locator("#review-labels .label")).to_have_count(2)
    page.locator("#review-next-acts button", has_text="Analyse").tap()
    expect(page.locator("#review-chart canvas")).to_be_visible(timeout=WORK_MS)
    found = page.evaluate(
        "(name) => fetch(`/api/v1/recordings/${name}/analysis`).then((answer) => answer.json())", name
    )
    figures = {one["key"]: one for one in found["regions"][0]["figures"]}
    assert figures["peak_relative_percent"]["value"] == pytest.approx(TIP_PERCENT, abs=2)
    assert figures["arrival_s"]["value"] == pytest.approx(ARRIVAL_S, abs=0.4)
    page.locator("#review-tab-figures").tap()
    shown = page.locator('[data-key="peak_relative_percent"]').first
    expect(shown).to_contain_text("±")
    assert float(shown.inner_text().split()[0]) == pytest.approx(TIP_PERCENT, abs=2)
    page.locator("#review-tab-notes").tap()
    expect(page.locator("#review-events")).to_contain_text("Pull on")
    page.locator("#review-tab-maps").tap()
    expect(page.locator("#review-maps")).to_be_visible(timeout=WORK_MS)  # they come while the recording is looked at
    page.locator("#review-map-choices").select_option("peak_relative_percent")
    box = page.locator("#review-map-frame").bounding_box()
    assert box is not None
    value = page.locator("#review-map-value")
    for (x, y), about in ((BASE_AT, r"^(9[5-9]|10\d)\D"), (TIP_AT, r"^3[0-9]\D")):
        page.touchscreen.tap(box["x"] + box["width"] * x, box["y"] + box["height"] * y)
        expect(value).to_have_text(re.compile(about), use_inner_text=True)


def compared(page: Page, first: str, second: str) -> None:
    """The same tissue twice: no difference beyond its uncertainty."""
    go(page, "recordings")
    for name in (first, second):
        page.locator(f'[data-name="{name}"] .choose-label').tap()
    page.locator("#chosen-compare").tap()
    page.locator("#compare-start").tap()
    card = page.locator(".region-card")
    expect(card.locator(".change-big strong")).to_contain_text("points", timeout=WORK_MS)
    words = card.locator(".change-big strong").inner_text()
    assert abs(float(words.replace("−", "-").split()[0])) <= 3, words
    page.locator("[data-look=difference]").tap()
    expect(page.locator("#compare-change")).to_be_visible()


def exported(page: Page, names: list[str], folder: Path) -> None:
    """To a folder that stands for the stick; the choice made for comparing still holds."""
    go(page, "recordings")
    page.locator("#chosen-export").tap()
    expect(page.locator("#export-what li")).to_have_text(names)
    page.get_by_label("Raw frames").check()
    page.get_by_label("A folder on the device").check()
    page.get_by_label("Path of the folder").fill(str(folder))
    page.locator("#export-start").tap()
    expect(page.locator(".export-job").first).to_contain_text("2 recordings written to", timeout=WORK_MS)


def check_files(demo: Demo, names: list[str], folder: Path) -> None:
    """Other software opens them, they are what was recorded, and the manifest's checksums are theirs."""
    for name in names:
        files = {path.name: path for path in (folder / name).iterdir()}
        manifest = json.loads(files.pop("manifest.json").read_text())
        assert {one["name"]: one["sha256"] for one in manifest["files"]} == {
            file: hashlib.sha256(path.read_bytes()).hexdigest() for file, path in files.items()
        }
        stills = [path for file, path in files.items() if file.endswith(".png")]
        assert stills
        for still in stills:
            with Image.open(still) as picture:
                picture.verify()
        with (
            Recording.open(demo.data / "recordings" / f"{name}.zarr") as recording,
            tifffile.TiffFile(files["frames.tif"]) as stack,
        ):
            assert recording.complete
            assert recording.case == "K7-Heron"
            assert len(stack.pages) == recording.frames > 60
            np.testing.assert_array_equal(stack.pages[50].asarray(), recording.pixels(50))
            with files["frames.csv"].open(newline="") as table:
                assert len(list(csv.DictReader(table))) == recording.frames


@pytest.mark.parametrize("size", [PORTRAIT, PHONE], ids=["portrait", "phone"])
def test_the_main_steps_at_other_sizes(demo: Demo, opened: Callable[..., Page], size: tuple[int, int]) -> None:
    page = opened(demo.url, size)
    pair_by_word(page, demo.word)
    for place in (BASE_AT, TIP_AT):
        page.touchscreen.tap(*point_on_picture(page, *place))
    with FingerOnLight(page):
        page.locator("#act-record").tap()
        expect(page.locator("#recording-word")).to_contain_text("Rec 0:0")
        note(page, "Second look")
        page.locator("#act-still").tap()
        line_act(page, "Show")
        page.wait_for_function("() => document.getElementById('still-picture').naturalWidth > 0")
        page.locator("#sheet-still .close").tap()
        page.locator("#act-record").tap()
        line_act(page, "Stop")
        expect(page.locator("#recording-word")).to_have_text("Not recording")
    go(page, "recordings")
    page.locator("#case-list a").first.tap()  # a narrow page shows cases and recordings one after the other
    page.locator(".recording-row .row-link").first.tap()
    page.wait_for_function("() => document.getElementById('review-canvas').dataset.time")
    page.locator("#review-tab-notes").tap()
    expect(page.locator("#review-events")).to_contain_text("Second look")


def test_two_tablets_press_light_and_only_who_controls_gets_it(demo: Demo, opened: Callable[..., Page]) -> None:
    first, second = opened(demo.url, LANDSCAPE), opened(demo.url, PORTRAIT)
    pair_by_word(first, demo.word)
    second.get_by_label("Word shown by the device").fill(demo.word)
    second.get_by_role("button", name="Pair", exact=True).tap()
    expect(second.locator("#role")).to_have_text("You watch")
    with FingerOnLight(first):
        box = second.locator("#act-light").bounding_box()
        assert box is not None
        second.mouse.move(box["x"] + 20, box["y"] + 20)
        second.mouse.down()
        expect(second.locator("#line-text")).to_contain_text("This tablet watches.")
        expect(second.locator("#light-word")).to_contain_text("Light on")
        line_act(second, "Ask for control")
        expect(first.locator("#asked-text")).to_contain_text("asks for control")
        first.get_by_role("button", name="Give control").tap()
        expect(second.locator("#role")).to_have_text("You control")
        # Neither finger has left its button, and neither may light: light that ended comes back by a press of its own.
        wait_for(lambda: demo.state()["light"]["state"] != "lit", "light out as control changed hands")
        with demo.stream() as stream:
            for _ in range(30):
                stream.picture()
                assert demo.state()["light"]["state"] != "lit", "light came back without a press"
        second.mouse.up()
        with FingerOnLight(second):
            expect(first.locator("#light-word")).to_contain_text("Light on")
    expect(second.locator("#light-word")).not_to_contain_text("Light on")


def test_a_killed_imager_is_not_live_comes_back_and_its_recording_says_where_it_ends(
    demo: Demo, opened: Callable[..., Page]
) -> None:
    page = opened(demo.url, LANDSCAPE)
    pair_by_word(page, demo.word)
    page.locator("#act-record").tap()
    with FingerOnLight(page) as finger:
        finger.until("#recording-word", "Rec 0:02")
        name = demo.state()["recording"]["name"]
        demo.child("imager").kill()
        expect(page.locator("#band")).to_contain_text("NOT LIVE")
        expect(page.locator("#light-word")).to_have_text("Light not known")
        expect(page.locator("#recording-word")).to_have_text("Rec not known")
        expect(page.locator("#live-word")).to_have_text("LIVE", timeout=1000 * START_S)
        expect(page.locator("#recording-word")).to_have_text("Not recording")
        assert demo.state()["light"]["state"] != "lit", "the finger has not been lifted since"
    with FingerOnLight(page):
        expect(page.locator("#line-text")).to_contain_text("the imager was restarted: it records no more")
    go(page, "recordings")
    row = page.locator(f'[data-name="{name}"]')
    expect(row).to_contain_text("cut off, opens all the same")
    row.locator(".row-link").tap()
    page.wait_for_function("() => document.getElementById('review-canvas').dataset.time")
    expect(page.locator("#review-cautions-list")).to_contain_text("The recording was cut off")
