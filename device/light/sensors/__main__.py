"""``python -m device.light.sensors``: reads every fitted sensor, a thread each, and tells the guard, whose socket is descriptor 0.

Ends with the guard, and only then: when the guard closes its end, or dies, this process is gone at once, whatever its threads wait
for. Signals are the guard's affair.
"""

import argparse
import os
import signal
import socket
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import device
from device.light.sensors.fitted import Sensor, fitted_sensors
from device.light.sensors.kernel_file import NotRead
from device.light.sensors.packet import Reading, packed
from device.light.sensors.simulated import simulated_sensors
from device.light.service import LogLines
from shared.clock import Clock, SystemClock
from shared.errors import Refused
from shared.settings import load

AGAIN_NS = 100_000_000
"""A value that stays is told again after so long."""


def main() -> int:
    """Read until the guard is gone."""
    for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
        signal.signal(number, signal.SIG_IGN)
    os.setpriority(os.PRIO_PROCESS, 0, 0)  # the guard may run at a raised one; reading a slow bus must not
    threading.excepthook = _end
    log = LogLines(2)
    options = _parser().parse_args()
    try:
        sensors = _sensors(options)
    except Refused as refused:
        log(refused.line)
        return 2
    with socket.socket(fileno=os.dup(0)) as guard:
        guard.setblocking(True)
        for sensor in sensors:
            teller = Teller(sensor, guard.send, SystemClock(), log)
            threading.Thread(target=_for_ever, args=(teller,), name=sensor.name, daemon=True).start()
        guard.recv(1)  # the guard never speaks: this returns at its end
        os._exit(0)  # without waiting for a thread that a bus holds


class Teller:
    """Tells what one sensor says, and logs it once when it stops or starts answering."""

    def __init__(
        self, sensor: Sensor, send: Callable[[bytes], object], clock: Clock, log: Callable[[str], None]
    ) -> None:
        self.sensor = sensor
        self._send, self._clock, self._log = send, clock, log
        self._trouble = ""
        self._told: Reading | None = None

    def turn(self) -> None:
        """Read once; tell the guard what is new, or was not told for a while."""
        at_ns = self._clock.now_ns()
        try:
            reading = Reading(self.sensor.name, at_ns, self.sensor.read())
        except (NotRead, OSError) as trouble:
            if str(trouble) != self._trouble:
                self._trouble = str(trouble)
                self._log(f"{self.sensor.name}: {self._trouble}")
            return
        if self._trouble:
            self._trouble = ""
            self._log(f"{self.sensor.name}: answers again")
        told = self._told
        if told is None or reading.value != told.value or at_ns - told.at_ns >= AGAIN_NS:
            self._told = reading
            self._send(packed(reading))


def _for_ever(teller: Teller) -> None:
    while True:
        try:
            teller.turn()
        except OSError:
            os._exit(0)  # the guard is gone
        time.sleep(teller.sensor.every_s)


def _end(thread: threading.ExceptHookArgs) -> None:
    # A thread that died unseen would only look like a silent sensor; the guard ends when this process does.
    threading.__excepthook__(thread)
    os._exit(1)


def _sensors(options: argparse.Namespace) -> tuple[Sensor, ...]:
    if options.simulated:
        return simulated_sensors(options.run_dir, SystemClock())
    return fitted_sensors(load(options.settings, options.settings_override).light, options.sys, _cover_closed)


def _cover_closed(pin: int) -> Callable[[], float]:
    from device.light.pins import board_factory, input_pin

    switch = input_pin(pin, board_factory())

    def closed() -> float:
        try:
            return float(switch.is_active)
        except Exception as error:  # noqa: BLE001 - each pin library raises its own kinds
            raise NotRead(f"GPIO {pin}: {error}") from None

    return closed


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m device.light.sensors", description="Sensors of the light guard.")
    parser.add_argument("--run-dir", type=Path, required=True)
    parser.add_argument("--settings", type=Path, default=Path(device.__path__[0]) / "settings.toml")
    parser.add_argument("--settings-override", type=Path)
    parser.add_argument("--simulated", action="store_true")
    parser.add_argument("--sys", type=Path, default=Path("/sys"), help=argparse.SUPPRESS)
    return parser


if __name__ == "__main__":
    sys.exit(main())
