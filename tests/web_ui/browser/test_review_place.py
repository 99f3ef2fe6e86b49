"""A recording looked at again in a real browser: scrubbed, played, marked, analysed, read, noted, saved."""

import csv
import io
import json
import re
from collections.abc import Callable
from pathlib import Path
from shutil import rmtree

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Page, expect

from shared.inflow.map_values import NAMES, InflowMaps, MapsAbout
from shared.inflow.maps_store import write_maps
from shared.motion.kept_track import KeptTrack
from shared.motion.pose import Motion
from shared.recording.afterwards import write_analysis
from tests.web_ui.browser.accessibility import axe_finds
from tests.web_ui.browser.conftest import PATIENCE_MS, PORTRAIT, WORK_MS, WebProcess
from tests.web_ui.browser.page_device import PageDevice
from tests.web_ui.browser.tablets import Tablet
from tests.web_ui.reviewed import BASE, FPS, NAME, NOTE, SECONDS, TIP, put_recording

PHONE = (390, 844)
FOLLOWED = "the first 3 frames show nothing to follow the hand's motion by: taken as they are"
ROOM = "how much of the signal before the dye is the room's light cannot be told: its uncertainty allows for that"
HOSTILE = "<img src=x onerror=\"document.title='owned'\"> \u202eexe.png =1+1"
API = """async path => {
  for (;;) {
    const answer = await fetch(`/api/v1${path}`);
    if (answer.status !== 409) return answer.json();
    await new Promise((again) => setTimeout(again, 100)); // the page itself looks at recordings just now
  }
}"""


@pytest.fixture(scope="session")
def recorded(folders: tuple[Path, Path]) -> Path:
    """One recording on the device of the session, with maps: the left half arrives after 11.5 s, the right cannot be told."""
    path = put_recording(folders[1])
    shape = (len(NAMES), 32, 48)
    values, classes = np.full(shape, 11.5, np.float32), np.zeros(shape, np.uint8)
    values[:, :, 24:], classes[:, :, 24:] = np.nan, 3
    u = np.where(np.isfinite(values), np.float32(0.4), np.nan).astype(np.float32)
    write_maps(path, InflowMaps(values, u, classes, MapsAbout(BASE, True, 4.0, 200, True, (FOLLOWED,), ROOM)))
    return path


@pytest.fixture
def review(web: WebProcess, device: PageDevice, recorded: Path, opened: Callable[..., Page], tablet: Tablet) -> Page:
    """A paired tablet that has the recording open, with nothing marked or analysed."""
    rmtree(recorded / "afterwards", ignore_errors=True)
    page = opened(f"{web.url}/#pair={web.pair}", tablet=tablet)
    expect(page.locator("#live")).to_be_visible()
    page.evaluate(f"location.hash = '#review/{NAME}'")
    shown(page)
    return page


def shown(page: Page) -> None:
    """Wait until a frame is on the screen."""
    page.wait_for_function("() => document.getElementById('review-canvas').dataset.time", timeout=PATIENCE_MS)


def at(page: Page, x: float, y: float) -> tuple[float, float]:
    """Window coordinates of a pixel of the 96 x 64 sensor."""
    box = page.locator("#review-picture").bounding_box()
    assert box is not None
    return box["x"] + x / 96 * box["width"], box["y"] + y / 64 * box["height"]


def mark(page: Page, reference: str = BASE, *regions: str) -> None:
    """Keep marks as the page would, and let it learn of them."""
    marks = {
        "reference": {"region": reference, "seen_at_s": 0},
        "regions": [{"region": one, "seen_at_s": 0} for one in regions],
    }
    page.evaluate(
        """([name, marks]) => fetch(`/api/v1/recordings/${name}/marks`, {method: "PUT",
        headers: {"content-type": "application/json"}, body: JSON.stringify(marks)})""",
        [NAME, marks],
    )
    page.evaluate("location.hash = '#review/'")
    page.evaluate(f"location.hash = '#review/{NAME}'")
    expect(page.locator("#review-labels .label")).to_have_count(1 + len(regions))


