"""A process of the frame bus's load test: ``writer BUS SLOT_BYTES LARGEST_BYTES`` or ``reader BUS COUNT``."""

import json
import sys
import time
from pathlib import Path

from shared.frame_bus import FrameBusReader, FrameBusWriter

_BLOCK = bytes(range(251)) * 16_000


def payload(sequence: int, largest_bytes: int) -> bytes:
    """Bytes that only this sequence number gives: size and content follow from it."""
    start = sequence % 251
    return sequence.to_bytes(8, "little") + _BLOCK[start : start + sequence * 7919 % largest_bytes]


def write(path: Path, slot_bytes: int, largest_bytes: int) -> None:
    """At full speed, for ever."""
    with FrameBusWriter(path, slot_bytes) as bus:
        print("ready", flush=True)
        sequence = 0
        while True:
            sequence += 1
            header = json.dumps({"sequence": sequence, "largest_bytes": largest_bytes}).encode()
            picture = payload(sequence, largest_bytes)
            bus.publish(header, picture, sequence=sequence, published_ns=sequence * 3)


def read(path: Path, count: int) -> None:
    """Check ``count`` pictures, each against its number; print how many were whole."""
    newest, seen = -1, 0
    deadline = time.monotonic() + 60
    with FrameBusReader(path) as bus:
        print("ready", flush=True)
        while seen < count and time.monotonic() < deadline:
            bus.wait(1.0)
            if (picture := bus.latest(newest)) is None:
                continue
            assert picture.publication > newest, "publications go back"
            header = json.loads(picture.header)
            assert header["sequence"] == picture.sequence, "header of another picture"
            assert picture.published_ns == picture.sequence * 3, "time of another picture"
            assert picture.jpeg == payload(picture.sequence, header["largest_bytes"]), (
                f"torn picture {picture.sequence}"
            )
            newest, seen = picture.publication, seen + 1
    print(seen, flush=True)


if __name__ == "__main__":
    kind, path, *numbers = sys.argv[1:]
    {"writer": write, "reader": read}[kind](Path(path), *map(int, numbers))
