"""A wall clock that jumps when ordered, for one process. The machine's own is left alone: others read it too."""

import time

from tests.faults.orders import Orders


def jumps_on(orders: Orders) -> None:
    """From here on ``time.time`` and ``time.time_ns`` of this process are off by what is ordered."""
    true_s, true_ns = time.time, time.time_ns
    time.time = lambda: true_s() + orders.of("wall_clock_s")
    time.time_ns = lambda: true_ns() + orders.of("wall_clock_s") * 1_000_000_000
