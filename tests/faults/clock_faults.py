"""Clocks that jump: the guard's own, by order; the wall clock of guard and imager, which must not matter."""

import contextlib
import random
import time
from typing import Any, Literal

from tests.faults.fault import Fault, Strike


def jumped(clock: Literal["clock_ns", "wall_clock_s"], least: float, most: float, sign: int) -> Strike:
    """From here on the clock is off, by a span drawn evenly in its logarithm."""

    def strike(rig: Any, rng: random.Random, _lasting: contextlib.ExitStack) -> int:
        off = round(least * (most / least) ** rng.random())
        moment_ns = time.monotonic_ns()
        rig.orders.give(clock, sign * off)
        return moment_ns

    return strike


MS, HOUR_NS, YEAR_S = 1_000_000, 3_600_000_000_000, 31_557_600
REST_S = 60.0
"""Ten minutes of light ask for so long a pause (device/settings.toml), and an hour that the clock skipped counts as light."""

FAULTS = (
    Fault(
        "guard's clock ahead 150 ms to 1 h",
        "bench",
        jumped("clock_ns", 150 * MS, HOUR_NS, 1),
        latches=True,
        rest_s=REST_S,
        weight=3,
        order="guard's clock",
    ),
    # Below some tens of microseconds a step back hides between two looks at the clock, and is none.
    Fault(
        "guard's clock back 30 ms to 1 h",
        "bench",
        jumped("clock_ns", 30 * MS, HOUR_NS, -1),
        latches=True,
        weight=3,
        order="guard's clock",
    ),
    Fault("guard's clock ahead 1-40 ms", "bench", jumped("clock_ns", MS, 40 * MS, 1), None, order="guard's clock"),
    Fault("wall clock ahead 1 s to 10 a", "bench", jumped("wall_clock_s", 1, 10 * YEAR_S, 1), None, order="wall clock"),
    Fault("wall clock back 1 s to 10 a", "bench", jumped("wall_clock_s", 1, 10 * YEAR_S, -1), None, order="wall clock"),
    Fault(
        "house: wall clock ahead 1 s to 10 a",
        "house",
        jumped("wall_clock_s", 1, 10 * YEAR_S, 1),
        None,
        order="wall clock",
    ),
    Fault(
        "house: wall clock back 1 s to 10 a",
        "house",
        jumped("wall_clock_s", 1, 10 * YEAR_S, -1),
        None,
        order="wall clock",
    ),
)
