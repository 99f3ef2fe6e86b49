"""Sensors of the rehearsal: a ring that warms with its light, a supply that sags under it, a closed cover, a steady hand.

What any of them says can be replaced, so that faults can be tried: a file ``simulated_sensors/led_temperature`` (``supply``,
``cover``, ``distance``) in the run folder is read instead, as a file of the kernel would be. A number is a value, other text is
nonsense, a pipe that nobody fills is a bus that hangs. All figures here are invented.
"""

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from device.light.sensors import SensorName
from device.light.sensors.fitted import Sensor
from device.light.sensors.kernel_file import number_in
from device.light.simulated_ring import RING_NAME, SimulatedRingReader
from shared.clock import Clock
from shared.settings import LightSettings

FOLDER = "simulated_sensors"

ROOM_C = 24.0
RISE_C = 28.0
"""Of the heat sink above the room, after long at full light."""
TIME_CONSTANT_S = 90.0
REST_V, SAG_V = 5.1, 0.12
DISTANCE_MM = 240.0


def rehearsal_settings(settings: LightSettings) -> LightSettings:
    """The same limits with every sensor fitted, whatever the board has."""
    return replace(
        settings,
        led_temperature=replace(settings.led_temperature, kind="1-wire"),
        supply=replace(settings.supply, kind="monitor"),
        cover=replace(settings.cover, kind="switch"),
        distance=replace(settings.distance, kind="ranger"),
    )


def simulated_sensors(run_dir: Path, clock: Clock) -> tuple[Sensor, ...]:
    """All four, looking at the simulated ring of ``run_dir``."""
    ring = SimulatedRingReader(run_dir / RING_NAME)
    heat = Heat(ring.over, clock)

    def volts() -> float:
        now_ns = clock.now_ns()
        return REST_V - SAG_V * ring.over(now_ns - 10_000_000, now_ns)

    return (
        _replaceable(run_dir, Sensor("LED temperature", 0.25, heat.celsius)),
        _replaceable(run_dir, Sensor("supply", 0.25, volts)),
        _replaceable(run_dir, Sensor("cover", 0.02, lambda: 1.0)),
        _replaceable(run_dir, Sensor("distance", 0.1, lambda: DISTANCE_MM)),
    )


class Heat:
    """First-order heating: the heat sink goes exponentially towards the room plus what the mean duty since the last look gives."""

    def __init__(self, duty_over: Callable[[int, int], float], clock: Clock) -> None:
        self._duty_over, self._clock = duty_over, clock
        self._celsius, self._at_ns = ROOM_C, clock.now_ns()

    def celsius(self) -> float:
        """Temperature now."""
        now_ns = self._clock.now_ns()
        towards_c = ROOM_C + RISE_C * self._duty_over(self._at_ns, now_ns)
        kept = math.exp(-max(0, now_ns - self._at_ns) / 1e9 / TIME_CONSTANT_S)
        self._celsius, self._at_ns = towards_c + (self._celsius - towards_c) * kept, now_ns
        return self._celsius


def replacement(run_dir: Path, name: SensorName) -> Path:
    """File that is read instead of a simulated sensor, while it is there."""
    return run_dir / FOLDER / name.lower().replace(" ", "_")


def _replaceable(run_dir: Path, sensor: Sensor) -> Sensor:
    path = replacement(run_dir, sensor.name)
    return replace(sensor, read=lambda: number_in(path) if path.exists() else sensor.read())
