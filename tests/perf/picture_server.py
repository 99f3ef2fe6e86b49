"""The picture server under 1, 8 and 32 viewers: processor a viewer, and latency from publication to the last byte at the client.

Publisher, server and viewers are three processes. The floor is ``bare_server``: the same bytes by bare socket calls.
"""

import json
import socket
import subprocess
import sys
import tempfile
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from statistics import median

import numpy as np
import psutil

PICTURE_BYTES = 100_000
RATE_HZ = 30.0
WORD = "harbour-perf"


@dataclass(frozen=True)
class Served:
    """One number of viewers: latency, and processor time of the whole serving process in percent of a core."""

    viewers: int
    p50_ms: float
    p99_ms: float
    processor_percent: float


@contextmanager
def running(*arguments: str, nice: int = 0) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """A module run as a process, and the first line it printed; ended on leaving."""
    yielding = ("nice", "-n", str(nice)) if nice else ()
    process = subprocess.Popen([*yielding, sys.executable, "-m", *arguments], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    try:
        yield process, process.stdout.readline()
    finally:
        process.terminate()
        process.wait(10)
        process.stdout.close()


def free_port_pair() -> int:
    """A port that is free together with the next one."""
    while True:
        with socket.socket() as first, socket.socket() as second:
            first.bind(("127.0.0.1", 0))
            port: int = first.getsockname()[1]
            with suppress(OSError, OverflowError):
                second.bind(("127.0.0.1", port + 1))
                return port


def paired_cookie(url: str) -> str:
    """Cookie header of a browser that knew the word."""
    request = urllib.request.Request(
        f"{url}/api/v1/pair", json.dumps({"word": WORD}).encode(), {"Content-Type": "application/json"}
    )
    with urllib.request.urlopen(request, timeout=10) as answer:
        return str(answer.headers["Set-Cookie"].partition(";")[0])


def measured(seconds: float, counts: tuple[int, ...], *, bare: bool = False) -> list[Served]:
    """Our server, or the bare one, without viewers and with each number of them."""
    with tempfile.TemporaryDirectory() as folder:
        bus, port = str(Path(folder) / "frame_bus"), free_port_pair()
        server = (
            ("tests.perf.bare_server", bus, str(port + 1))
            if bare
            else ("web_ui", "--run-dir", folder, "--data-dir", folder, "--port", str(port), "--pair-word", WORD)
        )
        publisher = running("tests.perf.publisher", bus, str(PICTURE_BYTES), str(RATE_HZ))
        with publisher, running(*server) as (process, ready):
            cookie = "none" if bare else paired_cookie(json.loads(ready)["url"])
            watched = psutil.Process(process.pid)
            return [_alone(watched, seconds)] + [
                _with_viewers(watched, port, cookie, count, seconds) for count in counts
            ]


def _used_s(watched: psutil.Process) -> float:
    """Processor seconds of all its threads, to the nanosecond."""
    threads = Path(f"/proc/{watched.pid}/task").glob("*/schedstat")
    return sum(int(thread.read_text().split()[0]) for thread in threads) / 1e9


def _alone(watched: psutil.Process, seconds: float) -> Served:
    before = _used_s(watched)
    with suppress(psutil.TimeoutExpired):
        watched.wait(seconds)
    return Served(0, float("nan"), float("nan"), 100 * (_used_s(watched) - before) / seconds)


def _with_viewers(watched: psutil.Process, port: int, cookie: str, count: int, seconds: float) -> Served:
    arguments = ("127.0.0.1", str(port + 1), f"http://127.0.0.1:{port}", cookie, str(count), str(seconds))
    with running("tests.perf.viewers", *arguments) as (viewers, connected):
        assert connected == "connected\n", connected
        before = _used_s(watched)
        assert viewers.stdout is not None
        seen = json.loads(viewers.stdout.readline())
        used = _used_s(watched) - before
    assert min(seen["pictures"]) > 0.8 * RATE_HZ * seconds, f"viewers starved: {seen['pictures']}"
    p50, p99 = np.percentile(seen["latencies_ms"], [50, 99])
    return Served(count, float(p50), float(p99), 100 * used / seconds)


def rows(seconds: float = 5.0, counts: tuple[int, ...] = (1, 8, 32)) -> list[dict[str, object]]:
    """One row a number of viewers: latency from frame to client, processor a viewer, and the floor's, from interleaved runs."""
    turns = [(measured(seconds, counts), measured(seconds, counts, bare=True)) for _ in range(3)]
    found: list[dict[str, object]] = []
    for at, count in enumerate(counts, start=1):
        ours, floor = [turn[0] for turn in turns], [turn[1] for turn in turns]
        a_viewer, floor_a_viewer = _a_viewer(ours, at), _a_viewer(floor, at)
        found.append(
            {
                "stage": f"picture server, {count} viewers",
                "size": f"{PICTURE_BYTES // 1000} kB at {RATE_HZ:g}/s",
                "p50_ms": round(median(turn[at].p50_ms for turn in ours), 2),
                "p99_ms": round(median(turn[at].p99_ms for turn in ours), 2),
                "floor_p99_ms": round(median(turn[at].p99_ms for turn in floor), 2),
                "processor_percent_a_viewer": round(a_viewer, 3),
                "floor_percent_a_viewer": round(floor_a_viewer, 3),
            }
        )
    return found


def _a_viewer(turns: list[list[Served]], at: int) -> float:
    """Processor that a viewer adds, in percent of a core."""
    return median((turn[at].processor_percent - turn[0].processor_percent) / turn[at].viewers for turn in turns)


if __name__ == "__main__":
    for row in rows():
        print(row)
