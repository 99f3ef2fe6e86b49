"""The page as an installed app: it opens without the device and says so, keeps nothing but its own files, and never stays old."""

import json
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from shared.protocol import control as c
from tests import chromium
from tests.web_ui.browser.conftest import WebProcess, awake, expect_live, free_port_pair, new_tablet, web_process
from tests.web_ui.browser.page_device import PageDevice

pytestmark = pytest.mark.browser

HOME = Path(__file__).resolve().parents[3]
AWAY = "The device cannot be reached. The page goes on by itself as soon as it can."
INSTALLED = """async () => {
  await navigator.serviceWorker.ready;
  while ((await caches.keys()).length !== 1 || navigator.serviceWorker.controller === null) {
    await new Promise((again) => setTimeout(again, 50));
  }
}"""
KEPT = """async () => {
  const [name] = await caches.keys();
  return (await (await caches.open(name)).keys()).map((request) => new URL(request.url).pathname);
}"""
DRAWN = "() => document.getElementById('canvas').getContext('2d').getImageData(0, 0, 4, 3).data.some((value) => value !== 0)"


FILES = """() => performance.getEntriesByType("resource").filter((one) => one.name.includes("/static/"))
  .map((one) => ({ path: new URL(one.name).pathname, bytes: one.transferSize }))"""
TOLD_OF = "() => [...document.querySelectorAll('link[rel=modulepreload]')].map((one) => new URL(one.href).pathname)"


@pytest.fixture
def port() -> int:
    return free_port_pair()


@pytest.fixture
def handheld(tmp_path: Path) -> Iterator[Path]:
    """Run and data folder of a device whose web process the test starts and stops itself."""
    with PageDevice(tmp_path, tmp_path):
        yield tmp_path


@pytest.fixture
def installed(chrome: Browser) -> Iterator[BrowserContext]:
    context = new_tablet(chrome, service_workers="allow")
    yield context
    context.close()


def paired(web: WebProcess, context: BrowserContext, opened: Callable[..., Page]) -> Page:
    """A tablet that is paired and has installed the page."""
    page = opened(f"{web.url}/#pair={web.pair}", context=context)
    expect_live(page)
    page.evaluate(INSTALLED)
    return page


def test_it_opens_without_the_device_says_so_and_goes_on_by_itself(
    handheld: Path, port: int, installed: BrowserContext, opened: Callable[..., Page]
) -> None:
    with web_process(handheld, handheld, port) as web:
        page = paired(web, installed, opened)
        kept = page.evaluate(KEPT)
        page.close()
    page = opened(web.url, context=installed)
    expect(page.locator("#live-word")).to_have_text("NOT LIVE")
    expect(page.locator("#light-word")).to_have_text("Light not known")
    expect(page.locator("#line-text")).to_have_text(AWAY)
    assert not page.evaluate(DRAWN), "a picture is shown that nobody sent"
    page.locator("#live [data-sheet=sheet-places]").click()
    expect(page.get_by_role("heading", name="Places")).to_be_visible()
    page.get_by_role("button", name="Deutsch").click()
    expect(page.locator("#line-text")).to_contain_text("nicht zu erreichen")
    page.get_by_role("button", name="English").click()
    page.locator("#sheet-places .close").click()
    with web_process(handheld, handheld, port):
        expect_live(page)
        expect(page.locator("#line")).to_be_hidden()
    assert "/" in kept
    assert [path for path in kept if path != "/" and not path.startswith("/static/")] == [], (
        "more than the page's files"
    )


