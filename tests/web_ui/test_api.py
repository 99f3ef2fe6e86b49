import io
import json
import logging

import pytest
from PIL import Image

from device.control_server import ControlServer
from shared.bounded import plain
from shared.protocol import control as c
from tests.web_ui.conftest import SITE, WORD

ASKED = [
    ("PUT", "view", {"view": "side by side"}, c.SetView("side by side")),
    ("PUT", "contours", {"percent": [20, 40.5]}, c.SetContours((20.0, 40.5))),
    ("PUT", "contours", {"percent": []}, c.SetContours(())),
    ("PUT", "reference", {"region": "skin:1,2,30,40"}, c.SetReference("skin:1,2,30,40")),
    ("DELETE", "reference", None, c.SetReference(None)),
    ("PUT", "regions", {"region": "tip:polygon:1,1,9,1,5,9"}, c.PutRegion("tip:polygon:1,1,9,1,5,9")),
    ("POST", "light", {"act": "brighter"}, c.Light("brighter")),
    ("PUT", "exposure", {"exposure_us": 9000, "gain": 2}, c.SetExposure(9000.0, 2.0)),
    ("POST", "recording", {"act": "start", "case": "K7-Heron"}, c.Record("start", "K7-Heron")),
    ("POST", "recording", {"act": "start"}, c.Record("start", "")),
    ("POST", "injection", {}, c.MarkInjection(False)),
    ("POST", "injection", {"undo": True}, c.MarkInjection(True)),
    ("POST", "injection", {"undo": False, "case": "K7"}, c.MarkInjection(False, "K7")),
]


def line_of(answer, status):
    """The one line of a refusal."""
    assert answer.status_code == status, answer.get_data(as_text=True)
    assert set(answer.json) == {"line"}
    assert answer.json["line"]
    assert "\n" not in answer.json["line"]
    return answer.json["line"]


def operations(app):
    """(method, path) of everything that is served, with a name in place of parameters."""
    for rule in app.url_map.iter_rules():
        for method in sorted(rule.methods - {"HEAD", "OPTIONS"}):
            yield method, rule.rule.replace("<name>", "tip"), rule.endpoint


@pytest.mark.parametrize(("method", "path", "body", "request_"), ASKED)
def test_each_operation_asks_the_imager_and_gives_the_new_state(device, browser, method, path, body, request_):
    answer = browser.open(f"/api/v1/{path}", method=method, json=body)
    assert answer.status_code == 200, answer.text
    assert device.requests == [request_]
    state = browser.get("/api/v1/state").json
    still = {"view", "contours_percent", "reference", "light_levels", "calibration", "version"}
    assert {key: answer.json[key] for key in still} == {key: state[key] for key in still}


def test_remaining_operations(device, browser):
    chosen = browser.post("/api/v1/exposure/choice", json={"apply": True}).json
    assert device.requests == [c.ChooseExposure(True)]
    assert (chosen["verdict"], chosen["applied"]) == ("brighter", True)
    assert browser.put("/api/v1/regions", json={"region": "far tip:1,2,3,4"}).json["regions"][0]["name"] == "far tip"
    assert browser.delete("/api/v1/regions/far%20tip").json["regions"] == []
    assert browser.post("/api/v1/recording", json={"act": "start", "case": "K7"}).json["recording"]["name"] == "K7-3"
    assert browser.post("/api/v1/notes", json={"text": "<script>‮ ok"}).status_code == 200
    assert device.requests[-1] == c.AddNote("<script>‮ ok")
    assert [one["name"] for one in browser.get("/api/v1/recordings").json["recordings"]] == ["K7-Heron-2", "K7-Heron-1"]
    job = browser.post("/api/v1/exports", json={"recording": "K7-Heron-1", "formats": ["csv", "mp4"]})
    assert (job.status_code, job.json["recording"]) == (202, "K7-Heron-1")
    assert device.requests[-1] == c.StartExport("K7-Heron-1", ("csv", "mp4"), None)
    assert browser.get("/api/v1/state").json["exports"] == [job.json]


def test_state_is_the_imagers_state_in_every_key(device, browser):
    shown = browser.get("/api/v1/state").json
    asked = plain(device._handle(c.GetState()))
    for moving in ("sequence",):
        del shown["camera"][moving], asked["camera"][moving]
    assert shown == asked


def test_still_is_kept_and_fetched_by_either_name(device, browser):
    name = browser.post("/api/v1/stills", json={"language": "de"}).json["name"]
    for spelled in (name, f"{name}.png"):
        with browser.get(f"/api/v1/stills/{spelled}") as answer:
            assert answer.mimetype == "image/png"
            assert Image.open(io.BytesIO(answer.data)).size == (1456, 1088)