def scrub_to(page: Page, at_s: float) -> None:
    page.locator("#review-time").fill(f"{at_s:.1f}")
    page.wait_for_function(
        "wanted => Math.abs(Number(document.getElementById('review-canvas').dataset.time) - wanted) < 0.06", arg=at_s
    )


def test_touching_the_picture_marks_reference_and_regions_and_undo_takes_them_back(
    review: Page, recorded: Path
) -> None:
    expect(review.locator("#review-next-text")).to_contain_text("Touch healthy skin")
    review.mouse.click(*at(review, 15, 30))
    expect(review.locator("#review-labels .label")).to_have_count(1)
    expect(review.locator("#review-labels .label-value").first).to_have_text("100 %")
    review.mouse.click(*at(review, 70, 30))
    expect(review.locator("#review-labels .label")).to_have_count(2)
    review.locator("#line-acts button", has_text="Undo").click()
    expect(review.locator("#review-labels .label")).to_have_count(1)
    kept = json.loads((recorded / "afterwards" / "marks.json").read_text())
    assert kept["regions"] == []
    review.mouse.click(*at(review, 15, 30))  # on the reference: its bar opens
    review.locator("#review-region-acts button", has_text="Remove").click()
    expect(review.locator("#review-labels .label")).to_have_count(0)


def test_value_and_outline_of_a_region_are_those_of_the_interface(review: Page, recorded: Path) -> None:
    """The tissue is said to drift to the left by a fifth of a pixel a second."""
    track = KeptTrack(tuple(Motion(-0.2 * number / FPS) for number in range(int(SECONDS * FPS))))
    series = [{"name": "base", "region": BASE, "values": [0, 100], "u": [1, 1]}]
    curves = {"unit": "%", "times_s": [0, 20], "series": series}
    found = {"made_at": "", "reference": "base", "injected_at_s": None, "regions": {}, "curves": curves, "warnings": []}
    motion = {"locked_share": 0.97, "largest_shift_mm": 2.4}
    write_analysis(recorded, {**found, "motion": motion, "track": track.as_values()})
    mark(review, BASE, TIP)
    for at_s in (12.0, 20.0):
        scrub_to(review, at_s)
        left = 52 - round(0.2 * at_s)
        outline = review.locator("#review-outlines .region.over")
        expect(outline).to_have_attribute("points", re.compile(rf"^{left},8 "))
        expect(review.locator("#review-cautions-list")).to_contain_text("In 3.0 % of the frames")
        said = review.evaluate(API, f"/recordings/{NAME}/moment?at_s={at_s}")["regions"][0]
        expect(review.locator('.label[data-name="tip"] .label-value')).to_have_text(
            f"{round(said['percent'])} ± {max(1, round(said['percent_u']))} %"
        )


def test_no_value_of_another_moment_stands_beside_a_resting_picture(review: Page) -> None:
    """Where others look at recordings for long, values are waited for, and the old ones are gone."""
    mark(review, BASE, TIP)
    scrub_to(review, 12.0)
    value = review.locator('.label[data-name="tip"] .label-value')
    expect(value).to_have_text(re.compile(r"^\d+\s±\s\d+"))
    busy = {"status": 409, "json": {"line": "others look at recordings"}}
    review.route(re.compile(r"/moment\?"), lambda route: route.fulfill(**busy))
    scrub_to(review, 20.0)
    expect(value).to_have_text("…")
    review.unroute(re.compile(r"/moment\?"))
    said = review.evaluate(API, f"/recordings/{NAME}/moment?at_s=20")["regions"][0]
    expect(value).to_have_text(re.compile(rf"^{round(said['percent'])}\s±\s"))


def test_it_plays_pauses_and_steps(review: Page) -> None:
    scrub_to(review, 6.0)
    review.locator("#review-speeds button", has_text="4×").click()
    review.locator("#review-play").click()
    review.wait_for_function(
        "() => Number(document.getElementById('review-canvas').dataset.time) > 8", timeout=PATIENCE_MS
    )
    expect(review.locator("#review-play")).to_have_text("Pause")
    review.locator("#review-play").click()
    expect(review.locator("#review-play")).to_have_text("Play")
    scrub_to(review, 10.0)
    review.locator("#review-forward").click()
    review.wait_for_function("() => document.getElementById('review-canvas').dataset.time === '10.1'")
    assert review.evaluate("() => document.getElementById('review-canvas').width") in (48, 96)
    review.wait_for_function("() => document.getElementById('review-canvas').width === 96")
    with review.expect_download() as saving:
        review.locator("#review-still").click()
    assert saving.value.suggested_filename == f"{NAME}-10.1s.png", "the frame on the screen"


