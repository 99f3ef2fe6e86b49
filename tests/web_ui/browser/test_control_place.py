"""Who controls and who watches, on two real pages at one device: asking, consenting, the handheld's button, inviting, revoking."""

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from shared.protocol import control as c
from tests.web_ui.browser.conftest import LANDSCAPE, WebProcess, expect_live, free_port_pair, in_control, web_process
from tests.web_ui.browser.page_device import PageDevice
from tests.web_ui.browser.tablets import leave

pytestmark = pytest.mark.browser
LEAST_PX = 48


INVITE = """() => fetch("/api/v1/invitations", {method: "POST"}).then((answer) => answer.json())"""
FORGET_ALL = """() => fetch("/api/v1/pairings", {method: "DELETE"}).then((answer) => answer.ok)"""


@pytest.fixture
def two(web: WebProcess, device: PageDevice, opened: Callable[..., Page]) -> tuple[Page, Page]:
    """A page that controls and one that watches, and nobody else is paired."""
    controller = opened(f"{web.url}/#pair={web.pair}", LANDSCAPE)
    expect_live(controller)
    in_control(controller, device)
    assert controller.evaluate(FORGET_ALL)
    expect(controller.get_by_label("Word shown by the device")).to_be_visible()
    pages = (controller, opened(web.url, LANDSCAPE))
    for page, role in zip(pages, ("You control", "You watch"), strict=True):
        page.get_by_label("Word shown by the device").fill(web.pair)
        page.get_by_role("button", name="Pair", exact=True).click()
        expect_live(page)
        expect(page.locator("#role")).to_have_text(role)
    return pages


def large_enough(page: Page, *names: str) -> None:
    """A finger in a glove finds them."""
    for name in names:
        box = page.get_by_role("button", name=name, exact=True).bounding_box()
        assert box is not None
        assert min(box["width"], box["height"]) >= LEAST_PX, (name, box)


def test_control_goes_over_by_asking_and_consent(two: tuple[Page, Page], device: PageDevice) -> None:
    controller, viewer = two
    viewer.locator("#act-brighter").click()
    expect(viewer.locator("#line-text")).to_have_text("This tablet watches.")
    assert not [one for one in device.requests if isinstance(one, c.Light) and one.act == "brighter"]
    viewer.locator("#line").get_by_role("button", name="Ask for control").click()
    expect(controller.locator("#asked-text")).to_contain_text("asks for control")
    large_enough(controller, "Give control", "Keep it")
    controller.get_by_role("button", name="Keep it").click()
    expect(viewer.locator("#line-text")).to_have_text("The tablet that controls said no.")
    expect(controller.locator("#asked")).to_be_hidden()
    viewer.locator("#role").click()
    large_enough(viewer, "Ask for control", "Unpair this tablet")
    viewer.locator("#tablets-ask").click()
    controller.get_by_role("button", name="Give control").click()
    expect(viewer.locator("#role")).to_have_text("You control")
    expect(controller.locator("#role")).to_have_text("You watch")
    device.wait_for(lambda asked: c.Light("off") in asked)  # what the old one asked for has ended
    viewer.locator("#act-brighter").click()
    device.wait_for(lambda asked: c.Light("brighter") in asked)


def test_a_press_of_the_button_pairs_and_who_controls_sees_it_coming(
    two: tuple[Page, Page], web: WebProcess, device: PageDevice, opened: Callable[..., Page]
) -> None:
    controller, _ = two
    page = opened(web.url)
    large_enough(page, "Pair", "Use the handheld's button")
    page.get_by_role("button", name="Use the handheld's button").click()
    expect(page.locator("#button-pairing-words")).to_contain_text("Press the button on the handheld once, briefly.")
    label = page.locator("#button-pairing-label").text_content()
    expect(controller.locator("#asked-text")).to_contain_text(f"{label} asks to pair")
    controller.get_by_role("button", name="Refuse").click()
    expect(page.locator("#pairing-line")).to_have_text("Not paired: it was refused.")
    page.get_by_role("button", name="Use the handheld's button").click()
    expect(page.locator("#button-pairing-label")).not_to_have_text(label or "")
    expect(page.locator("#button-pairing-label")).not_to_be_empty()
    assert device.press_button()
    expect_live(page)
    expect(page.locator("#role")).to_have_text("You watch")


