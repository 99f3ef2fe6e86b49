"""A recording looked at again through the interface: what is shown is what the raw frames say, worked out here by plain numpy."""

import csv
import io
import json
import subprocess
import sys
import threading

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from device.cli.analyse import command
from shared.inflow.map_values import NAMES, InflowMaps, MapsAbout
from shared.inflow.maps_store import write_maps
from shared.motion.kept_track import KeptTrack
from shared.motion.pose import Motion
from shared.recording import Recording
from shared.recording.afterwards import MOST_NOTES, LateNote, add_late_note, write_analysis
from tests.bench.running_demo import wait_for
from tests.web_ui.reviewed import BASE, FPS, INJECTED_S, NAME, NOTE, SECONDS, TIP, put_recording
from tests.web_ui.test_api import line_of
from web_ui.review_runs import OPEN_AT_MOST, PICTURES_AT_MOST, ReviewRuns

PLACE = f"/api/v1/recordings/{NAME}"
MARKS = {
    "reference": {"region": BASE, "seen_at_s": 0.0},
    "regions": [{"region": TIP, "seen_at_s": 2.0}],
}
HOSTILE = "<img src=x onerror=alert(1)> \u202egnp.exe \" ' ; DROP TABLE notes; =1+1"


@pytest.fixture
def path(data_folder):
    return put_recording(data_folder)


@pytest.fixture
def marked(path, device, browser):
    answer = browser.put(f"{PLACE}/marks", json=MARKS)
    assert answer.status_code == 200, answer.text
    return path


def mean_signal(recording, number, region):
    """Counts a millisecond at unit gain and full light, and nothing of the program's own arithmetic."""
    x, y, width, height = map(int, region.partition(":")[2].split(","))
    here = slice(y, y + height), slice(x, x + width)
    known, table = recording.calibration, recording.frame_table
    counts = recording.pixels(number).astype(float)[here] - known.dark_counts[here]
    output = np.interp(table.light_level[number], *zip(*known.light_output, strict=True))
    milliseconds = table.exposure_us[number] / 1000.0
    good = ~known.defects[here]
    return float((counts / known.flat[here])[good].mean() / (milliseconds * table.gain[number] * output))


def before_dye(recording):
    times_s = (recording.frame_table.sensor_time_ns - recording.frame_table.sensor_time_ns[0]) / 1e9
    return np.flatnonzero((times_s < INJECTED_S) & (times_s >= INJECTED_S - 1.0))


def test_a_recording_is_described_with_what_happened(path, browser, viewer):
    found = viewer.get(f"{PLACE}/review").json
    assert (found["name"], found["case"], found["frames"]) == (NAME, "", int(SECONDS * FPS))
    assert found["injected_at_s"] == pytest.approx(INJECTED_S, abs=0.11)
    assert (found["reference"], found["regions"], found["marked"]) == (None, [], False)
    assert [event["kind"] for event in found["events"]].count("injection") == 1
    told = {event["kind"]: (event["at_s"], event["text"]) for event in found["events"]}
    assert told["note"] == (12.0, NOTE)
    assert (told["light"], told["gap"], told["trip"]) == ((0.0, "60"), (15.0, "2"), (22.0, "frames stopped coming"))
    assert (found["has_maps"], found["has_analysis"], found["late_notes"]) == (False, False, [])


@pytest.mark.parametrize("at_s", [11.03, 14.96, 23.9])
def test_values_are_those_of_the_raw_frame(marked, browser, at_s):
    found = browser.get(f"{PLACE}/moment?at_s={at_s}").json
    number = round(at_s * FPS) if at_s < 23.9 else int(SECONDS * FPS) - 1
    assert (found["number"], found["lit"]) == (number, True)
    with Recording.open(marked) as recording:
        above = {
            name: mean_signal(recording, number, name)
            - np.mean([mean_signal(recording, k, name) for k in before_dye(recording)])
            for name in (BASE, TIP)
        }
    expected = 100.0 * above[TIP] / above[BASE]
    assert found["regions"][0]["percent"] == pytest.approx(expected, rel=1e-6)
    assert found["reference"]["percent"] == 100.0
    assert 0 < found["regions"][0]["percent_u"] < 3


def test_before_the_dye_there_is_no_percent_and_the_picture_is_grey(marked, browser):
    found = browser.get(f"{PLACE}/moment?at_s=1").json
    assert (found["regions"][0]["percent"], found["regions"][0]["flag"]) == (None, "before the dye")
    picture = picture_of(browser, at_s=1, view="relative")
    assert np.ptp(picture.astype(int), axis=2).max() <= 2
    assert np.ptp(picture_of(browser, at_s=20, view="relative").astype(int), axis=2).max() > 60


