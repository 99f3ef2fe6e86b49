"""Processes that are killed, or stopped and go on later."""

import contextlib
import os
import random
import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from typing import Any

from tests.faults.fault import DEAD_MAN_MS, Fault, NotHere, Strike


def sent(part: str, number: int) -> Strike:
    """A signal to a part."""

    def strike(rig: Any, _rng: random.Random, _lasting: contextlib.ExitStack) -> int:
        pid, moment_ns = rig.pid(part), time.monotonic_ns()
        with contextlib.suppress(ProcessLookupError):
            os.kill(pid, number)
        return moment_ns

    return strike


def stopped(part: str, least_ms: float, most_ms: float) -> Strike:
    """SIGSTOP, and SIGCONT after a random while."""

    def strike(rig: Any, rng: random.Random, lasting: contextlib.ExitStack) -> int:
        return stopped_pid(rig.pid(part), rng.uniform(least_ms, most_ms) / 1000, lasting)

    return strike


_HELD: Counter[int] = Counter()
_HOLDING = threading.Lock()


def stopped_pid(pid: int, seconds: float, lasting: contextlib.ExitStack) -> int:
    """Stop a process, for so long; returns the moment just before. Stopped twice, it goes on when the longer stop is over."""
    waker = threading.Timer(seconds, _go_on, (pid,))
    with _HOLDING:
        _HELD[pid] += 1
        moment_ns = time.monotonic_ns()
        with contextlib.suppress(ProcessLookupError):
            os.kill(pid, signal.SIGSTOP)
    waker.start()
    lasting.callback(waker.join)
    return moment_ns


def _go_on(pid: int) -> None:
    with _HOLDING:
        _HELD[pid] -= 1
        if _HELD[pid] > 0:
            return
        del _HELD[pid]
        with contextlib.suppress(ProcessLookupError):
            os.kill(pid, signal.SIGCONT)


def lifted(rig: Any, _rng: random.Random, _lasting: contextlib.ExitStack) -> int:
    """No fault at all: the finger leaves, in whatever state the machine is."""
    moment_ns = time.monotonic_ns()
    rig.finger(False)
    return moment_ns


LOOP_FOR = """
import sys, time
began = time.monotonic_ns()
print(began, flush=True)
while time.monotonic_ns() < began + float(sys.argv[1]) * 1e9: pass
"""


LEAST_TOGETHER_S = 0.3
"""Longer than the dead-man holds."""


def taken_over(_rig: Any, rng: random.Random, lasting: contextlib.ExitStack) -> int:
    """Every core belongs to a real-time loop above the guard for a while: the guard lives, and never runs.

    The fault counts from when the last core was taken. The loops end by themselves, and by the kernel's own limit: nothing else on
    the machine could end them.
    """
    if os.geteuid() != 0:
        raise NotHere("only root may take every core")
    seconds, loops = f"{rng.uniform(0.4, 0.8):.3f}", []
    for core in range(os.cpu_count() or 1):
        first = ["prlimit", "--rttime=1500000:1500000", "taskset", "-c", str(core), "chrt", "-f", "50"]
        loop = subprocess.Popen([*first, sys.executable, "-S", "-c", LOOP_FOR, seconds], stdout=subprocess.PIPE)
        lasting.enter_context(loop)
        loops.append(loop)
    began_ns = [int(loop.stdout.readline()) for loop in loops if loop.stdout is not None]
    if float(seconds) - (max(began_ns) - min(began_ns)) / 1e9 < LEAST_TOGETHER_S:
        raise NotHere("the cores were not taken at the same time")
    return max(began_ns)


_DEAD = {"bound_ms": DEAD_MAN_MS, "guard_ends": True}

FAULTS = (
    Fault("house: finger lifted", "house", lifted, weight=2),
    Fault("finger lifted", "bench", lifted, weight=2),
    Fault("every core taken by real-time loops", "bench", taken_over, DEAD_MAN_MS, latches=True, weight=2),
    Fault("house: imager killed", "house", sent("imager", signal.SIGKILL), latches=True, weight=3),
    Fault("house: imager stopped 150-1500 ms", "house", stopped("imager", 150, 1500), latches=True, weight=2),
    Fault("house: imager stopped 5-60 ms", "house", stopped("imager", 5, 60), None),
    Fault("house: guard killed", "house", sent("guard", signal.SIGKILL), **_DEAD, weight=2),
    Fault("house: guard stopped 260-1500 ms", "house", stopped("guard", 260, 1500), **_DEAD, weight=2),
    Fault("house: guard stopped 5-60 ms", "house", stopped("guard", 5, 60), None),
    Fault("house: guard told to end", "house", sent("guard", signal.SIGTERM), guard_ends=True),
    Fault("house: web killed", "house", sent("web", signal.SIGKILL), None),
    Fault("house: web stopped 150-1500 ms", "house", stopped("web", 150, 1500), None),
    Fault("house: supervisor killed", "house", sent("supervisor", signal.SIGKILL), guard_ends=True, weight=2),
    Fault("house: supervisor stopped 150-1500 ms", "house", stopped("supervisor", 150, 1500), None),
    Fault("imager killed", "bench", sent("imager", signal.SIGKILL), latches=True, weight=4),
    Fault("imager stopped 150-1500 ms", "bench", stopped("imager", 150, 1500), latches=True, weight=3),
    Fault("board: guard killed", "board", sent("guard", signal.SIGKILL), **_DEAD, weight=2),
    Fault("guard killed", "bench", sent("guard", signal.SIGKILL), **_DEAD, weight=3),
    Fault("guard stopped 110-250 ms", "bench", stopped("guard", 110, 250), **_DEAD, weight=2),
    Fault("guard stopped until its watchdog", "bench", stopped("guard", 5000, 5000), **_DEAD, weight=2),
)
