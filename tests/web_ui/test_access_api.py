"""Pairing, roles and revoking as browsers meet them over the interface."""

import json
import re

import pytest

from shared.protocol import control as c
from tests.web_ui.conftest import SITE, WORD, paired
from tests.web_ui.test_api import line_of


def me(client):
    return client.get("/api/v1/access").json


@pytest.fixture
def open_pages(access, browser, viewer):
    """Both have their page open, as the picture stream tells."""
    for session in access.sessions.all():
        access.roles.page_opened(session)
    return browser, viewer


def test_who_watches_may_look_and_not_change(device, open_pages):
    browser, viewer = open_pages
    assert (me(browser)["role"], me(viewer)["role"]) == ("controls", "watches")
    assert me(viewer)["controller"] == me(browser)["you"]
    assert viewer.get("/api/v1/state").status_code == 200
    assert (
        line_of(viewer.post("/api/v1/light", json={"act": "on"}), 403) == "this tablet watches; ask for control first"
    )
    assert device.requests == []


def test_control_by_request_and_consent(device, open_pages):
    browser, viewer = open_pages
    assert viewer.post("/api/v1/control").json["state"] == "asked"
    asker = me(browser)["asker"]
    assert asker == me(viewer)["you"]
    assert "asks for control no more" in line_of(
        browser.post("/api/v1/control/consent", json={"number": "00000000", "give": True}), 400
    )
    line_of(viewer.post("/api/v1/control/consent", json={"number": asker["number"], "give": True}), 403)
    answer = browser.post("/api/v1/control/consent", json={"number": asker["number"], "give": True})
    assert answer.json["role"] == "watches"
    assert viewer.post("/api/v1/control").json["state"] == "controls"
    line_of(browser.post("/api/v1/light", json={"act": "on"}), 403)
    assert viewer.post("/api/v1/light", json={"act": "off"}).status_code == 200


def test_the_button_pairs_one_browser_and_no_other(device, app, stranger, browser):
    asked = stranger.post("/api/v1/pair/button").json
    assert asked["state"] == "waiting"
    assert re.fullmatch(r"[a-z]+ [a-z]+", asked["label"])
    assert me(browser)["waiting_for_button"] == asked["label"]
    other = app.test_client()
    assert "another tablet waits" in line_of(other.post("/api/v1/pair/button"), 409)
    line_of(stranger.get("/api/v1/state"), 401)
    assert device.press_button()
    line_of(other.get("/api/v1/state"), 401)
    answer = stranger.post("/api/v1/pair/button")
    assert answer.json == {"state": "paired", "label": asked["label"], "seconds_left": 0.0, "line": ""}
    assert "HttpOnly" in answer.headers["Set-Cookie"]
    assert me(stranger) == {
        **me(browser),
        "you": {"number": me(stranger)["you"]["number"], "label": asked["label"]},
        "role": "watches",
    }


def test_a_made_up_claim_takes_nobodys_place(device, app, stranger):
    stranger.post("/api/v1/pair/button")
    assert device.press_button()
    thief = app.test_client()
    thief.set_cookie("tapetum_asking", "x" * 22, domain="tapetum.test")
    assert thief.post("/api/v1/pair/button").json["state"] == "waiting"  # its own asking; the press was not for it
    line_of(thief.get("/api/v1/state"), 401)


def test_the_first_by_the_button_controls(device, stranger):
    stranger.post("/api/v1/pair/button")
    device.press_button()
    stranger.post("/api/v1/pair/button")
    assert me(stranger)["role"] == "controls"


def test_who_controls_can_refuse_who_waits_for_the_button(device, stranger, browser, viewer):
    stranger.post("/api/v1/pair/button")
    line_of(viewer.delete("/api/v1/pair/button"), 403)
    assert browser.delete("/api/v1/pair/button").json["role"] == "controls"
    assert not device.press_button()
    assert stranger.post("/api/v1/pair/button").json["state"] == "ended"
    line_of(stranger.get("/api/v1/state"), 401)


