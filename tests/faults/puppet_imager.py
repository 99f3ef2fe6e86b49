"""An imager reduced to its link and its operator: a lease for each of 30 frames a second, a finger that the orders
move, and lies when they are ordered.

What it hears is kept in the file ``status`` of the run folder. Run as ``python -m tests.faults.puppet_imager --run-dir F``.
"""

import contextlib
import json
import random
import select
import sys
from dataclasses import asdict
from pathlib import Path

from device.imager.operator_light import OperatorLight
from device.light.link import LightLink
from shared.clock import SystemClock
from shared.protocol.light import Lease
from shared.settings import LightSettings
from tests.faults.lies import Lie, packets
from tests.faults.orders import Orders

INTERVAL_NS = 33_333_333
REPEAT_NS = 200_000_000


class Puppet:
    """One turn a frame."""

    def __init__(self, run_dir: Path) -> None:
        self._orders, self._clock = Orders(run_dir), SystemClock()
        self._link = LightLink(run_dir / "light.sock", self._clock)
        before = run_dir / "puppet_was_here"
        self._light = OperatorLight(self._link, LightSettings().levels, True, self._clock, before.exists())
        before.touch()
        self._status = run_dir / "status"
        self._rearms, self._level, self._repeat_ns = self._orders.of("rearms"), self._orders.of("level"), 0
        self._finger = 0
        self._honest = Lease(0, 0, INTERVAL_NS / 1000, 15_000.0)
        self._rng = random.Random(self._clock.now_ns())

    def turn(self, sequence: int) -> None:
        """Act for the finger, then show a frame."""
        self._move_finger()
        self._light.keep_up()
        lie = Lie(self._orders.of("lie"))
        if lie is Lie.NONE:
            exposure_us = float(self._orders.of("exposure_us") or 15_000)
            self._honest = Lease(sequence, self._clock.now_ns(), INTERVAL_NS / 1000, exposure_us)
            self._link.renew(*vars(self._honest).values())
        else:
            self._send(packets(lie, self._honest, sequence, self._clock.now_ns(), self._rng))
        self._say()

    def _send(self, data: list[bytes]) -> None:
        """Past the link, which would not say such things."""
        for packet in data:
            line = self._link._socket
            if line is not None:
                select.select([], [line], [], INTERVAL_NS / 1e9)
                with contextlib.suppress(OSError):
                    line.send(packet)

    def _move_finger(self) -> None:
        finger, now_ns = self._orders.of("finger"), self._clock.now_ns()
        if (rearms := self._orders.of("rearms")) != self._rearms:
            self._rearms = rearms
            self._light.rearm()
        if (level := self._orders.of("level")) != self._level:
            self._light.step(level - self._level, wrap=True)
            self._level = level
        if finger and now_ns >= self._repeat_ns:
            self._light.page_on()
            self._repeat_ns = now_ns + REPEAT_NS
        if self._finger and not finger:
            self._light.page_off()
            self._repeat_ns = 0
        self._finger = finger

    def _say(self) -> None:
        status = self._link.status
        if status is None:
            return
        text = json.dumps({**asdict(status), "reachable": self._link.reachable})
        fresh = self._status.with_suffix(".new")
        fresh.write_text(text)
        fresh.replace(self._status)


def main() -> None:
    """Run until killed."""
    puppet, clock = Puppet(Path(sys.argv[sys.argv.index("--run-dir") + 1])), SystemClock()
    sequence, due_ns = 0, clock.now_ns()
    while True:
        clock.sleep_until_ns(due_ns)
        puppet.turn(sequence)
        late = max(0, clock.now_ns() - due_ns) // INTERVAL_NS
        sequence, due_ns = sequence + 1 + late, due_ns + (1 + late) * INTERVAL_NS


if __name__ == "__main__":
    main()
