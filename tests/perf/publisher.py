"""A publisher for timings: pictures of random bytes at a steady rate, each header with its time of publication.

``python -m tests.perf.publisher BUS BYTES RATE_HZ`` runs until it is ended.
"""

import json
import os
import sys
import time
from pathlib import Path

from shared.frame_bus import FrameBusWriter


def main() -> None:
    path, size, rate_hz = Path(sys.argv[1]), int(sys.argv[2]), float(sys.argv[3])
    pictures = [os.urandom(size) for _ in range(8)]
    with FrameBusWriter(path) as bus:
        started_ns = time.monotonic_ns()
        sequence = 0
        print("ready", flush=True)
        while True:
            sequence += 1
            now_ns = time.monotonic_ns()
            header = json.dumps({"sequence": sequence, "published_ns": now_ns}, separators=(",", ":")).encode()
            bus.publish(header, pictures[sequence % 8], sequence=sequence, published_ns=now_ns)
            time.sleep(max(0.0, (started_ns + sequence * 1e9 / rate_hz - time.monotonic_ns()) / 1e9))


if __name__ == "__main__":
    main()