@pytest.mark.parametrize(
    "name", ["..%2f..%2fsecret", "%2e%2e", ".hidden", "a%00b", "a%5cb", "x" * 121, "secret.txt%0a"]
)
def test_hostile_names_of_stills_are_refused(browser, data_folder, name):
    (data_folder / "secret.png").write_bytes(b"secret")
    answer = browser.get(f"/api/v1/stills/{name}")
    assert answer.status_code in (400, 404)
    assert set(answer.json) == {"line"}


def test_links_out_of_the_stills_folder_are_not_followed(browser, data_folder, tmp_path):
    (tmp_path / "secret.png").write_bytes(b"secret")
    (data_folder / "stills").mkdir()
    (data_folder / "stills" / "link.png").symlink_to(tmp_path / "secret.png")
    assert "no such still" in line_of(browser.get("/api/v1/stills/link"), 404)


def test_picture_says_how_old_it_is(device, browser):
    answer = browser.get("/api/v1/picture.jpg")
    while answer.status_code == 503:  # the fake imager has not published yet
        answer = browser.get("/api/v1/picture.jpg")
    assert Image.open(io.BytesIO(answer.data)).size == (1456, 1088)
    assert 0 <= int(answer.headers["X-Age-Ms"]) < 60_000
    assert answer.headers["Cache-Control"] == "no-store"


WRONG = [
    (
        "PUT",
        "view",
        {"view": "gray"},
        "SetView: view is not one of grey, relative, side by side: gray; choose one of those",
    ),
    ("PUT", "view", {}, "SetView: missing key: view; add it"),
    ("PUT", "view", {"view": "grey", "also": 1}, "SetView: unknown key: also"),
    ("PUT", "view", [], "SetView: the whole must be a table"),
    ("PUT", "view", None, "SetView: the whole must be a table"),
    ("PUT", "contours", {"percent": [1, 2, 3, 4, 5]}, "SetContours: percent must have 0 to 4 items"),
    ("PUT", "contours", {"percent": [0.5]}, "SetContours: percent must be from 1 to 200: 0.5"),
    ("PUT", "contours", {"percent": "20"}, "SetContours: percent must be a list"),
    ("PUT", "exposure", {"exposure_us": "9000", "gain": 1}, "SetExposure: exposure_us must be a number: 9000"),
    ("PUT", "exposure", {"exposure_us": True, "gain": 1}, "SetExposure: exposure_us must be a number"),
    ("PUT", "reference", {"region": "x" * 2001}, "SetReference: region must have 1 to 2000"),
    ("PUT", "regions", {"region": "no region"}, "not a region: no region"),
    ("DELETE", "regions/unknown", None, "no region has this name: unknown"),
    ("DELETE", f"regions/{'x' * 41}", None, "no region has so long a name"),
    ("POST", "light", {"act": "laser"}, "Light: act is not one of"),
    ("POST", "recording", {"act": "stop"}, "no recording runs; start one first"),
    ("POST", "injection", {"undo": 1}, "MarkInjection: undo must be true or false"),
    ("POST", "notes", {"text": ""}, "AddNote: text must have 1 to 2000"),
    ("POST", "exports", {"recording": "a", "formats": ["exe"]}, "StartExport: formats[0] is not one of"),
    ("POST", "pair", {"word": 7}, "Pair: word must be text"),
]


@pytest.mark.parametrize(("method", "path", "body", "line"), WRONG)
def test_wrong_input_is_refused_with_one_line(device, browser, method, path, body, line):
    data = {} if body is None and method == "DELETE" else {"data": json.dumps(body), "content_type": "application/json"}
    answer = browser.open(f"/api/v1/{path}", method=method, **data)
    assert line_of(answer, 400).startswith(line)


@pytest.mark.parametrize(
    ("body", "line"),
    [
        (b"", "missing key: exposure_us"),
        (b"{", "not JSON"),
        (b"\xff", "not JSON"),
        (b"[" * 60_000, "not JSON"),
        (b'{"exposure_us": NaN, "gain": 1}', "must be finite"),
        (b'{"exposure_us": 1e999, "gain": 1}', "must be finite"),
        (b'{"exposure_us": 1%s, "gain": 1}' % (b"0" * 400), "must be finite"),
        (b'{"exposure_us": 1%s, "gain": 1}' % (b"0" * 5000), "not JSON"),
        (b'{"\\ud800": 1}', "unknown key"),
    ],
)
def test_bytes_that_are_no_request_are_refused(device, browser, body, line):
    answer = browser.put("/api/v1/exposure", data=body, content_type="application/json")
    assert line in line_of(answer, 400)
    assert device.requests == []


def test_half_characters_are_refused(device, browser):
    answer = browser.post("/api/v1/notes", data=b'{"text": "\\udcff"}', content_type="application/json")
    assert "half a character" in line_of(answer, 400)


def test_long_bodies_and_other_types_are_refused(device, browser):
    text = json.dumps({"text": "x" * 100_000})
    assert "at most 65536 bytes" in line_of(
        browser.post("/api/v1/notes", data=text, content_type="application/json"), 413
    )
    answer = browser.post("/api/v1/light", data="act=on", content_type="application/x-www-form-urlencoded")
    assert answer.status_code in (400, 415)
    assert device.requests == []


