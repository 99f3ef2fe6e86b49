"""The light guard's own ``main`` on a clock that jumps and pins that refuse when ordered; run with the guard's own options.

With ``--pwm-class`` it runs its code for the board: the real ``SysfsPwm`` on whatever tree stands there, and pins that drive a
simulated ring at full duty, so that the ring's record shows what enable and heartbeat alone would let through.
"""

import sys
from pathlib import Path

from gpiozero.pins import Factory

import device.light.__main__ as guard
from device.light.simulated_pins import RingPin, simulated_factory
from device.light.simulated_ring import RING_NAME, SimulatedRing
from shared.clock import SystemClock
from tests.faults import wall_clock
from tests.faults.orders import Orders
from tests.faults.pwm_tree import ENABLE_PIN, HEARTBEAT_PIN

RUN_DIR = Path(sys.argv[sys.argv.index("--run-dir") + 1])
ORDERS = Orders(RUN_DIR)


class JumpingClock(SystemClock):
    """The guard's clock, off by what is ordered."""

    def now_ns(self) -> int:
        return super().now_ns() + ORDERS.of("clock_ns")


def true_ring(path: Path, _clock: JumpingClock) -> SimulatedRing:
    """The ring is hardware: no order reaches its clock."""
    return SimulatedRing(path, SystemClock())


def board_pins() -> Factory:
    """Pins on a ring whose pulses count as full."""
    ring = SimulatedRing(RUN_DIR / RING_NAME, SystemClock())
    ring.set(1, 1)
    return simulated_factory(ring, ENABLE_PIN, HEARTBEAT_PIN)


def refused(pin: RingPin, value: int, write=RingPin._set_state) -> None:
    """Write a pin, unless it is one that is ordered to refuse."""
    number = int(pin.info.name.removeprefix("GPIO"))
    if ORDERS.of("pins") & {ENABLE_PIN: 1, HEARTBEAT_PIN: 2}.get(number, 0):
        raise OSError(5, f"pin {number} does not take a write")
    write(pin, value)


def main() -> int:
    """Run the guard."""
    wall_clock.jumps_on(ORDERS)
    guard.SystemClock = JumpingClock
    guard.SimulatedRing = true_ring
    guard.board_factory = board_pins
    RingPin._set_state = refused
    return guard.main()


if __name__ == "__main__":
    sys.exit(main())
