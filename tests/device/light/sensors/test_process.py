"""The process that reads the sensors, on a fake /sys; and the whole guard, whose sensors fail on order."""

import os
import select
import signal
import time

import pytest

from device.light.sensors.__main__ import AGAIN_NS, Teller
from device.light.sensors.fitted import Sensor
from device.light.sensors.kernel_file import NotRead
from device.light.sensors.link import SensorLink
from device.light.sensors.packet import Reading, packed, unpacked
from device.light.sensors.simulated import DISTANCE_MM, RISE_C, ROOM_C, TIME_CONSTANT_S, Heat, replacement
from tests.conftest import ManualClock

MS = 1_000_000
FITTED = """
[light.supply]
kind = "converter"
[light.distance]
kind = "ranger"
"""
SHORT = """
[light.led_temperature]
silent_ms = 700
[light.supply]
silent_ms = 700
[light.cover]
silent_ms = 500
[light.distance]
silent_ms = 700
"""


# ---- by itself --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("value", [0.0, -40.5, 31.562, 1e9])
def test_a_reading_comes_through_its_packet(value):
    reading = Reading("distance", 123_456_789_012_345, value)
    assert unpacked(packed(reading)) == reading


@pytest.mark.parametrize("data", [b"", b"\x00", b"\xff" * 17, b"\x04" + b"\x00" * 16, b"\x00" * 18])
def test_nonsense_is_no_reading(data):
    with pytest.raises(ValueError, match="not a reading"):
        unpacked(data)


def test_a_teller_tells_what_is_new_at_once_and_the_rest_now_and_then():
    clock, told, log, values = ManualClock(), [], [], [1.0]

    def read():
        if values[0] is None:
            raise NotRead("no wire")
        return values[0]

    teller = Teller(Sensor("cover", 0.01, read), told.append, clock, log.append)
    for _ in range(25):
        teller.turn()
        clock.advance_ms(10)
    assert len(told) == 3
    values[0] = 0.0
    teller.turn()
    assert unpacked(told[-1]) == Reading("cover", clock.now_ns(), 0.0)
    values[0] = None
    for _ in range(5):
        teller.turn()
    values[0] = 0.0
    clock.time_ns += AGAIN_NS
    teller.turn()
    assert log == ["cover: no wire", "cover: answers again"]
    assert len(told) == 5


def test_a_reading_is_as_old_as_its_beginning():
    clock, told = ManualClock(), []

    def slow():
        clock.advance_ms(750)
        return 31.5

    Teller(Sensor("LED temperature", 0.5, slow), told.append, clock, lambda _: None).turn()
    assert unpacked(told[0]).at_ns == clock.now_ns() - 750 * MS


def test_the_ring_warms_with_its_duty_to_first_order():
    """Closed form: room + rise x duty x (1 - exp(-t / tau)), in whatever steps it is looked at."""
    clock = ManualClock()
    heat = Heat(lambda start, end: 0.5, clock)
    for milliseconds in (1, 249, 4750, 85_000):
        clock.advance_ms(milliseconds)
        found = heat.celsius()
    share = 1 - pow(2.718281828459045, -90.0 / TIME_CONSTANT_S)
    assert found == pytest.approx(ROOM_C + 0.5 * RISE_C * share, abs=1e-6)


# ---- as a process, on a fake /sys -------------------------------------------------------------------------------------------


@pytest.fixture
def link(tmp_path, fake_sys):
    override = tmp_path / "override.toml"
    override.write_text(FITTED)
    made = SensorLink(["--run-dir", str(tmp_path), "--sys", str(fake_sys.root), "--settings-override", str(override)])
    yield made
    made.close()


def heard(link, name, wanted, within_s=20.0):
    """The first reading of ``name`` that is wanted."""
    deadline = time.monotonic() + within_s
    while time.monotonic() < deadline:
        select.select([link.socket], [], [], 0.1)
        for reading in link.readings():
            if reading.name == name and wanted(reading.value):
                return reading
    raise AssertionError(f"{name} never said that")


def none_heard(link, name, for_s):
    deadline = time.monotonic() + for_s
    while time.monotonic() < deadline:
        select.select([link.socket], [], [], 0.05)
        assert name not in [reading.name for reading in link.readings()]


def test_all_sensors_are_heard_and_a_bus_that_hangs_holds_up_no_other(link, fake_sys):
    heard(link, "LED temperature", lambda value: value == pytest.approx(31.562))
    heard(link, "supply", lambda value: value == pytest.approx(5.15625))
    heard(link, "distance", lambda value: value == pytest.approx(243.0))
    path = fake_sys.root / fake_sys.TEMPERATURE
    pipe = path.with_name("pipe")
    os.mkfifo(pipe)
    pipe.rename(path)  # from now on reading the temperature never returns
    fake_sys.write(f"{fake_sys.RANGER}/in_distance_raw", "180")
    heard(link, "distance", lambda value: value == 180.0)
    while [reading for reading in link.readings() if reading.name == "LED temperature"]:
        pass
    none_heard(link, "LED temperature", 0.7)
    fake_sys.write(f"{fake_sys.RANGER}/in_distance_raw", "no target")
    fake_sys.write(f"{fake_sys.RANGER}/in_distance_raw", "90")
    heard(link, "distance", lambda value: value == 90.0)
    link.close()  # although a thread is held for ever
    assert link._process.returncode == 0


