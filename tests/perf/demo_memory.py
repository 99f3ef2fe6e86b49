"""Memory of all processes of the demo while it images, shows and records: proportional set size, so shared pages count once.

It records under light for long enough that the maps' store is full. A trip, and what is gathered after it, would make another
figure of it, so trips are counted and none is allowed.
"""

import contextlib
import tempfile
import time
from pathlib import Path

import psutil

from tests.bench.running_demo import Demo, running_demo

_PRESSED_S = 0.3
"""A finger that rests says so three times a second."""


def rows(seconds: float = 40.0) -> list[dict[str, object]]:
    """One row: megabytes in all, and of each process."""
    with tempfile.TemporaryDirectory(dir="/var/tmp") as folder, running_demo(Path(folder), "--scene", "flap") as demo:
        demo.ask("POST", "recording", {"act": "start", "case": ""})
        trips = _recorded(demo, seconds)
        found = [(_name(one), one.memory_full_info().pss / 1e6) for one in _family(demo.parent)]
    parts = {f"{name}_mb": round(megabytes, 1) for name, megabytes in found}
    total_mb = sum(megabytes for _, megabytes in found)
    return [{"stage": "memory of the demo", "size": "1456x1088", "all_mb": round(total_mb, 1), "trips": trips, **parts}]


def _recorded(demo: Demo, seconds: float) -> int:
    """Look at pictures under a finger that rests; how often the light tripped. Fails where there was hardly any light."""
    trips, lit, presses, pressed_s = 0, 0, 0, 0.0
    with demo.stream() as stream:
        end_s = time.monotonic() + seconds
        while (now_s := time.monotonic()) < end_s:
            if now_s - pressed_s > _PRESSED_S:
                pressed_s = now_s
                state = demo.light("on")["light"]["state"]
                presses, lit = presses + 1, lit + (state == "lit")
                if state == "tripped":
                    trips += 1
                    demo.light("off")
                    demo.light("rearm")
            stream.picture()
    if lit < 0.9 * presses and not trips:
        raise AssertionError(f"lit at {lit} of {presses} presses")
    return trips


def _family(parent: psutil.Process) -> list[psutil.Process]:
    return [parent, *parent.children(recursive=True)]


def _name(process: psutil.Process) -> str:
    words = process.cmdline()
    parent = process.parent()
    if parent is not None and parent.cmdline() == words:
        return "maps_reader"
    with contextlib.suppress(ValueError):
        return words[words.index("-m") + 1]
    return process.name()


if __name__ == "__main__":
    for row in rows():
        print(row)