def test_a_newer_page_of_the_device_is_offered_and_taken(
    handheld: Path, port: int, tmp_path: Path, installed: BrowserContext, opened: Callable[..., Page]
) -> None:
    source = tmp_path / "source"
    for package in ("shared", "web_ui"):
        shutil.copytree(HOME / package, source / package, ignore=shutil.ignore_patterns("node_modules", "__pycache__"))
    words = source / "web_ui" / "static" / "words" / "en" / "page.ftl"
    with web_process(handheld, handheld, port, source=source) as web:
        page = paired(web, installed, opened)
    places = page.locator("#live [data-sheet=sheet-places]")
    expect(places).to_have_text("Places")
    words.write_text(words.read_text().replace("page-places = Places", "page-places = Rooms"))
    with web_process(handheld, handheld, port, source=source):
        awake(page)
        expect_live(page)
        expect(page.locator("#line-text")).to_have_text("The device has a newer page than this one.")
        expect(places).to_have_text("Places")
        page.get_by_role("button", name="Load it").click()
        expect(places).to_have_text("Rooms")
        expect_live(page)
        assert len(page.evaluate("() => caches.keys()")) == 1, "the older page is still kept"
        page.close()
    page = opened(web.url, context=installed)  # without the device: the newer one is what was kept
    expect(page.locator("#live [data-sheet=sheet-places]")).to_have_text("Rooms")
    expect(page.locator("#line-text")).to_have_text(AWAY)


def test_a_page_opened_again_fetches_no_file_and_the_live_place_no_module_that_the_page_did_not_name(
    live: Page,
) -> None:
    live.reload()
    expect_live(live)
    files = live.evaluate(FILES)
    assert len(files) > 100
    assert [file for file in files if file["bytes"] > 0] == []
    modules = {file["path"] for file in files if file["path"].endswith(".js")}
    assert modules == set(live.evaluate(TOLD_OF))


def test_a_tablet_that_joins_late_sees_the_newest_state_at_once(
    live: Page, web: WebProcess, device: PageDevice, opened: Callable[..., Page]
) -> None:
    device.change(
        reference=c.RegionState("Reference:100,100,60,60", "Reference", 100.0, 0.5),
        regions=(c.RegionState("Tip:900,500,80,80", "Tip", None, None),),
        light={"state": "lit", "level": 0.6, "wanted_on": True},
        recording={"name": "K7-Heron-9"},
        view="side by side",
    )
    page = opened(web.url, context=live.context)
    expect_live(page)
    expect(page.locator("#light-word")).to_have_text("Light on 60 %")
    expect(page.locator("#recording-word")).to_contain_text("Rec ")
    expect(page.locator("#view-word")).to_have_text("side by side")
    expect(page.locator("#labels .label", has_text="Tip")).to_have_count(1)


def test_the_screen_stays_on_while_the_live_picture_is_shown(
    web: WebProcess, device: PageDevice, opened: Callable[..., Page]
) -> None:
    ask = """
      window.locks = 0;
      const request = navigator.wakeLock?.request.bind(navigator.wakeLock); // none on the empty page by which a tablet leaves
      const counted = async (kind) => { const lock = await request(kind); window.locks += 1; return lock; };
      if (request) navigator.wakeLock.request = counted;
    """

    def watch(page: Page) -> None:
        page.context.grant_permissions(["screen-wake-lock"])  # a browser with a window grants it to a page in sight
        page.add_init_script(ask)

    page = opened(f"{web.url}/#pair={web.pair}", watch=watch)
    expect_live(page)
    page.wait_for_function("() => window.locks === 1")


@pytest.mark.usefixtures("device")
def test_the_browsers_own_log_of_the_network_has_no_other_address(
    web: WebProcess, chrome: Browser, tmp_path: Path
) -> None:
    """Every request of the page and of its service worker, as the browser itself wrote them down."""
    log = tmp_path / "net.json"
    browser = chrome.browser_type.launch(executable_path=chromium.PATH, args=[*chromium.FLAGS, f"--log-net-log={log}"])
    page = browser.new_page()
    page.goto(f"{web.url}/#pair={web.pair}")
    expect_live(page)
    page.evaluate(INSTALLED)
    browser.close()
    # the browser has business of its own, which names no page as its initiator
    by_pages = {
        urlsplit(event["params"]["url"])
        for event in json.loads(log.read_text())["events"]
        if isinstance(event.get("params"), dict) and str(event["params"].get("initiator", "")).startswith("http")
    }
    named = {"/worker.js", "/api/v1/pair", "/pictures"}
    assert named <= {url.path for url in by_pages}
    assert any(url.path.endswith("/manifest.webmanifest") for url in by_pages)
    assert {(url.hostname, url.port) for url in by_pages} == {("127.0.0.1", web.port), ("127.0.0.1", web.port + 1)}
