"""Cases and recordings in a real browser, ten thousand of them: found, chosen, removed and brought back, dye entered."""

import re
import shutil
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Page, expect

from shared.calibration import Calibration
from shared.dye_record import CAUTIONS
from shared.frame import Frame
from shared.protocol import records as r
from shared.recording.writer import RecordingWriter
from tests.many_recordings import CAMERA, listed_recordings, many_recordings
from tests.web_ui.browser.accessibility import axe_finds
from tests.web_ui.browser.conftest import LANDSCAPE, PORTRAIT, WebProcess, free_port_pair, web_process
from tests.web_ui.browser.page_device import PageDevice
from tests.web_ui.browser.test_hostile_text import BACKWARDS, SCRIPT
from tests.web_ui.browser.test_places import SMALL

pytestmark = pytest.mark.browser

PHONE = (390, 844)
MANY, LATER = 10_000, datetime(2032, 1, 1, 8, 0, tzinfo=UTC)
FIRST_PAGE = "() => document.querySelectorAll('#recording-list > li').length === 50"
OVERFLOW = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"
ISOLATED = "() => [window.harm ?? 0, document.querySelectorAll('img[src=x], main script').length]"


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, list[str]]:
    """Run folder, data folder and the names in it: ten thousand listed ones, of the last two cases real recordings."""
    place = tmp_path_factory.mktemp("many")
    run, data = place / "run", place / "data"
    run.mkdir()
    names = listed_recordings(data / "recordings", MANY)
    many_recordings(data / "recordings", 6, first=LATER, letter="R")
    return run, data, names


@pytest.fixture(scope="module")
def server(many: tuple[Path, Path, list[str]]) -> Iterator[WebProcess]:
    with web_process(many[0], many[1], free_port_pair()) as process:
        yield process


@pytest.fixture
def filled(many: tuple[Path, Path, list[str]]) -> Iterator[PageDevice]:
    with PageDevice(many[0], many[1]) as fake:
        yield fake


@pytest.fixture
def place(server: WebProcess, filled: PageDevice, opened: Callable[..., Page]) -> Page:
    """The place with its first page, on a tablet that controls."""
    page = opened(f"{server.url}/#pair={server.pair}")
    expect(page.locator("main#live")).to_be_visible()
    page.goto(f"{server.url}/#recordings/*")
    page.wait_for_function(FIRST_PAGE)
    if page.evaluate("async () => (await (await fetch('/api/v1/access')).json()).role") == "watches":
        page.evaluate("async () => fetch('/api/v1/control', {method: 'POST'})")
    return page


def rows(page: Page) -> list[str]:
    return page.locator("#recording-list > li").evaluate_all("rows => rows.map((row) => row.dataset.name)")


def test_ten_thousand_are_paged_and_found(place: Page, many: tuple[Path, Path, list[str]]) -> None:
    expect(place.locator("#list-about")).to_have_text("10,006 recordings")
    expect(place.locator("#list-range")).to_have_text("1 to 50 of 10,006")
    first = rows(place)
    place.locator("#list-older").focus()
    place.keyboard.press("Enter")
    expect(place.locator("#list-range")).to_have_text("51 to 100 of 10,006")
    expect(place.locator("#list-older")).to_be_focused()
    assert not set(rows(place)) & set(first)
    place.locator("#list-newer").tap()
    expect(place.locator("#list-range")).to_have_text("1 to 50 of 10,006")
    assert rows(place) == first
    place.locator("#find-text").fill("k17-")
    expect(place.locator("#list-about")).to_have_text("3 recordings")
    assert rows(place) == many[2][53:50:-1]
    expect(place.locator("#case-list a")).to_have_count(2)
    place.locator("#find-text").fill("")
    place.locator("#find-day").fill("2031-03-01")
    expect(place.locator("#list-about")).to_have_text(re.compile(r"^3[89] recordings$|^40 recordings$"))
    place.locator("#find-text").fill("nothing like it")
    expect(place.locator("#list-teach")).to_have_text("Nothing fits. Take away the day, or part of the code.")


