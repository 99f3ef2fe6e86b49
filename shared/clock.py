"""Time as a part that can be swapped: tests turn it by hand."""

import time
from typing import Protocol


class Clock(Protocol):
    """Source of monotonic time, and the only thing that may wait."""

    def now_ns(self) -> int:
        """Nanoseconds on the clock that sensor timestamps use."""

    def sleep_until_ns(self, deadline_ns: int) -> None:
        """Return when ``now_ns()`` has reached ``deadline_ns``."""


class SystemClock:
    """CLOCK_MONOTONIC, which camera drivers stamp frames with (it differs from CLOCK_BOOTTIME only across suspend)."""

    def now_ns(self) -> int:
        """Nanoseconds since some fixed point in the past."""
        return time.monotonic_ns()

    def sleep_until_ns(self, deadline_ns: int) -> None:
        """Sleep the rest of the way to ``deadline_ns``; return at once if it has passed."""
        remaining_ns = deadline_ns - time.monotonic_ns()
        if remaining_ns > 0:
            time.sleep(remaining_ns / 1e9)
