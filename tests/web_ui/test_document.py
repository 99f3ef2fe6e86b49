"""The OpenAPI document against the running interface: its schemas, schemathesis's made-up requests, and who may use what."""

import logging
from collections import Counter

import jsonschema
import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis.errors import Unsatisfiable
from openapi_spec_validator import validate
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from shared.clock import SystemClock
from tests.web_ui.fake_device import FakeDevice
from tests.web_ui.test_api import line_of
from web_ui.access import Access
from web_ui.app import close_app, create_app
from web_ui.device_link import DeviceLink
from web_ui.sessions import COOKIE

HERE = "http://localhost"  # where schemathesis keeps its cookies
METHODS = {"get", "put", "post", "delete", "patch"}


@pytest.fixture
def document(stranger):
    return stranger.get("/api/v1/openapi.json").json


def operations(document):
    """(method, path with a name in it, what the document says of it)."""
    for path, item in document["paths"].items():
        for method in item.keys() & METHODS:
            yield method.upper(), path.replace("{name}", "tip").replace("{number}", "00000000"), item[method]


def test_document_is_valid_and_knows_every_operation(app, document):
    validate(document)
    served = {
        (method, rule.rule.replace("<", "{").replace(">", "}"))
        for rule in app.url_map.iter_rules()
        if rule.rule.startswith("/api/v1/") and rule.endpoint != "openapi.spec"
        for method in rule.methods - {"HEAD", "OPTIONS"}
    }
    described = {(m.upper(), path) for path, item in document["paths"].items() for m in item.keys() & METHODS}
    assert described == served
    assert len(described) >= 27


def test_every_operation_says_what_it_needs(document):
    needs = {(method, path): one["x-needs"] for method, path, one in operations(document)}
    assert set(needs.values()) == {"nothing", "watches", "controls"}
    open_to_all = {path for (_, path), needed in needs.items() if needed == "nothing"}
    assert open_to_all == {"/api/v1/pair", "/api/v1/pair/button", "/api/v1/certificate.pem"}
    for method, path, one in operations(document):
        assert one.get("security") == (None if one["x-needs"] == "nothing" else [{"session": []}])
        if method != "GET":
            own_affair = path in ("/api/v1/control", "/api/v1/pairings/00000000")
            assert one["x-needs"] != "watches" or own_affair, f"{method} {path} changes something"


def test_strangers_get_401_from_every_operation_that_needs_anything(device, document, stranger):
    asked = 0
    for method, path, one in operations(document):
        if one["x-needs"] != "nothing":
            line_of(stranger.open(path, method=method, json={}), 401)
            asked += 1
    assert asked >= 24
    assert device.requests == []


def test_who_watches_gets_403_from_every_operation_that_needs_control(device, document, browser, viewer):
    assert browser.get("/api/v1/access").json["role"] == "controls"
    asked = 0
    for method, path, one in operations(document):
        if one["x-needs"] == "controls":
            assert "ask for control first" in line_of(viewer.open(path, method=method, json={}), 403)
            asked += 1
    assert asked >= 17
    assert "unpair only itself" in line_of(viewer.delete("/api/v1/pairings/00000000"), 403)
    assert device.requests == []


def test_answers_fit_the_document(device, browser, document):
    browser.put("/api/v1/regions", json={"region": "tip:1,2,3,4"})
    browser.put("/api/v1/reference", json={"region": "skin:1,2,3,4"})
    for path in ("state", "recordings", "curves", "access", "pairings"):
        schema = document["paths"][f"/api/v1/{path}"]["get"]["responses"]["200"]["content"]["application/json"][
            "schema"
        ]
        jsonschema.validate(browser.get(f"/api/v1/{path}").json, {**schema, "components": document["components"]})


@pytest.fixture
def served(tmp_path):
    """An application with its parts."""
    folder = tmp_path
    link = DeviceLink(folder / "control.sock")
    with FakeDevice(folder, folder) as device:
        access = Access.kept_in(folder, link, SystemClock())
        app = create_app(
            run_folder=folder, data_folder=folder, access=access, device=link, picture_port=8081, names=["localhost"]
        )
        app.config["LONGEST_STREAM_S"] = 0.05
        yield app, access, device
        close_app(app)


def controller_of(access):
    """Token of a controller; made anew where the last request revoked it, gave control away, or used the places up."""
    for one in access.sessions.all():
        access.sessions.end(one.number)
    session, token = access.sessions.open("word")
    access.roles.welcome(session)
    return token


@pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE], ids=["fitting", "unfitting"])
def test_no_made_up_request_breaks_anything(served, caplog, mode):
    """schemathesis: no 5xx, every status, type and body as described, from the page that controls."""
    app, access, device = served
    caplog.set_level(logging.CRITICAL)
    document = schemathesis.openapi.from_wsgi("/api/v1/openapi.json", app, base_url=HERE)
    statuses: Counter[int] = Counter()

    def ask(case):
        device.press.end("over")
        answer = case.call(base_url=HERE, cookies={COOKIE: controller_of(access)})
        case.validate_response(answer, checks=CHECKS)
        statuses[answer.status_code] += 1

    for found in document.get_all_operations():
        try:
            settings(**QUICK)(given(case=found.ok().as_strategy(generation_mode=mode))(ask))()
        except Unsatisfiable:
            assert mode is GenerationMode.NEGATIVE, "nothing about it can be unfitting"
    assert statuses[401] == statuses[403] == 0, "asked as the page that controls"
    assert statuses.total() > 150
    if mode is GenerationMode.POSITIVE:
        assert sum(number for status, number in statuses.items() if status < 300) > 40, statuses
    else:
        assert statuses[400] > 60, statuses


QUICK = {
    "max_examples": 6,
    "deadline": None,
    "database": None,
    "derandomize": True,
    "phases": [Phase.explicit, Phase.generate],
    "suppress_health_check": list(HealthCheck),
}
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
    response_headers_conformance,
]
