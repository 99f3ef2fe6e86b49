"""A real browser on the real web process; only the imager is a fake."""

import json
import os
import re
import select
import signal
import socket
import subprocess
import sys
from collections.abc import Callable, Generator, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Error, Page, expect

from tests.web_ui.browser.page_device import PageDevice
from tests.web_ui.browser.tablets import LANDSCAPE, PORTRAIT, Tablet, Tablets, leave, new_tablet

PAIR_WORD = "harbour-gull-0042"
START_S, STOP_S = 60.0, 30.0
PATIENCE_MS = 20_000
WORK_MS = 200_000
"""What a device does beside its picture (an analysis, a comparison, an export, a walk) is a child process of the lowest priority,
and the first of its kind on a machine compiles: minutes on one that is busy. No test is slower for it.
"""
MOST_S = 600
"""Machines are shared: what is waited for comes at once on a quiet one. A test that is cut off in the middle of a word with the
browser takes its driver with it, and so all tests after it.
"""

expect.set_options(timeout=PATIENCE_MS)

PRESSES = 8
AGED = re.compile(r"^NOT LIVE, \d+\ss old$")


SHARED = {"test_recordings_place", "test_compare_and_export_places", "test_review_place", "test_whole_job"}
"""Files whose tests share what took long to make. All others go, one by one, to whichever worker is free."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Longer than elsewhere until a test is cut off."""
    for item in items:
        if "browser" in item.keywords:
            item.add_marker(pytest.mark.timeout(MOST_S))


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Files that share something stay together, and nothing else waits for its neighbours."""
    from xdist.scheduler import LoadScopeScheduling

    class BySharedThings(LoadScopeScheduling):
        def _split_scope(self, nodeid: str) -> str:
            file = nodeid.partition("::")[0]
            return file if Path(file).stem in SHARED else nodeid

    return BySharedThings(config, log)


@dataclass(frozen=True)
class WebProcess:
    """A running ``python -m web_ui``."""

    url: str
    pair: str
    port: int


def free_port_pair() -> int:
    """A port that is free together with the next one."""
    for _ in range(100):
        with socket.socket() as page, socket.socket() as pictures:
            page.bind(("127.0.0.1", 0))
            port = page.getsockname()[1]
            try:
                pictures.bind(("127.0.0.1", port + 1))
            except OSError:
                continue
            return int(port)
    raise AssertionError("no two free ports in a row")


@contextmanager
def web_process(
    run_folder: Path, data_folder: Path, port: int, *more: str, word: str = PAIR_WORD, source: Path | None = None
) -> Iterator[WebProcess]:
    """Start the web process (of another source tree where one is given), wait for its line, and stop it as systemd would."""
    command = [sys.executable, "-m", "web_ui", "--run-dir", str(run_folder), "--data-dir", str(data_folder)]
    command += ["--port", str(port), "--pair-word", word, *more]
    env = {**os.environ, "PYTHONUNBUFFERED": "1"}
    with subprocess.Popen(command, stdout=subprocess.PIPE, env=env, cwd=source) as process:
        try:
            assert process.stdout is not None
            ready, _, _ = select.select([process.stdout], [], [], START_S)
            assert ready, "the web process did not come up"
            line = json.loads(process.stdout.readline())
            yield WebProcess(line["url"], line["pair"], port)
        finally:
            process.send_signal(signal.SIGTERM)
            try:
                status = process.wait(STOP_S)
            except subprocess.TimeoutExpired:
                process.kill()
                raise
    assert status == 0, f"the web process ended with {status}"


@pytest.fixture(scope="session")
def folders(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Run folder and data folder."""
    place = tmp_path_factory.mktemp("handheld")
    run, data = place / "run", place / "data"
    run.mkdir()
    data.mkdir()
    return run, data


@pytest.fixture
def device(folders: tuple[Path, Path]) -> Iterator[PageDevice]:
    """A fresh fake imager in the same run folder: to the web process, one that was restarted."""
    with PageDevice(*folders) as fake:
        yield fake


@pytest.fixture(scope="session")
def web(folders: tuple[Path, Path]) -> Iterator[WebProcess]:
    """One web process for all tests: the imager before it comes and goes, as imagers do."""
    with web_process(*folders, free_port_pair()) as process:
        yield process