def test_an_analysis_runs_and_its_curves_figures_and_files_are_those_of_the_device(review: Page) -> None:
    mark(review, BASE, TIP)
    review.locator("#review-next-acts button", has_text="Analyse").click()
    expect(review.locator("#review-next-acts button")).to_have_text("Stop")
    expect(review.locator("#review-chart canvas")).to_be_visible(timeout=WORK_MS)
    found = review.evaluate(API, f"/recordings/{NAME}/analysis")
    with review.expect_download() as saving:
        review.locator("#review-chart .chart-acts button").last.click()
    rows = list(csv.reader(io.StringIO(Path(saving.value.path()).read_text())))
    assert [float(row[0]) for row in rows[1:]] == found["times_s"]
    assert [float(row[1]) for row in rows[1:]] == found["curves"][0]["values"]
    with review.expect_download() as saving:
        review.locator("#review-chart .chart-acts button").first.click()
    with Image.open(saving.value.path()) as picture:
        assert picture.size[0] > 300
    review.locator("#review-tab-figures").click()
    figures = {one["key"]: one for one in found["regions"][0]["figures"]}
    arrival = figures["arrival_s"]
    expect(review.locator('[data-key="arrival_s"]').first).to_contain_text(f"{arrival['value']:.1f}"[:3])
    expect(review.locator('[data-key="arrival_s"]').first).to_contain_text("±")
    review.locator(".review-figure summary").first.click()
    expect(review.locator(".review-figure p").first).to_be_visible()


def test_a_note_said_afterwards_is_inert_and_can_be_taken_back(review: Page) -> None:
    review.locator("#review-tab-notes").click()
    review.locator("#review-note-text").fill(HOSTILE)
    review.locator("#review-note-form button").click()
    expect(review.locator(".review-event-text").last).to_have_text(HOSTILE)
    expect(review.locator("#review-timeline li[data-kind='late note']")).to_have_count(1)
    assert review.title() != "owned"
    assert review.locator("#review img[src='x']").count() == 0
    review.locator("#line-acts button", has_text="Undo").click()
    expect(review.locator("#review-timeline li[data-kind='late note']")).to_have_count(0)
    expect(review.locator("#review-note-text")).to_have_value(HOSTILE)


def test_a_polygon_is_drawn_corner_by_corner_and_the_picture_brought_closer(review: Page, recorded: Path) -> None:
    mark(review, BASE)
    review.locator("#review-draw-polygon").click()
    for x, y in ((55, 10), (80, 12), (70, 40)):
        review.mouse.click(*at(review, x + 0.5, y + 0.5))
    review.locator("#review-drawing-done").click()
    expect(review.locator("#review-labels .label")).to_have_count(2)
    kept = json.loads((recorded / "afterwards" / "marks.json").read_text())
    assert kept["regions"][0]["region"] == "A:polygon:55,10,80,12,70,40"
    review.locator("#review-canvas").focus()
    for _ in range(4):
        review.keyboard.press("+")
    review.locator("#review-zoom").click()
    expect(review.locator("#review-zoom")).to_be_hidden()


