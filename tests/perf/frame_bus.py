"""The frame bus: time to publish and to take a picture, what the checksum costs, and latency from writer to reader process."""

import json
import os
import tempfile
import time
import zlib
from collections.abc import Callable
from pathlib import Path
from statistics import median

import google_crc32c
import numpy as np

from shared.frame_bus import FrameBusReader, FrameBusWriter
from tests.perf.picture_server import PICTURE_BYTES, RATE_HZ, running

_TURNS = 400


def rows() -> list[dict[str, object]]:
    """Publish and take against a copy of the same bytes; both checksums; waking of another process."""
    picture = os.urandom(PICTURE_BYTES)
    copied_us = _median_us(lambda: bytes(memoryview(picture)))
    size = f"{PICTURE_BYTES // 1000} kB"
    found: list[dict[str, object]] = []
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "frame_bus"
        with FrameBusWriter(path) as writer, FrameBusReader(path) as reader:
            published = _median_us(lambda: writer.publish(b"{}", picture, sequence=1, published_ns=1))
            taken = _median_us(reader.latest)
    for stage, ours_us in (
        ("frame bus, publish to one reader", published),
        ("frame bus, take", taken),
        ("CRC-32C by the processor's instruction", _median_us(lambda: google_crc32c.value(picture))),
        ("CRC-32 by zlib", _median_us(lambda: zlib.crc32(picture))),
    ):
        found.append({"stage": stage, "size": size, "ours_us": round(ours_us, 1), "floor_us": round(copied_us, 1)})
    return [*found, _woken(size)]


def _median_us(work: Callable[[], object]) -> float:
    """Median of one call, in microseconds."""
    taken = []
    for _ in range(_TURNS):
        began_ns = time.perf_counter_ns()
        work()
        taken.append((time.perf_counter_ns() - began_ns) / 1000)
    return median(taken)


def _woken(size: str) -> dict[str, object]:
    """From publication to the picture in another process's hands."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "frame_bus"
        with (
            running("tests.perf.publisher", str(path), str(PICTURE_BYTES), str(RATE_HZ)),
            FrameBusReader(path) as reader,
        ):
            latencies_ms, newest = [], -1
            while len(latencies_ms) < 150:
                reader.wait(1.0)
                if (picture := reader.latest(newest)) is not None:
                    newest = picture.publication
                    latencies_ms.append((time.monotonic_ns() - json.loads(picture.header)["published_ns"]) / 1e6)
    p50, p99 = np.percentile(latencies_ms, [50, 99])
    return {
        "stage": "frame bus, writer to reader process",
        "size": size,
        "p50_ms": round(float(p50), 2),
        "p99_ms": round(float(p99), 2),
    }


if __name__ == "__main__":
    for row in rows():
        print(row)
