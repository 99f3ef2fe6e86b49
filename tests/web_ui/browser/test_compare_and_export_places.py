"""Compare and export in a real browser: two simulated runs compared by the device's own child; sticks that fill, go and come."""

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from device.comparison_cautions import _ALWAYS
from shared.protocol import exporting as e
from tests.many_recordings import many_recordings
from tests.web_ui.browser.accessibility import axe_finds
from tests.web_ui.browser.conftest import LANDSCAPE, PORTRAIT, WORK_MS, WebProcess, free_port_pair, web_process
from tests.web_ui.browser.page_device import PageDevice
from tests.web_ui.browser.test_hostile_text import BACKWARDS, SCRIPT
from tests.web_ui.browser.test_places import SMALL
from tests.web_ui.browser.test_recordings_place import ISOLATED, OVERFLOW, PHONE
from tests.web_ui.fake_records import STICK
from tests.web_ui.test_compare_api import BASE, TIP, runs

pytestmark = pytest.mark.browser

__all__ = ["runs"]
SIZES = [LANDSCAPE, PORTRAIT, PHONE]
COMPARE = """async ([reference, region]) => fetch("/api/v1/comparisons", {
  method: "POST", headers: {"content-type": "application/json"},
  body: JSON.stringify({first: "before", second: "after5", reference, regions: [region]})})"""
LOOK_AGAIN = "() => dispatchEvent(new Event('hashchange'))"
"""As who opens the place anew; by itself it looks every four seconds."""
LOADED = (
    "() => [...document.querySelectorAll('#compare-stage img')].every((one) => one.complete && one.naturalWidth > 0)"
)


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory, runs: Path) -> tuple[Path, Path, list[str]]:
    """Run folder, data folder with the two runs and three small recordings, and the names of these."""
    place = tmp_path_factory.mktemp("kept")
    run, data = place / "run", place / "data"
    run.mkdir()
    names = many_recordings(data / "recordings", 3)
    for name in ("before", "after5"):
        (runs / f"{name}.zarr").rename(data / "recordings" / f"{name}.zarr")
    return run, data, names


@pytest.fixture(scope="module")
def server(kept: tuple[Path, Path, list[str]]) -> Iterator[WebProcess]:
    with web_process(kept[0], kept[1], free_port_pair()) as process:
        yield process


@pytest.fixture
def handheld(kept: tuple[Path, Path, list[str]]) -> Iterator[PageDevice]:
    with PageDevice(kept[0], kept[1]) as fake:
        yield fake


@pytest.fixture
def page(server: WebProcess, handheld: PageDevice, opened: Callable[..., Page]) -> Page:
    found = opened(f"{server.url}/#pair={server.pair}")
    expect(found.locator("main#live")).to_be_visible()
    return found


def check(page: Page) -> None:
    """At every size nothing spills, is too small to touch, or speaks against it."""
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        assert page.evaluate(OVERFLOW) == 0
        assert page.evaluate(SMALL) == []
    assert axe_finds(page) == []


def test_two_runs_are_compared_looked_at_and_saved(page: Page) -> None:
    page.evaluate("() => { location.hash = '#compare/before/after5'; }")
    expect(page.locator("#compare-standing")).to_contain_text("not compared yet")
    page.locator("#compare-start").tap()  # nothing is marked in these: said plainly, and nothing is lost
    expect(page.locator("#compare-error")).to_contain_text("They could not be compared: ", timeout=WORK_MS)
    page.evaluate(COMPARE, [BASE, TIP])
    expect(page.locator("#compare-bar")).to_be_visible()
    card = page.locator(".region-card")
    expect(card.get_by_role("heading", name="tip")).to_be_visible(timeout=WORK_MS)
    expect(card.locator(".change-big strong")).to_contain_text("points")
    page.wait_for_function(LOADED)
    frame = page.locator(".compare-frame").first
    expect(frame.locator("svg .region.over")).to_have_count(1)
    box = frame.bounding_box()
    x, y, width, height = map(int, TIP.partition(":")[2].split(","))
    across, down = (int(number) for number in (frame.locator("svg").get_attribute("viewBox") or "").split()[2:])
    assert box is not None
    page.mouse.click(
        box["x"] + (x + width / 2) / across * box["width"], box["y"] + (y + height / 2) / down * box["height"]
    )
    expect(page.locator("#compare-value")).to_contain_text(re.compile(r"first \S*\d+.* second \S*\d+.* difference"))
    page.locator("[data-look=blend]").tap()
    page.locator("#compare-blend").fill("0")
    assert page.locator("#compare-second").evaluate("one => getComputedStyle(one).opacity") == "0"
    page.locator("[data-look=difference]").tap()
    expect(page.locator("#compare-change")).to_be_visible()
    expect(page.locator("#compare-first")).to_be_hidden()
    expect(page.locator("#compare-legend")).to_contain_text("blue is less, orange is more")
    card.get_by_text("All figures").tap()
    cautions = page.locator("#compare-cautions li").all_text_contents()
    assert cautions[-len(_ALWAYS) :] == list(_ALWAYS), "the page says what the device says"
    check(page)
    with page.expect_download() as saved:
        page.locator("#compare-save-table").tap()
    assert saved.value.suggested_filename == "before_and_after5.csv"
    with page.expect_download() as saved:
        page.locator("#compare-save-points").tap()
    assert saved.value.suggested_filename.endswith(".csv")
    with page.expect_download() as saved:
        page.locator("#compare-save-picture").tap()
    assert saved.value.suggested_filename == "before_and_after5.png"