def test_an_invitation_and_revoking_it(two: tuple[Page, Page], opened: Callable[..., Page]) -> None:
    controller, viewer = two
    controller.locator("#role").click()
    controller.locator("#tablets-invite").click()
    expect(controller.locator("#invitation-picture")).to_be_visible()
    controller.wait_for_function("() => document.getElementById('invitation-picture').naturalWidth > 0")
    address = controller.evaluate(INVITE)["url"]
    guest = opened(address)
    expect_live(guest)
    assert "pair" not in guest.url
    expect(guest.locator("#role")).to_have_text("You watch")
    again = opened(address)
    expect(again.locator("#pairing-line")).to_contain_text("that is not the word")
    controller.locator("#sheet-tablets .close").click()
    controller.locator("#role").click()
    rows = controller.locator("#tablets-list > li")
    expect(rows).to_have_count(3)
    large_enough(controller, "Unpair all tablets", "Invite a tablet to watch")
    rows.filter(has_text="by an invitation").get_by_role("button", name="Unpair").click()
    controller.locator("#line").get_by_role("button", name="Unpair").click()
    expect(guest.get_by_label("Word shown by the device")).to_be_visible()
    expect(rows).to_have_count(2)
    controller.locator("#tablets-revoke-all").click()
    controller.locator("#line").get_by_role("button", name="Unpair").click()
    for page in (controller, viewer):
        expect(page.get_by_label("Word shown by the device")).to_be_visible()


def test_where_nobody_is_the_button_or_the_word_gives_control(
    two: tuple[Page, Page], web: WebProcess, device: PageDevice, opened: Callable[..., Page]
) -> None:
    controller, viewer = two
    guest = opened(controller.evaluate(INVITE)["url"])
    expect_live(guest)
    for page in (controller, viewer):
        page.close()
    guest.locator("#role").click()
    expect(guest.locator("#tablets-words")).to_contain_text("nobody is there")
    guest.locator("#tablets-ask").click()
    expect(guest.locator("#line-text")).to_contain_text("Press the button on the handheld, briefly.")
    device.press.end("over")
    expect(guest.locator("#line-text")).to_contain_text("Control stays where it is")
    guest.locator("#tablets-word").click()
    guest.get_by_label("Word shown by the device").fill(web.pair)
    guest.get_by_role("button", name="Pair", exact=True).click()
    expect(guest.locator("#role")).to_have_text("You control")


@pytest.mark.usefixtures("device")
def test_nothing_is_asked_of_anyone_outside(web: WebProcess, opened: Callable[..., Page]) -> None:
    """Every request of pairing, watching, and all sheets goes to the device itself."""
    asked: list[str] = []

    def watch(page: Page) -> None:
        page.context.on("request", lambda request: asked.append(request.url))
        page.on("websocket", lambda stream: asked.append(stream.url))

    page = opened(web.url, LANDSCAPE, watch)
    page.get_by_label("Word shown by the device").fill(web.pair)
    page.get_by_role("button", name="Pair", exact=True).click()
    expect_live(page)
    in_control(page)
    for name in page.locator("#quiet button").all_text_contents():
        page.locator("#quiet").get_by_role("button", name=name, exact=True).click()
    page.locator("#tablets-invite").click()
    expect(page.locator("#invitation-picture")).to_be_visible()
    own = (f"http://127.0.0.1:{web.port}/", f"ws://127.0.0.1:{web.port + 1}/", "data:", "blob:http://127.0.0.1")
    assert len(asked) > 30
    assert [url for url in asked if not url.startswith(own)] == []


def test_of_two_that_want_control_the_button_gives_it_to_who_asked_first(
    tmp_path: Path, opened: Callable[..., Page]
) -> None:
    """Both were invited, and who controlled has left. A device of its own: how often the button may be asked for is bounded."""
    with PageDevice(tmp_path, tmp_path) as device, web_process(tmp_path, tmp_path, free_port_pair()) as web:
        controller = opened(f"{web.url}/#pair={web.pair}")
        expect_live(controller)
        in_control(controller, device)
        first = opened(controller.evaluate(INVITE)["url"])
        expect_live(first)  # the next invitation ends the one before it
        second = opened(controller.evaluate(INVITE)["url"])
        expect_live(second)
        leave(controller)
        for page in (first, second):
            page.locator("#role").click()
            expect(page.locator("#tablets-words")).to_contain_text("nobody is there")
        first.locator("#tablets-ask").click()
        expect(first.locator("#line-text")).to_contain_text("Press the button on the handheld, briefly.")
        second.locator("#tablets-ask").click()
        expect(second.locator("#line-text")).to_contain_text("another tablet waits for the button")
        device.requests.clear()
        assert device.press_button()
        expect(first.locator("#role")).to_have_text("You control")
        expect(second.locator("#role")).to_have_text("You watch")
        second.keyboard.press("Escape")
        second.locator("#act-light").click()
        expect(second.locator("#line-text")).to_have_text("This tablet watches.")
        assert not [one for one in device.requests if isinstance(one, c.Light) and one.act in ("on", "hold")]