@pytest.mark.parametrize("size", [LANDSCAPE, PORTRAIT, PHONE], ids=["landscape", "portrait", "phone"])
def test_it_fits_and_nothing_speaks_against_it(place: Page, size: tuple[int, int]) -> None:
    place.set_viewport_size({"width": size[0], "height": size[1]})
    place.locator(".recording-row").first.get_by_role("button", name="More").tap()
    place.locator(".choose-label").first.tap()
    assert place.evaluate(SMALL) == []
    assert place.evaluate(OVERFLOW) == 0
    assert axe_finds(place) == []
    place.evaluate("() => { location.hash = '#recordings/R1-Heron'; }")
    expect(place.locator("#dye-card")).to_be_visible()
    for folded in place.locator("#dye-card details:not([open]) > summary").all():
        folded.tap()
    assert place.evaluate(SMALL) == []
    assert place.evaluate(OVERFLOW) == 0
    assert axe_finds(place) == []


def test_removed_by_two_touches_and_brought_back(place: Page, filled: PageDevice) -> None:
    row = place.locator(".recording-row").first
    name = row.get_attribute("data-name")
    row.get_by_role("button", name="More").tap()
    row.get_by_role("button", name="Remove").tap()
    expect(row.get_by_role("button", name="Keep it")).to_be_focused()
    row.get_by_role("button", name="Keep it").tap()
    assert not any(isinstance(asked, r.RemoveRecording) for asked in filled.requests)
    row.get_by_role("button", name="More").tap()
    row.get_by_role("button", name="Remove").tap()
    row.get_by_role("button", name="Remove it").tap()
    expect(place.locator("#line-text")).to_contain_text("Removed:")
    expect(place.locator("#list-about")).to_have_text("10,005 recordings")
    place.locator("#line").get_by_role("button", name="Bring back").tap()
    expect(place.locator("#list-about")).to_have_text("10,006 recordings")
    expect(place.locator(f'[data-name="{name}"]')).to_be_visible()
    expect(place.locator("#removed")).to_be_hidden()


def test_a_case_is_changed_and_put_back_and_one_is_opened_without_typing(place: Page, filled: PageDevice) -> None:
    row = place.locator(".recording-row").first
    name = row.get_attribute("data-name")
    row.get_by_role("button", name="More").tap()
    row.get_by_role("button", name="Change the case").tap()
    place.keyboard.type("M4-Gull")
    place.keyboard.press("Enter")
    expect(place.locator("#line-text")).to_have_text("The recording is now of: M4-Gull.")
    expect(place.locator(".recording-row .row-title").first).to_have_text("M4-Gull")
    place.locator("#line").get_by_role("button", name="Put it back").tap()
    expect(place.locator(f'[data-name="{name}"]')).to_be_visible()
    row.get_by_role("button", name="More").tap()
    row.get_by_role("button", name="Change the case").tap()
    place.keyboard.type("Anna Muster")
    place.keyboard.press("Enter")
    expect(place.locator("#line-text")).to_contain_text("not a case code")
    place.locator("#case-new").tap()
    filled.wait_for(lambda asked: any(isinstance(one, r.OpenCase) for one in asked))
    expect(place.locator("#open-case-code")).to_have_text(re.compile(r"^\d{4}-A$"))
    expect(place.locator("#list-teach")).to_contain_text("This case has no recordings yet")
    place.locator("#case-close").tap()
    expect(place.locator("#open-case-code")).to_have_text("None")


def test_two_are_chosen_across_pages_the_earlier_first(place: Page) -> None:
    expect(place.locator("#chosen-bar")).to_be_hidden()
    place.locator(".choose-label").nth(1).tap()
    expect(place.locator("#chosen-words")).to_have_text("1 chosen. Choose a second one to compare.")
    expect(place.locator("#chosen-compare")).to_be_disabled()
    later = rows(place)[1]
    place.locator("#list-older").tap()
    expect(place.locator("#list-range")).to_contain_text("51 to 100")
    place.locator(".choose-label").nth(0).tap()
    earlier = rows(place)[0]
    place.locator("#chosen-compare").tap()
    expect(place.locator("main#compare")).to_be_visible()
    assert place.evaluate("() => decodeURIComponent(location.hash)") == f"#compare/{earlier}/{later}"
    place.go_back()
    expect(place.locator("#chosen-words")).to_have_text("2 chosen")
    place.locator("#chosen-export").tap()
    expect(place.locator("#export-what li")).to_have_text([earlier, later])