def test_what_is_missing_or_does_harm_in_the_address_is_said(page: Page) -> None:
    page.evaluate("() => { location.hash = '#compare'; }")
    expect(page.locator("#compare-nothing")).to_contain_text("Choose two recordings")
    for name in (SCRIPT, BACKWARDS, "x" * 5000):
        page.evaluate("(name) => { location.hash = `#compare/${encodeURIComponent(name)}/b`; }", name)
        expect(page.locator("#compare-pair")).to_contain_text(name[:20])
        page.evaluate("(name) => { location.hash = `#export/${encodeURIComponent(name)}`; }", name)
        expect(page.locator("#export-what")).to_contain_text(name[:20])
    assert page.evaluate(ISOLATED) == [0, 0]
    page.evaluate("() => { location.hash = '#export'; }")
    expect(page.locator("#export-nothing")).to_contain_text("Choose recordings first")


def test_sticks_come_fill_up_and_go_and_an_export_is_stopped(
    page: Page, handheld: PageDevice, kept: tuple[Path, Path, list[str]]
) -> None:
    records, names = handheld.records, kept[2]
    records.drives, records.export_ends_at_once = [], False
    page.evaluate("(names) => { location.hash = `#export/${names.join('/')}`; }", names[:2])
    expect(page.locator("#export-no-drive")).to_contain_text("it appears here by itself")
    expect(page.locator("#export-start")).to_be_disabled()
    records.drives = [replace(STICK, free_bytes=9_000_000)]  # it appears by itself; what follows is looked at sooner
    expect(page.locator("#export-room")).to_contain_text("9 MB free")
    page.get_by_label("Maps of the inflow").check()
    expect(page.locator("#export-room")).to_contain_text("does not fit")
    expect(page.locator("#export-start")).to_be_disabled()
    records.drives = [replace(STICK, path=Path("/media/pulled"), free_bytes=None), STICK]
    page.evaluate(LOOK_AGAIN)
    expect(page.locator("#export-drives")).to_contain_text("does not answer")
    expect(page.locator("#export-start")).to_be_enabled()
    check(page)
    with page.expect_request("**/api/v1/exports") as asked:
        page.locator("#export-start").tap()
    assert asked.value.post_data_json["language"] == "en"
    job = page.locator(".export-job").first
    expect(job).to_contain_text(f"Writing {names[0]}")
    records.change_export(done=0.42)
    expect(job.locator(".job-share")).to_have_text("42 %")
    expect(page.locator("#export-start")).to_be_disabled()
    job.get_by_role("button", name="Stop").tap()
    expect(job).to_contain_text("Nothing half written is left there, and nothing is lost here")
    expect(job).to_contain_text("Nothing is being written to the stick now")
    assert records.jobs[-1].recordings == tuple(names[:2])
    page.locator("#export-start").tap()
    expect(page.locator(".export-job")).to_have_count(2)
    records.end_export(
        error="recordings that could not be written: 1 of 2",
        failed=(f"{names[1]}: {SCRIPT}",),
        folders=(f"/media/stick/{names[0]}",),
        file_count=9,
        settled=False,
    )
    expect(job).to_contain_text("Switch the device off before you pull it out")
    expect(job).to_contain_text("Recordings that are whole stay there")
    expect(job).to_contain_text("<script>window.harm=1</script>")
    assert page.evaluate(ISOLATED) == [0, 0]
    assert isinstance(records.jobs[-1], e.ExportJob)
