"""Every kind of sensor on a fake /sys."""

import errno
import os
from dataclasses import replace
from pathlib import Path

import pytest

from device.light.sensors.fitted import fitted_sensors
from device.light.sensors.kernel_file import KernelFile, NotRead, number_in
from shared.errors import Refused
from shared.sensor_settings import (
    CoverSettings,
    DistanceSettings,
    SupplySettings,
    TemperatureSettings,
    ThermistorSettings,
)
from shared.settings import Settings, changed


def read(no_sensors, fake_sys, **fitted):
    """Values of the sensors that are fitted."""
    sensors = fitted_sensors(replace(no_sensors, **fitted), fake_sys.root, lambda pin: lambda: float(pin))
    return {sensor.name: sensor.read() for sensor in sensors}


def test_absent_sensors_are_not_read(no_sensors, fake_sys):
    assert read(no_sensors, fake_sys) == {}


@pytest.mark.parametrize(
    ("fitted", "name", "value"),
    [
        ({"led_temperature": TemperatureSettings("1-wire")}, "LED temperature", 31.562),
        ({"supply": SupplySettings("alarm")}, "supply", 0.0),
        ({"supply": SupplySettings("monitor", path="class/hwmon/hwmon3/in1_input")}, "supply", 5.04),
        # 800 x 3.22265625 mV = 2.578125 V behind a divider of 2
        ({"supply": SupplySettings("converter")}, "supply", 5.15625),
        ({"distance": DistanceSettings("ranger")}, "distance", 243.0),
        ({"cover": CoverSettings("switch")}, "cover", 5.0),  # the fake's pin: its number
    ],
)
def test_each_kind_gives_its_value_in_its_unit(no_sensors, fake_sys, fitted, name, value):
    assert read(no_sensors, fake_sys, **fitted) == {name: pytest.approx(value)}


def test_a_thermistor_behind_a_converter(no_sensors, fake_sys):
    """512 x 3.22265625 mV is half of 3300 mV: the thermistor equals the series resistor, so it is at 25 degrees."""
    fitted = TemperatureSettings("thermistor", thermistor=ThermistorSettings())
    assert read(no_sensors, fake_sys, led_temperature=fitted) == {"LED temperature": pytest.approx(25.0, abs=0.01)}


def test_a_channels_own_scale_and_offset_come_before_the_shared_ones(fake_sys):
    fake_sys.write(f"{fake_sys.CONVERTER}/in_voltage0_scale", "2.0")
    fake_sys.write(f"{fake_sys.CONVERTER}/in_voltage0_offset", "-12")
    assert KernelFile(fake_sys.root, f"{fake_sys.CONVERTER}/in_voltage0_raw").scaled() == 1000.0
    (fake_sys.root / fake_sys.RANGER / "in_distance_scale").unlink()
    with pytest.raises(NotRead, match="no scale beside it"):
        KernelFile(fake_sys.root, f"{fake_sys.RANGER}/in_distance_raw").scaled()


def test_a_pattern_fits_one_file_or_none_is_read(fake_sys):
    with pytest.raises(NotRead, match="no files fit"):
        KernelFile(fake_sys.root, "bus/w1/devices/10-*/temperature").number()
    fake_sys.write("bus/w1/devices/28-000000000000/temperature", "20000")
    with pytest.raises(NotRead, match="2 files fit"):
        KernelFile(fake_sys.root, "bus/w1/devices/28-*/temperature").number()


@pytest.mark.parametrize("text", ["", "warm", "nan", "inf", "1 2", "0x10", "31562" + 80 * " " + "7", "\xff"])
def test_nonsense_is_no_value(tmp_path, text):
    path = tmp_path / "file"
    path.write_text(text, encoding="latin-1")
    if text.startswith("31562"):
        assert number_in(path) == 31562, "no more than a line's worth is read"
        return
    with pytest.raises(NotRead, match="is not a number"):
        number_in(path)


@pytest.mark.parametrize("error", [errno.EIO, errno.EACCES, errno.ENODEV, errno.ETIMEDOUT])
def test_what_the_kernel_refuses_is_said(tmp_path, monkeypatch, error):
    def refuse(*_, **__):
        raise OSError(error, os.strerror(error))

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(NotRead, match=os.strerror(error)):
        number_in(tmp_path / "file")


def test_a_device_that_comes_back_under_another_number_is_found_again(fake_sys):
    file = KernelFile(fake_sys.root, "bus/iio/devices/iio:device*/in_distance_raw")
    assert file.number() == 243
    old, new = fake_sys.root / fake_sys.RANGER, fake_sys.root / "bus/iio/devices/iio:device7"
    old.rename(new)
    with pytest.raises(NotRead, match="No such file"):
        file.number()
    assert file.number() == 243


@pytest.mark.parametrize("path", ["/sys/class/x", "../etc/passwd", "a/../../b"])
def test_paths_lie_under_sys(path):
    with pytest.raises(Refused, match="must lie under /sys"):
        changed(Settings(), light={"led_temperature": {"path": path}})


def test_two_coefficients_are_refused():
    with pytest.raises(Refused, match="three coefficients or none, not 2"):
        changed(Settings(), light={"led_temperature": {"thermistor": {"steinhart_hart": [0.001, 0.0002]}}})