FAILED = pytest.StashKey[bool]()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Whether a test failed is known to what it used."""
    report = yield
    item.stash[FAILED] = item.stash.get(FAILED, False) or report.failed
    return report


def sound(request: pytest.FixtureRequest) -> bool:
    """Whether the test has not failed so far."""
    return not request.node.stash.get(FAILED, False)


@pytest.fixture(scope="session")
def tablets(chrome: Browser) -> Tablets:
    """Those that stay from test to test."""
    return Tablets(chrome)


@pytest.fixture
def tablet(tablets: Tablets, request: pytest.FixtureRequest) -> Iterator[Tablet]:
    """The one that stays paired, as one in theatre does."""
    one, tablets.paired = tablets.paired or tablets.take(), None
    yield one
    if sound(request):
        tablets.paired = one
    else:
        one.context.close()


@pytest.fixture
def opened(chrome: Browser, tablets: Tablets, request: pytest.FixtureRequest) -> Iterator[Callable[..., Page]]:
    """Opens a tablet of that size at an address; what the page complains about fails the test.

    It is one of those that stay, not paired; one that is to be watched from its start is new. On a ``context`` it is one more page.
    """
    complaints: list[str] = []

    def complain(error: Error) -> None:
        complaints.append(str(error))

    with ExitStack() as left:

        def lent() -> Tablet:
            one = tablets.take()
            left.callback(lambda: tablets.give_back(one, sound=sound(request)))
            return one

        def open_tablet(
            url: str,
            size: tuple[int, int] = LANDSCAPE,
            watch: Callable[[Page], None] | None = None,
            context: BrowserContext | None = None,
            tablet: Tablet | None = None,
        ) -> Page:
            if watch is None and context is None:
                page = left.enter_context((tablet or lent()).used(size, complain))
            else:
                if context is None:
                    context = new_tablet(chrome, size)
                    left.callback(context.close)
                page = context.new_page()
                left.callback(close, page)
                page.on("pageerror", complain)
            if watch is not None:
                watch(page)
            page.goto(url)
            return page

        yield open_tablet
    assert not complaints, complaints


@pytest.fixture(params=[LANDSCAPE, PORTRAIT], ids=["landscape", "portrait"])
def size(request: pytest.FixtureRequest) -> tuple[int, int]:
    """Both ways to hold a tablet."""
    return tuple(request.param)


@pytest.fixture
def live(web: WebProcess, device: PageDevice, opened: Callable[..., Page], tablet: Tablet) -> Page:
    """A paired tablet that shows the live picture."""
    page = opened(f"{web.url}/#pair={web.pair}", tablet=tablet)
    expect_live(page)
    in_control(page, device)
    return page


def close(page: Page) -> None:
    """Leave, and close."""
    leave(page)
    page.close()


def expect_live(page: Page) -> None:
    """Wait until the picture is live, looking once a frame."""
    page.wait_for_function("() => document.getElementById('live-word').textContent === 'LIVE'", timeout=PATIENCE_MS)


def awake(page: Page) -> None:
    """Connect at once, as when a tablet's network comes back; left alone a page waits up to four seconds between its tries."""
    page.evaluate("() => dispatchEvent(new Event('online'))")


ROLE = "() => document.getElementById('role').dataset.words.replace('pairing-you-', '')"
ROLE_KNOWN = f"() => ['control', 'watch'].includes(({ROLE})())"
ASKS_UNTIL_IT_CONTROLS = f"""async () => {{
  const said = await (await fetch("/api/v1/control", {{ method: "POST" }})).json();
  return said.state === "controls" && ({ROLE})() === "control";
}}"""


def in_control(page: Page, device: PageDevice | None = None) -> None:
    """Wait until this tablet controls: one of the test before may be thought here for a while, though its page has closed.

    What is asked of the device as control changes hands has been asked by then, and is forgotten.
    """
    page.wait_for_function(ROLE_KNOWN, timeout=PATIENCE_MS)
    page.wait_for_function(ASKS_UNTIL_IT_CONTROLS, timeout=PATIENCE_MS, polling=100)
    if device is not None:
        device.requests.clear()


IN_MORE = ("Exposure", "Case", "Cautions")


def open_sheet(page: Page, name: str) -> None:
    """Open one of the live place's sheets, as a person finds it."""
    quiet = page.locator("#quiet")
    if name in IN_MORE:
        more = page.locator("#sheet-more")
        if not more.is_visible():
            quiet.get_by_role("button", name="More").click()
        more.get_by_role("button", name=name).click()
    else:
        quiet.get_by_role("button", name=name).click()


def point_on_picture(page: Page, x: float, y: float) -> tuple[float, float]:
    """Window coordinates of a share of the picture."""
    box = page.locator("#picture").bounding_box()
    assert box is not None
    return box["x"] + x * box["width"], box["y"] + y * box["height"]


def drag_on_picture(page: Page, start: tuple[float, float], end: tuple[float, float]) -> None:
    """Draw with one finger from one share of the picture to another; again where it rested so long that it opened the menu.

    On a busy machine the driver's finger needs longer from its touch to its first move than a person's.
    """
    way = [point_on_picture(page, *share) for share in (start, ((start[0] + end[0]) / 2, end[1]), end)]
    menu = page.locator("#spot-menu")
    for _ in range(PRESSES):
        page.mouse.move(*way[0])
        page.mouse.down()
        page.mouse.move(*way[1])
        page.mouse.move(*way[2])
        page.mouse.up()
        if not menu.is_visible():
            return
        menu.get_by_role("button", name="Close").click()
    raise AssertionError("the finger always rests: is this machine too busy?")
