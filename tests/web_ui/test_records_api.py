"""Cases, recordings, dye and exports through the interface; behind the fake imager the device's own code on real recordings."""

import pytest

from tests.many_recordings import many_recordings, one_recording
from tests.web_ui.test_api import line_of


@pytest.fixture
def names(data_folder):
    return many_recordings(data_folder / "recordings", 9)


def test_pages_search_and_cases(device, browser, names):
    first = browser.get("/api/v1/recordings?limit=4").json
    assert [one["name"] for one in first["recordings"]] == names[:4:-1]
    assert first["total"] == 9
    second = browser.get("/api/v1/recordings", query_string={"limit": 200, "after": first["next"]}).json
    assert [one["name"] for one in second["recordings"]] == names[4::-1]
    assert second["next"] == ""
    assert browser.get("/api/v1/recordings?case=K1-Heron").json["total"] == 3
    assert browser.get("/api/v1/recordings?text=2031-01-01T09").json["total"] == 2
    cases = browser.get("/api/v1/cases?limit=2").json
    assert [one["case"] for one in cases["cases"]] == ["K2-Heron", "K1-Heron"]
    assert cases["total"] == 3
    for query in ("limit=0", "limit=201", "limit=x", "after=" + 201 * "x", "text=" + 121 * "x", "case=" + 41 * "x"):
        line_of(browser.get(f"/api/v1/recordings?{query}"), 400)


def test_a_case_is_opened_and_a_recording_changes_its_case(device, browser, names):
    assert browser.put("/api/v1/case", json={"case": "K1-Heron"}).json["case"] == "K1-Heron"
    kept = browser.put(f"/api/v1/recordings/{names[0]}/case", json={"case": "M4"}).json
    assert kept == {"recording": "2031-01-01T08-00-00Z_M4"}
    assert browser.get("/api/v1/recordings?case=M4").json["total"] == 1
    assert "not a case code" in line_of(
        browser.put(f"/api/v1/recordings/{names[1]}/case", json={"case": "Anna Muster"}), 400
    )


def test_removed_put_back_and_forgotten(device, browser, names):
    removed = browser.delete(f"/api/v1/recordings/{names[3]}").json
    assert removed["recording"] == names[3]
    assert browser.get("/api/v1/recordings").json["total"] == 8
    assert browser.get("/api/v1/removed").json["removed"] == [removed]
    assert browser.post(f"/api/v1/removed/{removed['removed']}/restore").json == {"recording": names[3]}
    browser.delete(f"/api/v1/recordings/{names[3]}")
    assert browser.delete("/api/v1/removed").json["removed"] == []
    assert "not there any more" in line_of(browser.post(f"/api/v1/removed/{removed['removed']}/restore"), 400)
    line_of(browser.delete("/api/v1/recordings/away"), 400)
    line_of(browser.delete("/api/v1/recordings/" + 121 * "x"), 400)


def test_dye_of_a_case(device, browser, names):
    found = browser.get("/api/v1/dye/K0-Heron").json
    assert (found["given_mg"], found["limit_mg"], len(found["injections"])) == (15.0, None, 3)
    assert any("iodide" in line for line in found["cautions"])
    assert browser.put("/api/v1/dye/K0-Heron/body-mass", json={"body_mass_kg": 50}).json["limit_mg"] == 100.0
    given = browser.post("/api/v1/dye/K0-Heron/doses", json={"dose_mg": 5, "minutes_ago": 2}).json
    (line,) = [one["line"] for one in given["injections"] if one["line"] is not None]
    assert browser.delete(f"/api/v1/dye/K0-Heron/entries/{line}").json["given_mg"] == 15.0
    for wrong in ({"dose_mg": 0}, {"dose_mg": 501}, {}, {"dose_mg": 5, "minutes_ago": -1}, {"dose_mg": "five"}):
        line_of(browser.post("/api/v1/dye/K0-Heron/doses", json=wrong), 400)
    marked = browser.get("/api/v1/dye/K0-Heron").json["injections"][1]["at"]
    assert browser.delete(f"/api/v1/dye/K0-Heron/marks/{marked}").json["given_mg"] == 10.0
    for moment in (marked, "noon", "2026-11-25T12:00:00", 41 * "1"):
        line_of(browser.delete(f"/api/v1/dye/K0-Heron/marks/{moment}"), 400)
    for number in ("0", "x", "99999999999", "²"):
        line_of(browser.delete(f"/api/v1/dye/K0-Heron/entries/{number}"), 400)
    assert "not a case code" in line_of(browser.get("/api/v1/dye/Anna%20Muster"), 400)


def test_how_large_an_export_becomes_and_stopping_it(device, browser, names):
    found = browser.get("/api/v1/exports/estimate", query_string=[("recording", names[0]), ("recording", "away")]).json
    assert {one["format"] for one in found["sizes"]} == {"csv", "tiff", "mp4", "png", "maps"}
    assert (found["missing"], found["drives"][0]["path"]) == (["away"], "/media/stick")
    line_of(browser.get("/api/v1/exports/estimate"), 400)
    device.records.export_ends_at_once = False
    asked = {"recording": names[0], "after_it": names[1:3], "formats": ["csv"]}
    assert browser.post("/api/v1/exports", json=asked).json["recordings"] == names[:3]
    assert "an export uses this recording" in line_of(browser.delete(f"/api/v1/recordings/{names[1]}"), 400)
    assert browser.delete("/api/v1/exports/running").json["exports"][-1]["stopped"]
    assert "no export is running" in line_of(browser.delete("/api/v1/exports/running"), 400)


def test_names_that_do_harm_stay_within_the_folder(device, browser, data_folder, names):
    one_recording(data_folder / "outside.zarr")
    for name in ("..%2foutside", "%2e%2e", "..", ".source", "K7 Heron", "\u202etxt"):
        answers = [
            browser.delete(f"/api/v1/recordings/{name}"),
            browser.put(f"/api/v1/recordings/{name}/case", json={"case": "M4"}),
            browser.post(f"/api/v1/removed/{name}/restore"),
        ]
        assert {answer.status_code for answer in answers} <= {400, 404, 405}, name
    assert (data_folder / "outside.zarr").is_dir()
    assert browser.get("/api/v1/recordings").json["total"] == 9