def test_unknown_paths_and_methods_have_a_line_too(browser):
    line_of(browser.get("/api/v1/nothing"), 404)
    line_of(browser.get("/../../etc/passwd"), 404)
    line_of(browser.get("/static/..%2fapp.py"), 404)
    answer = browser.delete("/api/v1/view")
    line_of(answer, 405)
    assert "PUT" in answer.headers["Allow"]


def test_only_page_its_files_pairing_and_document_are_open_to_strangers(app, stranger):
    open_to_all = set()
    for method, path, endpoint in operations(app):
        status = stranger.open(path, method=method).status_code
        if status != 401:
            open_to_all.add(endpoint)
    pairing = {"access.pair_browser", "access.pair_by_button", "access.get_certificate"}
    assert open_to_all == {"page", "file", "worker", "openapi.spec", *pairing}
    assert "not paired" in line_of(stranger.get("/anything/else"), 401)


@pytest.mark.parametrize("cookie", ["", "x", "a.1.b", "é", "\x00", "y" * 5000])
def test_made_up_cookies_open_nothing(stranger, cookie):
    environ = {"HTTP_COOKIE": f"tapetum_session={cookie}"}
    line_of(stranger.get("/api/v1/state", environ_overrides=environ), 401)


def test_pairing_sets_a_cookie_that_scripts_and_other_sites_never_see(stranger):
    answer = stranger.post("/api/v1/pair", json={"word": WORD.upper().replace("-", " ")})
    cookie = answer.headers["Set-Cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert "Path=/" in cookie
    assert WORD not in cookie


def test_wrong_words_are_throttled(stranger):
    for _ in range(5):
        assert "not the word" in line_of(stranger.post("/api/v1/pair", json={"word": "wrong-word-0000"}), 400)
    answer = stranger.post("/api/v1/pair", json={"word": WORD})
    assert "too many tries" in line_of(answer, 429)
    assert 1 <= int(answer.headers["Retry-After"]) <= 5


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.test"},
        {"Origin": "http://tapetum.test:9999"},
        {"Origin": "https://tapetum.test:8080"},
        {"Origin": "null"},
        {"Origin": ""},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Sec-Fetch-Site": "none", "Origin": SITE},
    ],
)
def test_other_sites_pages_cannot_change_anything(device, browser, headers):
    answer = browser.post("/api/v1/light", json={"act": "on"}, headers=headers)
    assert "another site" in line_of(answer, 403)
    assert device.requests == []


def test_own_page_can(device, browser):
    headers = {"Origin": SITE, "Sec-Fetch-Site": "same-origin"}
    assert browser.post("/api/v1/light", json={"act": "off"}, headers=headers).status_code == 200


def test_odd_hosts_are_refused(stranger):
    for host in (
        "evil.test/x",
        "a b",
        "x;script-src *",
        "",
        "evil.test",
        "tapetum.test.evil.test",
        "1.2.3.4.evil.test",
    ):
        assert "another name" in line_of(stranger.get("/", headers={"Host": host}), 400)


@pytest.mark.parametrize("host", ["10.42.0.1:8080", "[fd00::1]:8080", "127.0.0.1", "TAPETUM.test:8080"])
def test_own_names_and_any_address_are_taken(stranger, host):
    assert stranger.get("/", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize("path", ["/", "/api/v1/openapi.json", "/api/v1/state", "/nothing"])
def test_every_answer_is_hardened(stranger, path):
    headers = stranger.get(path, base_url=SITE).headers
    policy = dict(part.split(" ", 1) for part in headers["Content-Security-Policy"].split("; "))
    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == policy["style-src"] == "'self'"
    assert policy["connect-src"] == "'self' ws://tapetum.test:8081"
    assert policy["frame-ancestors"] == "'none'"
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "no-referrer"
    assert "Server" not in headers


def test_without_an_imager_the_answer_is_503(browser):
    assert "imager does not answer" in line_of(browser.get("/api/v1/state"), 503)
    assert "no picture yet" in line_of(browser.get("/api/v1/picture.jpg"), 503)


def test_imagers_failure_is_500_with_its_line(run_folder, browser, caplog):
    def fail(_):
        raise OSError("sensor cable")

    with ControlServer(run_folder / "control.sock", fail), caplog.at_level(logging.CRITICAL):
        assert "the device failed: OSError" in line_of(browser.get("/api/v1/state"), 500)


def test_own_failure_is_500_with_one_plain_line_and_a_traceback_in_the_log(app, browser, caplog, monkeypatch):
    monkeypatch.setattr(app.extensions["tapetum"].pictures, "look", lambda: 1 / 0)
    line = line_of(browser.get("/api/v1/picture.jpg"), 500)
    assert "Zero" not in line
    assert "ZeroDivisionError" in caplog.text