def test_it_ends_with_the_guard_and_not_by_signals(link):
    heard(link, "distance", lambda value: True)
    for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
        link._process.send_signal(number)
    heard(link, "distance", lambda value: True)
    started = time.monotonic()
    link.close()
    assert link._process.returncode == 0
    assert time.monotonic() - started < 5


def test_a_process_that_died_is_noticed(link):
    heard(link, "distance", lambda value: True)
    link._process.kill()
    with pytest.raises(EOFError):
        heard(link, "distance", lambda value: False)


def test_wrong_settings_end_it_at_once(tmp_path):
    link = SensorLink(["--run-dir", str(tmp_path), "--settings", str(tmp_path / "none.toml")])
    with pytest.raises(EOFError):
        heard(link, "distance", lambda value: False)
    link.close()
    assert link._process.returncode == 2


# ---- under a whole guard: the simulated sensors' files stand for the kernel's ------------------------------------------------


@pytest.fixture
def guard(guard_process, tmp_path):
    override = tmp_path / "override.toml"
    override.write_text(SHORT)
    guard_process.options = ("--settings-override", str(override))
    (tmp_path / "simulated_sensors").mkdir()
    guard_process.start()
    return guard_process


def say(guard, name, text):
    path = replacement(guard.run_dir, name)
    new = path.with_suffix(".new")
    new.write_text(text)
    new.rename(path)


def hang(guard, name):
    new = replacement(guard.run_dir, name).with_suffix(".new")
    os.mkfifo(new)
    new.rename(replacement(guard.run_dir, name))


FAILURES = {
    "LEDs too hot": (lambda guard: say(guard, "LED temperature", "61.5"), "the LEDs are at 61.5 °C, limit 60 °C"),
    "supply sags": (lambda guard: say(guard, "supply", "4.5"), "the supply gives 4.50 V"),
    "cover opened": (lambda guard: say(guard, "cover", "0"), "the ring's cover is open"),
    "too near": (lambda guard: say(guard, "distance", "60"), "the tissue is 60 mm away"),
    "talks nonsense": (
        lambda guard: say(guard, "LED temperature", "warm"),
        "the LED temperature sensor stopped answering",
    ),
    "bus hangs": (lambda guard: hang(guard, "supply"), "the supply sensor stopped answering"),
}


@pytest.mark.parametrize("failure", FAILURES)
def test_a_sensor_that_fails_darkens_and_latches_with_its_sentence(guard, wait_until, failure):
    fail, sentence = FAILURES[failure]
    guard.imager(10.0)
    wait_until(guard.lit_now, 20.0, "lit")
    fail(guard)
    wait_until(lambda: f"-> tripped: {sentence}" in guard.log(), 20.0, sentence)
    wait_until(lambda: not guard.lit_now(), 5.0, "dark")


def test_the_opened_cover_is_dark_soon(guard, wait_until):
    """The cover is looked at every 20 ms here (10 on the board)."""
    took_ms = []
    for _ in range(5):
        imager = guard.imager(10.0)
        wait_until(guard.lit_now, 20.0, "lit")
        moment_ns = time.monotonic_ns()
        say(guard, "cover", "0")
        took_ms.append(guard.dark_after_ns(moment_ns) / MS)
        say(guard, "cover", "1")
        imager.kill()
        imager.wait(10)
    print(f"\ncover to dark: {sorted(round(one, 1) for one in took_ms)} ms")
    assert max(took_ms) < 500


def test_a_guard_whose_sensors_die_goes_dark_and_ends(guard, wait_until):
    import psutil

    guard.imager(10.0)
    wait_until(guard.lit_now, 20.0, "lit")
    (sensors,) = psutil.Process(guard.process.pid).children()
    sensors.kill()
    assert guard.process.wait(10) == 1
    assert not guard.lit_now()
    assert guard.record().changes[-1].level == 0
    assert "lit -> tripped: the sensors' process ended" in guard.log()


def test_a_guard_that_ends_or_dies_takes_its_sensors_along(guard, wait_until):
    import psutil

    (sensors,) = psutil.Process(guard.process.pid).children()
    guard.process.terminate()
    assert guard.process.wait(10) == 0
    wait_until(lambda: not sensors.is_running(), 5.0, "sensors ended")
    guard.start()
    (sensors,) = psutil.Process(guard.process.pid).children()
    guard.process.kill()
    guard.process.wait(10)
    wait_until(lambda: not sensors.is_running() or sensors.status() == psutil.STATUS_ZOMBIE, 5.0, "sensors ended")


def test_the_link_hears_the_list_of_conditions(guard, wait_until):
    link = guard.link()

    def all_known():
        link.survey()
        return {one.name for one in link.conditions if one.value is not None} >= {
            "LED temperature",
            "supply",
            "distance",
        }

    wait_until(all_known, 20.0, "sensors known")
    found = {one.name: one for one in link.conditions}
    assert found["LED temperature"].value == pytest.approx(ROOM_C, abs=1)
    assert found["distance"].value == DISTANCE_MM
    assert found["cover"].state == "holds"
    assert found["frames fresh"].state == "missing"
