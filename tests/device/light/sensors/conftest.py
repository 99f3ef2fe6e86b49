"""A fake of the kernel's /sys: plain files where the kernel has its own."""

from pathlib import Path

import pytest


class FakeSys:
    """Files as 1-wire, IIO and hwmon show them; each sensor's file can be made to vanish, to talk nonsense, to hang."""

    TEMPERATURE = "bus/w1/devices/28-0316a2794cff/temperature"
    ALARM = "class/hwmon/hwmon2/in0_lcrit_alarm"
    MONITOR = "class/hwmon/hwmon3/in1_input"
    CONVERTER = "bus/iio/devices/iio:device0"
    RANGER = "bus/iio/devices/iio:device1"

    def __init__(self, root: Path) -> None:
        self.root = root
        self.write(self.TEMPERATURE, "31562")
        self.write(self.ALARM, "0")
        self.write(self.MONITOR, "5040")
        self.write(f"{self.CONVERTER}/in_voltage0_raw", "512")
        self.write(f"{self.CONVERTER}/in_voltage1_raw", "800")
        self.write(f"{self.CONVERTER}/in_voltage_scale", "3.222656250")
        self.write(f"{self.RANGER}/in_distance_raw", "243")
        self.write(f"{self.RANGER}/in_distance_scale", "0.001000")

    def write(self, name: str, text: str) -> None:
        path = self.root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(f"{text}\n")


@pytest.fixture
def fake_sys(tmp_path: Path) -> FakeSys:
    return FakeSys(tmp_path / "sys")