def test_askings_for_the_button_are_throttled(device, app):
    for _ in range(3):
        asking = app.test_client()
        assert asking.post("/api/v1/pair/button").json["state"] == "waiting"
        device.press.end("over")
    assert "too many tries" in line_of(app.test_client().post("/api/v1/pair/button"), 429)


def test_without_a_button_the_word_is_named(device, stranger):
    device.has_button = False
    assert "no button to press; type the word" in line_of(stranger.post("/api/v1/pair/button"), 400)


def test_the_button_replaces_a_controller_that_vanished(device, access, app, browser):
    secret = browser.post("/api/v1/invitations").json["url"].partition("#pair=")[2]
    guest = app.test_client()
    guest.post("/api/v1/pair", json={"word": secret})
    controller = access.sessions.controller
    access.roles.page_opened(controller)
    access.roles.page_closed(controller, said_goodbye=True)
    assert guest.post("/api/v1/control").json["state"] == "press"
    line_of(guest.post("/api/v1/light", json={"act": "on"}), 403)
    device.press_button()
    assert guest.post("/api/v1/control").json["state"] == "controls"
    assert guest.post("/api/v1/light", json={"act": "off"}).status_code == 200


def test_an_invitation_is_an_address_and_a_picture_of_it(browser, app):
    made = browser.post("/api/v1/invitations", base_url=SITE)
    assert made.status_code == 201
    assert made.json["url"].startswith(f"{SITE}/#pair=")
    assert made.json["picture"].startswith("data:image/svg+xml")
    guest = app.test_client()
    assert guest.post("/api/v1/pair", json={"word": made.json["url"].partition("#pair=")[2]}).json == {"paired": True}
    assert me(guest)["role"] == "watches"


def test_paired_tablets_are_listed_and_revoked(browser, viewer, app):
    line_of(viewer.get("/api/v1/pairings"), 403)
    listed = browser.get("/api/v1/pairings").json["tablets"]
    assert [(one["way"], one["role"]) for one in listed] == [("word", "controls"), ("word", "watches")]
    assert WORD not in str(listed)
    own, other = (one["number"] for one in listed)
    assert "unpair only itself" in line_of(viewer.delete(f"/api/v1/pairings/{own}"), 403)
    assert browser.delete(f"/api/v1/pairings/{other}").json == {"paired": True}
    line_of(viewer.get("/api/v1/state"), 401)
    assert "no tablet" in line_of(browser.delete(f"/api/v1/pairings/{other}"), 404)
    third = paired(app)
    assert third.delete(f"/api/v1/pairings/{me(third)['you']['number']}").json == {"paired": False}
    line_of(third.get("/api/v1/access"), 401)


def test_all_are_revoked_at_once(browser, viewer, app):
    line_of(viewer.delete("/api/v1/pairings"), 403)
    assert browser.delete("/api/v1/pairings").json == {"paired": False}
    for client in (browser, viewer):
        line_of(client.get("/api/v1/state"), 401)
    assert me(paired(app))["role"] == "controls"


def test_a_browser_that_pairs_again_is_the_same(browser):
    before = me(browser)["you"]
    assert browser.post("/api/v1/pair", json={"word": WORD}).json == {"paired": True}
    assert me(browser)["you"] == before


@pytest.mark.parametrize("path", ["pair", "pair/button", "control", "control/consent", "invitations"])
def test_other_sites_pages_can_neither_pair_nor_ask(device, browser, path):
    headers = {"Origin": "http://evil.test", "Content-Type": "application/json"}
    body = json.dumps({"word": WORD, "number": "x", "give": True})
    assert "another site" in line_of(browser.post(f"/api/v1/{path}", data=body, headers=headers), 403)
    assert [one for one in device.requests if isinstance(one, c.AwaitPress)] == []


def test_there_is_nothing_to_trust_without_encryption(stranger):
    assert "nothing to trust" in line_of(stranger.get("/api/v1/certificate.pem"), 404)