def test_maps_show_when_they_are_ready_are_read_under_the_finger_and_saved(
    review: Page, recorded: Path, device: PageDevice
) -> None:
    review.locator("#review-tab-maps").click()
    (recorded / "maps").rename(recorded / "afterwards-maps")
    try:
        review.evaluate("location.hash = '#review/'")
        review.evaluate(f"location.hash = '#review/{NAME}'")
        expect(review.locator("#review-maps-none")).to_be_visible()
        shown(review)
    finally:
        (recorded / "afterwards-maps").rename(recorded / "maps")
    device.change(maps_ready=NAME)
    notes = review.locator("#review-map-notes p")
    review.locator("#review-map-choices").select_option("baseline_counts_per_ms")
    expect(notes).to_have_text([FOLLOWED, ROOM])
    review.locator("#review-map-choices").select_option("half_rise_s")
    expect(notes).to_have_text([FOLLOWED])
    frame = review.locator("#review-map-frame")
    box = frame.bounding_box()
    assert box is not None
    review.mouse.click(box["x"] + box["width"] * 0.2, box["y"] + box["height"] * 0.5)
    expect(review.locator("#review-map-value")).to_have_text("11.5 ± 0.4 s", use_inner_text=True)
    frame.focus()
    for _ in range(5):
        review.keyboard.press("Shift+ArrowRight")
    expect(review.locator("#review-map-value")).to_have_text("uncertain")
    for button, begins in (("#review-map-png", b"\x89PNG"), ("#review-map-csv", b"x (pixels),y (pixels),half_rise_s")):
        with review.expect_download() as saving:
            review.locator(button).click()
        assert Path(saving.value.path()).read_bytes().startswith(begins)


def test_the_timeline_tells_what_happened_and_leads_there(review: Page) -> None:
    kinds = review.evaluate("() => [...document.querySelectorAll('#review-timeline li')].map(one => one.dataset.kind)")
    assert kinds == ["light", "injection", "note", "gap", "trip"]
    review.locator("#review-timeline li[data-kind='note'] button").press("Enter")
    review.wait_for_function("() => document.getElementById('review-canvas').dataset.time === '12'")
    expect(review.locator("#line-text")).to_have_text(f"\u2068{NOTE}\u2069")  # its order is kept to itself
    assert review.title() != "owned"


def test_all_is_done_by_keyboard_too(review: Page) -> None:
    review.locator("#review-time").focus()
    review.keyboard.press("Home")
    review.wait_for_function("() => document.getElementById('review-canvas').dataset.time === '0'")
    review.locator("#review-canvas").focus()
    review.keyboard.press("Enter")  # the cross stands in the middle: it becomes the reference
    expect(review.locator("#line-acts button", has_text="Undo")).to_be_visible()
    expect(review.locator("#review-labels .label")).to_have_count(1)
    review.keyboard.press("Enter")
    review.locator("#review-region-acts button", has_text="Remove").press("Enter")
    expect(review.locator("#review-labels .label")).to_have_count(0)
    review.locator("#review-tab-curves").focus()
    review.keyboard.press("ArrowLeft")
    expect(review.locator("#review-panel-notes")).to_be_visible()


@pytest.mark.parametrize("size", [(1180, 820), PORTRAIT, PHONE], ids=["landscape", "portrait", "phone"])
def test_nothing_overflows_and_all_can_be_touched(review: Page, size: tuple[int, int]) -> None:
    review.set_viewport_size({"width": size[0], "height": size[1]})
    for tab in ("curves", "figures", "maps", "notes"):
        review.locator(f"#review-tab-{tab}").click()
        wide = review.evaluate(
            "() => document.getElementById('review').scrollWidth - document.documentElement.clientWidth"
        )
        assert wide <= 0
        small = review.evaluate(
            """() => [...document.querySelectorAll("#review button, #review select, #review summary, #review input")]
            .filter(one => one.checkVisibility()).map(one => [one.id || one.textContent, one.getBoundingClientRect()])
            .filter(([, box]) => box.height < 48 || box.width < 44).map(([name]) => name)"""
        )
        assert small == []
    review.set_viewport_size({"width": 1180, "height": 820})


@pytest.mark.parametrize("theme", ["dark", "bright"])
def test_axe_finds_nothing(review: Page, theme: str) -> None:
    review.evaluate("theme => { document.documentElement.dataset.theme = theme; }", theme)
    for tab in ("curves", "figures", "maps", "notes"):
        review.locator(f"#review-tab-{tab}").click()
        assert axe_finds(review) == []
    review.evaluate("() => { document.documentElement.dataset.theme = 'dark'; }")


def test_a_recording_that_is_not_there_says_so(review: Page) -> None:
    review.evaluate("location.hash = '#review/away'")
    expect(review.locator("#review-none")).to_be_visible()
    expect(review.locator("#line-text")).to_contain_text("no such recording")
