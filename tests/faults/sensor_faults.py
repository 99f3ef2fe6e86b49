"""Sensors of the guard that say too much, say nonsense, or nothing; and the process that reads them."""

import contextlib
import os
import random
import signal
import time
from typing import Any

import psutil

from device.light.sensors.simulated import replacement
from shared.settings import LightSettings
from tests.faults.fault import LEASE_AND_50_MS, Fault, Strike
from tests.faults.process_faults import stopped_pid
from tests.faults.pwm_tree import SENSORS

LIGHT = LightSettings()
READ_EVERY_MS = {"LED temperature": 250, "supply": 250, "cover": 20, "distance": 100}
"""Of the simulated sensors; the board's thermometer is read every 500 ms."""
SILENT_MS = {
    "LED temperature": LIGHT.led_temperature.silent_ms,
    "supply": LIGHT.supply.silent_ms,
    "cover": LIGHT.cover.silent_ms,
    "distance": LIGHT.distance.silent_ms,
}
BEYOND = {"LED temperature": (60.1, 500.0), "supply": (0.0, 4.7), "cover": (0.0, 0.0), "distance": (0.0, 40.0)}
SLACK_MS = 50
AT_ONCE = 5
"""Real-time priority of a process while it ends; the guard's own is 10."""


def replaced(name: str, kind: str) -> Strike:
    """A simulated sensor that is beyond its limit, talks nonsense, or hangs."""

    def strike(rig: Any, rng: random.Random, lasting: contextlib.ExitStack) -> int:
        path = replacement(rig.run_dir, name)
        path.parent.mkdir(exist_ok=True)
        moment_ns = time.monotonic_ns()
        if kind == "hangs":
            os.mkfifo(path)
            lasting.callback(_let_read, path)
        else:
            fresh = path.with_suffix(".new")
            fresh.write_text(f"{rng.uniform(*BEYOND[name])}\n" if kind == "is beyond" else "\xff many")
            fresh.rename(path)
        return moment_ns

    return strike


def _let_read(path: Any) -> None:
    """Take a pipe away, and free a reader that waits for its other end."""
    other_end = os.open(path, os.O_RDWR | os.O_NONBLOCK)
    path.unlink()
    os.close(other_end)


def on_the_board(file: str, kind: str) -> Strike:
    """A file of the kernel goes wrong."""

    def strike(rig: Any, _rng: random.Random, lasting: contextlib.ExitStack) -> int:
        path = rig.tree.root / file
        moment_ns = time.monotonic_ns()
        path.unlink()
        lasting.callback(_restored, path, SENSORS[file])
        if kind == "talks nonsense":
            path.write_text("\x00 85.000")
        elif kind == "hangs":
            os.mkfifo(path)
            lasting.callback(_let_read, path)
        return moment_ns

    return strike


def _restored(path: Any, text: str) -> None:
    path.unlink(missing_ok=True)
    path.write_text(text)


def reader(number: int) -> Strike:
    """A signal to the process that reads the sensors."""

    def strike(rig: Any, _rng: random.Random, lasting: contextlib.ExitStack) -> int:
        (child,) = psutil.Process(rig.pid("guard")).children()
        if number == signal.SIGSTOP:
            return stopped_pid(child.pid, 1.5, lasting)
        # The fault is that it has ended: a killed process of ordinary priority takes its time to end on a busy machine.
        with contextlib.suppress(PermissionError):
            os.sched_setscheduler(child.pid, os.SCHED_RR, os.sched_param(AT_ONCE))
        moment_ns = time.monotonic_ns()
        child.send_signal(number)
        return moment_ns

    return strike


def _silent(kind: str, name: str) -> float:
    return SILENT_MS[name] + READ_EVERY_MS[name] + SLACK_MS if kind != "is beyond" else READ_EVERY_MS[name] + SLACK_MS


FAULTS = (
    *(
        Fault(f"{name} {kind}", "bench", replaced(name, kind), _silent(kind, name), latches=True, order=name)
        for name in READ_EVERY_MS
        for kind in ("is beyond", "talks nonsense", "hangs")
    ),
    *(
        Fault(f"board: {what} {kind}", "board", on_the_board(file, kind), silent_ms + 550.0, latches=True, order=what)
        for file, what, silent_ms in zip(
            SENSORS, ("thermometer", "supply alarm"), (SILENT_MS["LED temperature"], SILENT_MS["supply"]), strict=True
        )
        for kind in ("vanishes", "talks nonsense", "hangs")
    ),
    Fault("house: cover opens", "house", replaced("cover", "is beyond"), _silent("is beyond", "cover"), latches=True),
    Fault("sensors' process killed", "bench", reader(signal.SIGKILL), LEASE_AND_50_MS, guard_ends=True, weight=2),
    Fault(
        "sensors' process stopped", "bench", reader(signal.SIGSTOP), SILENT_MS["cover"] + 20.0 + SLACK_MS, latches=True
    ),
    Fault("house: sensors' process killed", "house", reader(signal.SIGKILL), LEASE_AND_50_MS, guard_ends=True),
)
