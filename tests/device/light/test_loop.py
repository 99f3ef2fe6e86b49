"""The guard's loop on a clock turned by hand; everything else about it is tested on the real process."""

import pytest

from device.light.loop import GuardLoop
from tests.conftest import ManualClock


class Notice:
    """A systemd that hears, and turns the clock back each time it was fed."""

    watchdog_ns = 1_000_000

    def __init__(self, clock: ManualClock) -> None:
        self.clock, self.heard = clock, []
        self.loop: GuardLoop | None = None

    def say(self, text: str) -> None:
        self.heard.append(text)
        if text == "WATCHDOG=1":
            self.clock.time_ns -= 1_000_000_000
            if self.heard.count(text) == 3:
                self.loop.stop("fed three times")


@pytest.mark.timeout(10)
def test_a_clock_that_runs_backwards_does_not_starve_the_watchdog(tmp_path, make_bench) -> None:
    clock = ManualClock(10_000_000_000)
    bench, notice = make_bench(clock), Notice(clock)
    with GuardLoop(bench.guard, tmp_path, clock, notice, bench.log.append) as loop:
        notice.loop = loop
        assert loop.run() == "fed three times"
    assert "time ran backwards" in bench.guard.light.trip_reason
