"""What every test gets: no thread, process or socket may outlive it."""

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings
from playwright.sync_api import Browser, sync_playwright

from tests import chromium

# The fast tier tries the same examples each time, so that a red test says something about the change at hand. `make explore` draws
# new ones, and many more. No test is timed: machines are shared.
settings.register_profile("fast", derandomize=True, deadline=None)
settings.register_profile("explore", max_examples=2000, deadline=None)
settings.load_profile("fast")


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
        pytest.fail("chromium is not installed; run: apt-get install chromium-headless-shell (make packages does it)")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=chromium.PATH, args=[*chromium.FLAGS, chromium.ONE_FOR_ALL]
        )
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