def test_dye_is_entered_beside_the_limit_and_taken_back(place: Page) -> None:
    """Label: 2 mg/kg, so 125 mg for 62.5 kg; three recordings of the case are marked with 5 mg each."""
    place.evaluate("() => { location.hash = '#recordings/R0-Heron'; }")
    card = place.locator("#dye-card")
    expect(card).to_contain_text("15 mg given (6 mL where mixed as on the label, 2.5 mg/mL)")
    expect(card.get_by_text("sodium iodide")).to_be_visible()  # without a touch
    expect(card.get_by_text("use within 6 hours of mixing")).to_be_visible()
    expect(card).to_contain_text("Label's limit: 2 mg for each kg")
    card.get_by_text("Enter a dose or the body mass").tap()
    place.get_by_label("Body mass, kg").fill("62.5")
    place.keyboard.press("Enter")
    expect(card).to_contain_text("12 % of the label's limit of 125 mg for 62.5 kg")
    place.get_by_label("Dose given, mg").fill("7.5")
    place.get_by_label("Minutes ago").fill("3")
    card.get_by_role("button", name="Enter dose").tap()
    expect(card).to_contain_text("22.5 mg given")
    expect(card.locator(".dye-row").filter(has_text="3 min ago")).to_contain_text(
        re.compile(r"about 4[0-4] to 5[5-9]\s% left")  # three minutes, and as long as this test has taken since
    )
    place.locator("#line").get_by_role("button", name="Take back").tap()
    expect(card).to_contain_text("15 mg given")
    said = card.locator(".caution-list li").all_text_contents()
    assert said == list(CAUTIONS), "the page says what the device says"


@pytest.fixture
def marked(many: tuple[Path, Path, list[str]]) -> Iterator[str]:
    """Case of one more recording, in which dye of an unknown dose was marked 7.4 minutes ago."""
    path, case = many[1] / "recordings" / "quay.zarr", "T-Quay"
    at = (datetime.now(UTC) - timedelta(minutes=7.4)).isoformat(timespec="milliseconds")
    with RecordingWriter(path, CAMERA, Calibration.assumed(CAMERA), started_at=at, case=case) as writer:
        writer.append(Frame(np.full(CAMERA.shape, 100, np.uint16), 0, 10**9, 8000.0))
        writer.event("injection", 10**9)
    yield case
    shutil.rmtree(path)


def test_a_marked_injection_gets_its_dose_though_time_passes_or_is_taken_back(
    place: Page, filled: PageDevice, marked: str
) -> None:
    """The device was told of dye and not of its dose: the sum is at least what is known, and the dose belongs to that moment."""
    place.evaluate("(code) => { location.hash = `#recordings/${code}`; }", marked)
    card = place.locator("#dye-card")
    expect(card).to_contain_text("At least 0 mg given")
    expect(card).to_contain_text("injections marked without a dose, which are not in the sum: 1")
    card.get_by_role("button", name="Enter its dose: 7 min ago").tap()
    expect(place.get_by_label("Minutes ago")).to_have_value("7")
    place.keyboard.type("5")
    place.keyboard.press("Enter")
    expect(card).to_contain_text("5 mg given")
    expect(card.locator(".dye-row")).to_have_count(1)
    (asked,) = [one for one in filled.requests if isinstance(one, r.EnterDose)]
    assert asked.minutes_ago > 7.3, "when it was marked, and not the whole minutes of the field"
    place.locator("#line").get_by_role("button", name="Take back").tap()
    expect(card).to_contain_text("At least 0 mg given")
    card.get_by_role("button", name=re.compile("Take back: dose not entered")).tap()
    place.locator("#line").get_by_role("button", name="Take back").tap()
    expect(card.locator(".dye-row")).to_have_count(0)
    expect(card).not_to_contain_text("At least")


def test_what_somebody_chose_to_do_harm_is_shown_inert(
    server: WebProcess, filled: PageDevice, opened: Callable[..., Page]
) -> None:
    page = opened(f"{server.url}/#pair={server.pair}")
    expect(page.locator("main#live")).to_be_visible()
    for text in (SCRIPT, BACKWARDS, "x" * 100_000, "../../etc"):
        page.evaluate("(text) => { location.hash = `#recordings/${encodeURIComponent(text)}`; }", text)
        expect(page.locator("#list-title")).to_have_text(text)
    page.locator("#find-text").fill(SCRIPT[:40])
    assert page.evaluate(ISOLATED) == [0, 0]
    assert page.evaluate(OVERFLOW) == 0
