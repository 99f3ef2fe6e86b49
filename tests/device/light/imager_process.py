"""Run by tests: an imager reduced to its link. Renews a lease every interval and wants light, until it is killed."""

import sys
from pathlib import Path

from device.light.link import LightLink
from shared.clock import SystemClock


def main(socket_path: str, interval_ms: str) -> None:
    clock = SystemClock()
    link = LightLink(Path(socket_path), clock)
    interval_ns = round(float(interval_ms) * 1e6)
    sequence, due_ns, wanted = 0, clock.now_ns(), False
    while True:
        clock.sleep_until_ns(due_ns)
        status = link.renew(sequence, clock.now_ns(), interval_ns / 1000, 15_000.0)
        if status.state == "tripped":
            link.rearm()
            wanted = False
        elif link.reachable and not wanted:
            link.want(True, 0.6)
            wanted = True
        sequence, due_ns = sequence + 1, due_ns + interval_ns


if __name__ == "__main__":
    main(*sys.argv[1:])
