"""What every test gets: no thread, process or socket may outlive it."""

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

from tests import chromium


class ManualClock:
    """Clock turned by hand; nothing that uses it ever waits."""

    def __init__(self, now_ns: int = 1_000_000_000) -> None:
        self.time_ns = now_ns

    def now_ns(self) -> int:
        return self.time_ns

    def sleep_until_ns(self, deadline_ns: int) -> None:
        self.time_ns = max(self.time_ns, deadline_ns)

    def advance_ms(self, milliseconds: float) -> None:
        self.time_ns += round(milliseconds * 1e6)


@pytest.fixture
def manual_clock() -> ManualClock:
    return ManualClock()


@pytest.fixture(scope="session")
def chrome() -> Iterator[Browser]:
    """Debian's chromium. One for all: a process can hold only one of these drivers."""
    if not Path(chromium.PATH).exists():
        pytest.fail("chromium is not installed; run: apt-get install chromium (make packages does it)")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium.PATH, args=chromium.FLAGS)
        yield browser
        browser.close()


@pytest.fixture(autouse=True)
def _no_leaked_threads() -> Iterator[None]:
    before = set(threading.enumerate())
    yield
    leaked = [t for t in threading.enumerate() if t not in before and t.is_alive() and not t.name.startswith("pytest")]
    for thread in leaked:
        thread.join(timeout=1.0)
    assert not [t for t in leaked if t.is_alive()], f"threads outlived the test: {leaked}"