def picture_of(browser, **shown):
    answer = browser.get(f"{PLACE}/picture.jpg", query_string=shown)
    assert answer.status_code == 200, answer.text
    return np.asarray(Image.open(io.BytesIO(answer.data)).convert("RGB"))


@pytest.mark.parametrize(("view", "size"), [("grey", (64, 96)), ("relative", (64, 96)), ("side by side", (32, 96))])
def test_the_picture_at_a_point_says_what_the_frame_says(marked, browser, view, size):
    picture = picture_of(browser, at_s=20, view=view, contours="")
    assert picture.shape[:2] == size
    with Recording.open(marked) as recording:
        bright, dim = mean_signal(recording, 200, BASE), mean_signal(recording, 200, TIP)
    assert bright > dim
    left = picture[:, : size[1] // 2] if view == "side by side" else picture
    across = left.shape[1]
    assert left[10:20, across // 8].mean() > left[10:20, across * 3 // 4].mean()


def test_half_the_size_shows_the_same(marked, browser):
    whole = picture_of(browser, at_s=20, view="relative", contours="").astype(float)
    half = picture_of(browser, at_s=20, view="relative", size="half", contours="").astype(float)
    assert half.shape[:2] == (32, 48)
    means = whole.reshape(32, 2, 48, 2, 3).mean(axis=(1, 3))
    assert np.abs(means - half)[4:-4, 4:-4].mean() < 6


def test_a_moment_names_its_frame_and_is_drawn_once(marked, browser, app):
    first = browser.get(f"{PLACE}/picture.jpg?at_s=9.98")
    assert (first.headers["X-Frame"], float(first.headers["X-Time-S"])) == ("100", pytest.approx(10.0, abs=0.01))
    again = browser.get(f"{PLACE}/picture.jpg?at_s=10.02")
    assert again.data == first.data
    for number in range(PICTURES_AT_MOST + 5):
        browser.get(f"{PLACE}/picture.jpg?size=half&at_s={number / FPS}")
    runs = app.extensions["tapetum review"]
    assert len(runs._pictures) == PICTURES_AT_MOST


def test_regions_lie_where_the_newest_analysis_has_the_tissue(marked, browser):
    number = 100
    assert browser.get(f"{PLACE}/picture.jpg?at_s=10").headers["X-Place"] == "still"
    motions = [None if k == number else Motion(7.0, 2.0) if k > number else Motion() for k in range(int(SECONDS * FPS))]
    write_analysis(marked, {"track": KeptTrack(tuple(motions)).as_values()})
    for at_s, place, base in ((9.0, "followed", BASE), (10.0, "lost", BASE), (11.0, "followed", "base:15,10,24,40")):
        answer = browser.get(f"{PLACE}/picture.jpg?at_s={at_s}")
        assert (answer.headers["X-Place"], json.loads(answer.headers["X-Regions"])[0]) == (place, base)
        found = browser.get(f"{PLACE}/moment?at_s={at_s}").json
        assert (found["place"], found["reference"]["region"]) == (place, base)
    assert browser.get(f"{PLACE}/moment?at_s=10").json["regions"][0]["flag"] == "place not known"
    (marked / "afterwards" / "analysis.json").write_text('{"track": {"dx_px": 1}}')
    assert "analyse again" in line_of(browser.get(f"{PLACE}/moment?at_s=10"), 400)
    assert browser.get(f"{PLACE}/review").status_code == 200


def test_few_recordings_stay_open_and_none_that_is_gone(data_folder, browser):
    names = [f"quay-{number}" for number in range(OPEN_AT_MOST + 2)]
    paths = [put_recording(data_folder, name) for name in names]
    runs = ReviewRuns(data_folder / "recordings")
    for name in names:
        with runs.run(name) as run:
            assert run.recording.frames == SECONDS * FPS
    assert list(runs._open) == names[-OPEN_AT_MOST:]
    paths[-1].rename(paths[-1].with_name("away"))
    with runs.run(names[0]):
        assert names[-1] not in runs._open
    runs.close()
    assert not runs._open


def test_recordings_are_closed_when_nobody_has_looked_for_a_while(data_folder):
    put_recording(data_folder)
    rested = threading.Event()
    runs = ReviewRuns(data_folder / "recordings", at_rest=rested.set, rest_s=0.05)
    with runs.run(NAME) as run:
        runs.keep_picture((NAME, 1), b"")
    assert rested.wait(20)
    assert (list(runs._open), list(runs._pictures)) == ([], [])
    with runs.run(NAME) as again:
        assert again is not run
    runs.close()


def test_who_comes_third_is_told_to_wait_and_the_page_has_threads_left(path, browser, app):
    runs = app.extensions["tapetum review"]
    with runs.room(), runs.room():
        assert "try again in a moment" in line_of(browser.get(f"{PLACE}/picture.jpg"), 409)
        assert browser.get("/api/v1/access").status_code == 200
    assert browser.get(f"{PLACE}/picture.jpg").status_code == 200


def test_marks_are_kept_beside_the_recording_and_dropped_again(marked, browser):
    found = browser.get(f"{PLACE}/review").json
    assert (found["reference"], found["regions"], found["marked"]) == (MARKS["reference"], MARKS["regions"], True)
    assert browser.delete(f"{PLACE}/marks").status_code == 200
    assert browser.get(f"{PLACE}/review").json["marked"] is False


@pytest.mark.parametrize(
    ("marks", "line"),
    [
        ({"reference": {"region": "base:900,900,5,5"}, "regions": []}, "outside the picture"),
        ({"reference": {"region": "nothing"}, "regions": []}, "not a region"),
        ({"reference": {"region": BASE, "seen_at_s": 500}, "regions": []}, "later than the recording ends"),
        ({"reference": {"region": BASE}, "regions": [{"region": "base:1,1,9,9"}]}, "same name"),
        ({"reference": None, "regions": [{"region": "<b>:1,1,9,9"}]}, "name is 1 to 40 letters"),
    ],
)
def test_marks_that_cannot_be_are_refused_and_the_old_ones_stay(marked, device, browser, marks, line):
    assert line in line_of(browser.put(f"{PLACE}/marks", json=marks), 400)
    assert browser.get(f"{PLACE}/review").json["regions"] == MARKS["regions"]


def test_a_note_said_afterwards_changes_nothing_that_was_recorded(path, device, browser):
    recorded = (path / "events.jsonl").read_bytes()
    assert browser.post(f"{PLACE}/notes", json={"at_s": 12.5, "text": HOSTILE}).json == {"recording": NAME, "notes": 1}
    browser.post(f"{PLACE}/notes", json={"at_s": 3, "text": "second"})
    notes = browser.get(f"{PLACE}/review").json["late_notes"]
    assert [(note["at_s"], note["text"]) for note in notes] == [(12.5, HOSTILE), (3.0, "second")]
    assert browser.delete(f"{PLACE}/notes/last").json["notes"] == 1
    assert [note["text"] for note in browser.get(f"{PLACE}/review").json["late_notes"]] == [HOSTILE]
    browser.delete(f"{PLACE}/notes/last")
    assert "no note was added afterwards" in line_of(browser.delete(f"{PLACE}/notes/last"), 400)
    assert (path / "events.jsonl").read_bytes() == recorded


def test_notes_too_long_too_late_or_too_many_are_refused(path, device, browser):
    line_of(browser.post(f"{PLACE}/notes", json={"at_s": 1, "text": "x" * 2001}), 400)
    line_of(browser.post(f"{PLACE}/notes", json={"at_s": 1, "text": ""}), 400)
    assert "later than" in line_of(browser.post(f"{PLACE}/notes", json={"at_s": 99, "text": "x"}), 400)
    (path / "afterwards").mkdir()
    line = json.dumps({"at_s": 1.0, "text": "x", "said_at": ""}) + "\n"
    (path / "afterwards" / "notes.jsonl").write_text(line * MOST_NOTES + '{"torn')
    assert "too many" in line_of(browser.post(f"{PLACE}/notes", json={"at_s": 1, "text": "x"}), 400)
    browser.delete(f"{PLACE}/notes/last")
    add_late_note(path, LateNote(2.0, "after the torn line", ""))
    assert browser.get(f"{PLACE}/review").json["late_notes"][-1]["text"] == "after the torn line"


def test_an_analysis_gives_what_the_command_line_gives(marked, device, browser):
    assert "not analysed yet" in line_of(browser.get(f"{PLACE}/analysis"), 404)
    started = browser.post(f"{PLACE}/analysis", json={})
    assert (started.status_code, started.json["recording"], started.json["finished"]) == (202, NAME, False)
    assert "an analysis is running" in line_of(browser.post(f"{PLACE}/analysis", json={}), 400)
    ended = wait_for(
        lambda: (job := browser.get("/api/v1/state").json["analysis"])["finished"] and job, "analysed", seconds=90
    )
    assert (ended["error"], ended["done"]) == ("", 1.0)
    found = browser.get(f"{PLACE}/analysis").json
    arguments = [str(marked), "--reference", BASE, "--region", TIP, "--curves", "--json", "--seen-at", "2"]
    said = json.loads(CliRunner().invoke(command, arguments, catch_exceptions=False).stdout)
    for shown, curve in zip(found["curves"], said["curves"]["series"], strict=True):
        assert shown["name"] == curve["name"]
        np.testing.assert_allclose(shown["values"], curve["values"], rtol=0.01, atol=0.3)
    assert found["times_s"] == said["curves"]["times_s"]
    assert found["unit"] == "%"
    (tip,) = found["regions"]
    for figure in tip["figures"]:
        expected = said["regions"]["tip"][figure["key"]]
        assert figure["value"] == (None if expected["value"] is None else pytest.approx(expected["value"], rel=0.01))
    assert browser.get(f"{PLACE}/review").json["has_analysis"] is True


def test_an_analysis_is_stopped(marked, device, browser):
    browser.post(f"{PLACE}/analysis", json={"maps": True})
    job = browser.delete(f"{PLACE}/analysis").json["analysis"]
    job = wait_for(lambda: (one := browser.get("/api/v1/state").json["analysis"])["finished"] and one, "stopped")
    assert (job["stopped"], job["error"]) == (True, "")
    assert not (marked / "afterwards" / "analysis.json").exists()


@pytest.mark.parametrize("text", ["{", "[]", "{}", '{"curves": 1}'])
def test_a_damaged_analysis_is_said(path, browser, text):
    (path / "afterwards").mkdir()
    (path / "afterwards" / "analysis.json").write_text(text)
    assert "analys" in line_of(browser.get(f"{PLACE}/analysis"), 400)


def test_maps_are_shown_read_and_kept(path, browser):
    assert "no maps yet" in line_of(browser.get(f"{PLACE}/maps"), 404)
    shape = (len(NAMES), 32, 48)
    values, classes = np.full(shape, 11.25, np.float32), np.zeros(shape, np.uint8)
    values[:, :, 24:], classes[:, :, 24:] = np.nan, 3
    u = np.where(np.isfinite(values), np.float32(0.4), np.nan).astype(np.float32)
    write_maps(path, InflowMaps(values, u, classes, MapsAbout(BASE, True, 4.0, 200, True, ("for all",), "for one")))
    found = browser.get(f"{PLACE}/maps").json
    assert [one["notes"] for one in found["maps"]] == [["for all", "for one"], *[["for all"]] * 7]
    assert [one["name"] for one in found["maps"]] == list(NAMES)
    assert (found["reference"], found["maps"][3]["unit"], found["maps"][3]["measured_share"]) == ("base", "s", 0.5)
    at = f"{PLACE}/maps/arrival_s/value"
    assert browser.get(f"{at}?x=10&y=20").json == {
        "value": 11.25,
        "u": pytest.approx(0.4),
        "unit": "s",
        "standing": "measured",
    }
    assert browser.get(f"{at}?x=90&y=20").json["standing"] == "uncertain"
    assert browser.get(f"{at}?x=8000&y=20").json["standing"] == "not seen"
    alone = Image.open(io.BytesIO(browser.get(f"{PLACE}/maps/arrival_s.png?legend=false").data))
    assert alone.size == (48, 32)
    assert Image.open(io.BytesIO(browser.get(f"{PLACE}/maps/arrival_s.png").data)).size[0] >= 640
    rows = list(csv.reader(io.StringIO(browser.get(f"{PLACE}/maps/arrival_s.csv").text)))
    assert rows[1] == ["1", "1", "11.25", "0.4"]
    assert len(rows) == 1 + 32 * 24
    line_of(browser.get(f"{PLACE}/maps/perfume.png"), 404)


@pytest.mark.parametrize("name", ["..", "%2e%2e%2fetc", ".hidden", "a b", "x" * 130, "con\u202e"])
def test_a_name_that_leads_elsewhere_is_refused(path, browser, name):
    assert browser.get(f"/api/v1/recordings/{name}/review").status_code in (400, 404)


def test_a_link_among_the_recordings_is_not_followed(path, data_folder, browser):
    (data_folder / "recordings" / "linked.zarr").symlink_to(path)
    line_of(browser.get("/api/v1/recordings/linked/review"), 404)


@pytest.mark.parametrize(
    "query", ["at_s=-1", "at_s=nan", "at_s=x", "view=purple", "contours=60,20", "contours=a", "size=9"]
)
def test_a_moment_that_cannot_be_asked_for(marked, browser, query):
    line_of(browser.get(f"{PLACE}/picture.jpg?{query}"), 400)


def test_the_page_compiles_nothing():
    """Its process may not: it runs without write-execute memory."""
    said = "import sys, web_ui.__main__, web_ui.review_api; sys.exit('numba' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", said], check=False).returncode == 0
