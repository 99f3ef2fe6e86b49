"""The sensors that the settings name, put together."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from device.light.sensors import SensorName
from device.light.sensors.kernel_file import KernelFile
from device.light.sensors.thermistor import celsius
from shared.settings import LightSettings

USUAL_PATHS = {
    # sysfs file of the kernel's w1_therm, millidegrees (its documentation)
    "1-wire": "bus/w1/devices/28-*/temperature",
    # converters and ranging sensors of the kernel's IIO subsystem
    "thermistor": "bus/iio/devices/iio:device*/in_voltage0_raw",
    "converter": "bus/iio/devices/iio:device*/in_voltage1_raw",
    "ranger": "bus/iio/devices/iio:device*/in_distance_raw",
    # the kernel's raspberrypi-hwmon (its documentation); it asks the firmware every 2 s (from memory)
    "alarm": "class/hwmon/hwmon*/in0_lcrit_alarm",
    # bus voltage of a power monitor, millivolts (the kernel's hwmon ABI; input 1 from memory)
    "monitor": "class/hwmon/hwmon*/in1_input",
}


@dataclass(frozen=True)
class Sensor:
    """One sensor: ``read`` gives its value or raises NotRead, and is called every ``every_s``."""

    name: SensorName
    every_s: float
    read: Callable[[], float]


def fitted_sensors(
    settings: LightSettings, root: Path, cover_closed: Callable[[int], Callable[[], float]]
) -> tuple[Sensor, ...]:
    """Every sensor that is not absent. ``root`` is ``/sys``; ``cover_closed`` claims a pin and gives what reads it."""
    found: list[Sensor] = []
    if settings.led_temperature.kind != "absent":
        found.append(Sensor("LED temperature", 0.5, _temperature(settings, root)))
    if settings.supply.kind != "absent":
        found.append(Sensor("supply", 0.25, _supply(settings, root)))
    if settings.cover.kind != "absent":
        found.append(Sensor("cover", 0.01, cover_closed(settings.cover_pin)))
    if settings.distance.kind != "absent":
        ranger = _file(root, settings.distance.path, settings.distance.kind)
        found.append(Sensor("distance", 0.1, lambda: ranger.scaled() * 1000))
    return tuple(found)


def _file(root: Path, path: str, kind: str) -> KernelFile:
    return KernelFile(root, path or USUAL_PATHS[kind])


def _temperature(settings: LightSettings, root: Path) -> Callable[[], float]:
    wanted = settings.led_temperature
    file = _file(root, wanted.path, wanted.kind)
    if wanted.kind == "1-wire":
        return lambda: file.number() / 1000
    return lambda: celsius(wanted.thermistor, file.scaled())


def _supply(settings: LightSettings, root: Path) -> Callable[[], float]:
    wanted = settings.supply
    file = _file(root, wanted.path, wanted.kind)
    if wanted.kind == "alarm":
        return file.number
    if wanted.kind == "monitor":
        return lambda: file.number() / 1000
    return lambda: file.scaled() / 1000 * wanted.divider
