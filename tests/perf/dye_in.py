"""The press of "Dye in" on the demo at full size and rate: does the light stay on, and which frames does the page miss?

The press makes the baseline and begins recording, maps and motion, all at once, while a finger holds the light, whose lease runs on
frames. ``trips`` are those of the light, ``missed`` the frames never shown in the three seconds round each press, ``longest_ms``
the longest time between two pictures as they arrive.
"""

import tempfile
import threading
import time
from pathlib import Path

from tests.bench.running_demo import Demo, Stream, running_demo

_PRESSES = 6
_BEFORE_S, _AFTER_S = 2.5, 3.0


def rows() -> list[dict[str, object]]:
    """One row."""
    with tempfile.TemporaryDirectory(dir="/var/tmp") as folder, running_demo(Path(folder), "--scene", "flap") as demo:
        demo.ask("PUT", "reference", {"region": "base:500,500,100,100"})
        with demo.stream() as stream:
            presses = [_pressed(demo, stream) for _ in range(_PRESSES)]
    trips, missed, longest_ms = zip(*presses, strict=True)
    return [
        {
            "stage": "dye in",
            "size": "1456x1088",
            "presses": _PRESSES,
            "trips": sum(trips),
            "missed": sum(missed),
            "longest_ms": round(max(longest_ms), 1),
        }
    ]


def _pressed(demo: Demo, stream: Stream) -> tuple[bool, int, float]:
    """Light, dye in, and what came of it: whether the light tripped, frames that never came, milliseconds without a picture."""
    lifted = threading.Event()
    finger = threading.Thread(target=lambda: _hold(demo, lifted))
    finger.start()
    try:
        _watched(stream, _BEFORE_S)
        if demo.state()["light"]["state"] != "lit":
            raise AssertionError(f"no light before the press: {demo.state()['light']['reason']}")
        press = threading.Thread(target=demo.ask, args=("POST", "injection", {}))
        press.start()
        missed, longest_ms = _watched(stream, _AFTER_S)
        press.join()
        tripped = demo.state()["light"]["state"] == "tripped"
    finally:
        lifted.set()
        finger.join()
    demo.light("off")
    if tripped:
        demo.light("rearm")
    demo.ask("POST", "recording", {"act": "stop"})
    demo.recording_written()
    return tripped, missed, longest_ms


def _hold(demo: Demo, lifted: threading.Event) -> None:
    """A finger that rests, and never presses again after a trip."""
    while not lifted.wait(0.2):
        demo.light("on")


def _watched(stream: Stream, seconds: float) -> tuple[int, float]:
    """Pictures as they come: how many between the first and the last did not, and the longest wait for one in milliseconds."""
    end_s, missed, longest_s = time.monotonic() + seconds, 0, 0.0
    last, came_s = stream.picture().header["sequence"], time.monotonic()
    while time.monotonic() < end_s:
        sequence, now_s = stream.picture().header["sequence"], time.monotonic()
        missed, longest_s = missed + sequence - last - 1, max(longest_s, now_s - came_s)
        last, came_s = sequence, now_s
    return missed, 1000.0 * longest_s


if __name__ == "__main__":
    for row in rows():
        print(row)
