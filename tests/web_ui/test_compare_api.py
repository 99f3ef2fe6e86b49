"""Comparing two recordings through the interface: the device's own child process on simulated runs, and what it refuses."""

import csv
import io
import threading
import time

import numpy as np
import pytest
from PIL import Image

from device.simulate import simulate
from tests.device.test_comparison import BASE, TIP, scene, second_run
from tests.many_recordings import many_recordings
from tests.web_ui.test_api import line_of

PLACE = "/api/v1/comparisons"


@pytest.fixture(scope="module")
def runs(tmp_path_factory):
    folder = tmp_path_factory.mktemp("runs")
    simulate(scene(), folder / "before.zarr", 45.0, seed=4)
    second_run(folder, 5, 0.48, 14.0, seconds=40.0)
    return folder


@pytest.fixture
def recordings(data_folder, runs):
    folder = data_folder / "recordings"
    folder.mkdir()
    for name in ("before", "after5"):
        (folder / f"{name}.zarr").mkdir()
        for path in sorted((runs / f"{name}.zarr").rglob("*")):
            place = folder / f"{name}.zarr" / path.relative_to(runs / f"{name}.zarr")
            place.mkdir() if path.is_dir() else place.hardlink_to(path)
    return folder


def finished(browser):
    """The newest job when it is over."""
    deadline, pause = time.monotonic() + 240, threading.Event()
    while True:
        job = browser.get("/api/v1/state").json["comparison"]
        if job["finished"]:
            return job
        assert time.monotonic() < deadline, job
        pause.wait(0.05)


def test_two_runs_are_compared_and_the_result_is_kept(device, browser, viewer, recordings):
    asked = {"first": "before", "second": "after5", "reference": BASE, "regions": [TIP]}
    line_of(browser.get(f"{PLACE}/before~after5"), 404)
    job = browser.post(PLACE, json=asked)
    assert (job.status_code, job.json["finished"]) == (202, False)
    assert "a comparison is running" in line_of(browser.post(PLACE, json=asked), 400)
    assert finished(browser)["error"] == ""
    kept = viewer.get(f"{PLACE}/before~after5").json
    assert kept["recordings_are_there"]
    assert kept["pictures"]["outlines"] == {"reference": BASE, "regions": [TIP]}
    x, y, width, height = (int(number) // 2 for number in TIP.partition(":")[2].split(","))
    asked_of = f"{PLACE}/before~after5"
    table = viewer.get(f"{asked_of}/points.csv").text.splitlines()[1:]
    rows = {tuple(map(int, row[:2])): row[2:] for row in csv.reader(table)}
    for at, name in enumerate(("first", "second", "difference")):
        inside = [rows[2 * (x + dx) + 1, 2 * (y + dy) + 1][2 * at] for dx in range(width) for dy in range(height)]
        certain = [float(one) for one in inside if one]
        assert len(certain) > len(inside) / 2
        region = kept["regions"]["tip"][name]["relative_percent_at_end"]
        assert np.mean(certain) == pytest.approx(region["value"], abs=1.5)
        found = viewer.get(f"{asked_of}/value?x={x}&y={y}").json[name]
        assert found["percent"] == pytest.approx(float(inside[0]), rel=1e-3)
        assert found["u"] > 0
    assert "outside the picture" in line_of(viewer.get(f"{asked_of}/value?x=8000&y=1"), 400)
    change = kept["regions"]["tip"]["difference"]["relative_percent_at_end"]
    assert change["value"] > 10
    assert change["u"] > 0
    assert kept["regions"]["tip"]["remainder"]["method"]
    assert len(kept["cautions"]) >= 4
    about = kept["pictures"]
    for name in ("first", "second", "difference"):
        with viewer.get(f"{PLACE}/before~after5/{name}.png") as answer:
            assert Image.open(io.BytesIO(answer.data)).size == (about["width"], about["height"])
    with viewer.get(f"{PLACE}/before~after5/comparison.csv") as table:
        assert table.headers["Content-Disposition"].startswith("attachment; filename=before_and_after5.csv")
        assert b"tip,relative_percent_at_end" in table.data


def test_what_cannot_be_compared_is_said(device, browser, recordings):
    line_of(browser.post(PLACE, json={"first": "before", "second": "before"}), 400)
    assert "no such recording" in line_of(browser.post(PLACE, json={"first": "before", "second": "away"}), 400)
    browser.post(PLACE, json={"first": "before", "second": "after5", "reference": "nowhere"})
    job = finished(browser)
    assert job["error"]
    line_of(browser.get(f"{PLACE}/before~after5"), 404)
    assert [path.name for path in (recordings.parent / "comparisons").glob("*")] == []
    assert "no comparison is running" in line_of(browser.delete(f"{PLACE}/running"), 400)


def test_stopped_before_its_end_nothing_is_kept(device, browser, recordings):
    browser.post(PLACE, json={"first": "before", "second": "after5", "reference": BASE, "regions": [TIP]})
    assert "a comparison uses this recording" in line_of(browser.delete("/api/v1/recordings/before"), 400)
    browser.delete(f"{PLACE}/running")
    job = finished(browser)
    assert (job["stopped"], job["error"]) == (True, "")
    line_of(browser.get(f"{PLACE}/before~after5"), 404)


def test_names_that_do_harm(device, browser, data_folder):
    many_recordings(data_folder / "recordings", 1)
    (data_folder / "secret.json").write_text("{}")
    for name in ("..~..", "a~../..", "a", "~", "a~b~c", ".~.", "a%00~b", "<script>~b"):
        assert browser.get(f"{PLACE}/{name}").status_code in (400, 404), name
        assert browser.get(f"{PLACE}/{name}/first.png").status_code in (400, 404), name
    for picture in ("comparison.json", "..%2f..%2fsecret.json", "first.png%00", "sheet.png"):
        assert browser.get(f"{PLACE}/a~b/{picture}").status_code == 404
