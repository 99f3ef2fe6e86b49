"""Commissioning and the device over the interface: each operation asks the imager; nothing is started by who only watches."""

import pytest

from shared.protocol import commissioning as p
from shared.protocol import control as c
from tests.web_ui.test_api import line_of

COMMISSIONING = "/api/v1/commissioning"


@pytest.mark.parametrize(
    ("method", "path", "body", "asked"),
    [
        ("POST", "/walk", {"walk": "dark"}, p.StartWalk("dark")),
        ("POST", "/walk", {"walk": "scale", "distance_mm": 300}, p.StartWalk("scale", 300.0)),
        ("PUT", "/walk", None, p.WatchWalk()),
        ("DELETE", "/walk", None, p.StopWalk()),
        ("POST", "/proposal", {"keep": False}, p.SettleProposal(False)),
        ("POST", "/use", {"name": "2031-04-22T08-00-00Z"}, p.UseCalibration("2031-04-22T08-00-00Z")),
        ("POST", "/use-former-light", None, p.UseFormerLight()),
        ("POST", "/in-force", None, p.PutInForce()),
        ("POST", "/papers", {"paper": "target-a4"}, p.MakePaper("target-a4")),
        ("GET", "/curves/gain?proposed=true&of=x", None, p.GetCurve("gain", "x", True)),
    ],
)
def test_each_operation_asks_the_imager(device, browser, method, path, body, asked):
    answer = browser.open(COMMISSIONING + path, method=method, json=body)
    assert answer.status_code in (200, 202), answer.text
    assert device.requests == [asked]


def test_a_walk_is_seen_in_the_state_and_its_result_in_the_list(device, browser, viewer):
    started = browser.post(f"{COMMISSIONING}/walk", json={"walk": "check"})
    assert started.json["walk"]["running"]
    device.commissioning.tell("unlit frames", items=(p.CheckItem("clock", True, "2031"),))
    seen = viewer.get("/api/v1/state").json["walk"]
    assert (seen["said"], seen["items"]) == (["unlit frames"], [{"name": "clock", "passed": True, "words": "2031"}])
    line_of(browser.post(f"{COMMISSIONING}/walk", json={"walk": "dark"}), 400)
    device.commissioning.finish(passed=True)
    newest = viewer.get(COMMISSIONING).json["checks"][0]
    assert (newest["passed"], newest["items"]) == (True, seen["items"])


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ({"walk": "everything"}, "not one of"),
        ({"walk": "scale", "distance_mm": 5}, "from 30 to 2000"),
        ({"walk": "sensitivity", "concentrations": [1] * 9}, "0 to 8"),
        ({"walk": "dark", "yes": True}, "unknown key"),
        ({}, "missing key"),
    ],
)
def test_what_makes_no_sense_is_refused_and_starts_nothing(device, browser, body, words):
    assert words in line_of(browser.post(f"{COMMISSIONING}/walk", json=body), 400)
    assert device.requests == []


def test_who_watches_looks_and_starts_nothing(device, browser, viewer):
    assert viewer.get(COMMISSIONING).status_code == 200
    assert viewer.get(f"{COMMISSIONING}/curves/dark").status_code == 200
    device.requests.clear()
    for method, path in (
        ("POST", "walk"), ("PUT", "walk"), ("DELETE", "walk"), ("POST", "proposal"), ("POST", "use"),
        ("POST", "in-force"), ("POST", "papers"),
    ):  # fmt: skip
        assert "ask for control" in line_of(viewer.open(f"{COMMISSIONING}/{path}", method=method, json={}), 403)
    assert device.requests == []


def test_a_paper_is_written_then_fetched_by_whoever_is_paired(device, browser, viewer):
    line_of(viewer.get(f"{COMMISSIONING}/papers/target-a4.pdf"), 404)
    made = browser.post(f"{COMMISSIONING}/papers", json={"paper": "target-a4"})
    assert (made.status_code, made.json["paper"]["file"]) == (202, "target-a4.pdf")
    fetched = viewer.get(f"{COMMISSIONING}/papers/target-a4.pdf")
    assert (fetched.status_code, fetched.mimetype) == (200, "application/pdf")
    assert fetched.data.startswith(b"%PDF")
    fetched.close()
    for name in ("state.json", "..%2Fsessions.json", "target-a3.pdf"):
        assert viewer.get(f"{COMMISSIONING}/papers/{name}").status_code in (400, 404)
    line_of(viewer.get(f"{COMMISSIONING}/curves/anything"), 404)


def test_the_device_tells_of_itself_and_of_how_the_page_is_served(device, viewer):
    about = viewer.get("/api/v1/device").json
    assert about["device"]["trips"][0]["tried"]
    assert about["device"]["settings"][1] == {
        "section": "light", "key": "lease_ms", "value": "120", "changed": True,
        "about": "light goes dark this long after the last verified frame",
    }  # fmt: skip
    assert (about["page"]["encrypted"], about["page"]["fingerprint"]) == (False, "")
    assert about["page"]["tablets"] == 2
    assert about["page"]["memory_mb"] > 10


def test_putting_the_light_out_ends_the_walk_that_lights_it(device, browser):
    browser.post(f"{COMMISSIONING}/walk", json={"walk": "gain"})
    device.requests.clear()
    assert browser.post("/api/v1/light", json={"act": "off"}).json["walk"]["error"] == "it was stopped"
    assert device.requests == [p.StopWalk(), c.Light("off")]
