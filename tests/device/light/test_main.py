"""Ways in and out of the guard's process that need no second process, and ``--dark`` on a fake tree."""

import subprocess
import sys

import pytest
from gpiozero.pins.mock import MockFactory

from device.light import __main__ as program
from device.light.loop import GuardLoop
from device.light.simulated_ring import SimulatedRingReader
from shared.settings import LightSettings

PINS = (LightSettings().enable_pin, LightSettings().heartbeat_pin)


@pytest.fixture
def running_channel(fake_kernel):
    """A PWM channel that a dead guard left pulsing, as plain files."""
    kernel = fake_kernel()
    for name, text in (("export", "0"), ("pwm0/period", "50000"), ("pwm0/duty_cycle", "20000"), ("pwm0/enable", "1")):
        kernel.write(kernel.chip / name, text)
    assert kernel.pulsing(0)
    return kernel


@pytest.fixture
def header(monkeypatch):
    """The board's pins, mocked, left high by a dead guard."""
    factory = MockFactory()
    monkeypatch.setattr(program, "board_factory", lambda: factory)
    yield factory
    factory.close()
    factory.reset()


def dark_arguments(kernel, tmp_path):
    return ["--run-dir", str(tmp_path), "--pwm-class", str(kernel.chip.parent), "--dark"]


def test_dark_forces_everything_off_and_may_be_repeated(running_channel, header, tmp_path):
    for _ in range(2):
        assert program.main(dark_arguments(running_channel, tmp_path)) == 0
        assert not running_channel.pulsing(0)
        assert [header.pin(pin).function for pin in PINS] == ["input", "input"]
        assert [header.pin(pin).state for pin in PINS] == [0, 0]


def test_dark_switches_the_pwm_off_even_where_the_pins_cannot_be_had(running_channel, tmp_path):
    command = [sys.executable, "-m", "device.light", *dark_arguments(running_channel, tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=20)
    assert not running_channel.pulsing(0)
    assert done.returncode == 1, "there are no pins here, so it cannot be known"
    assert "not known to be dark" in done.stderr


def test_dark_drives_the_pins_low_even_where_the_pwm_cannot_be_had(header, tmp_path, capfd):
    for pin in PINS:
        header.pin(pin).function = "output"
        header.pin(pin).state = 1
    arguments = ["--run-dir", str(tmp_path), "--pwm-class", str(tmp_path / "none"), "--dark"]
    assert program.main(arguments) == 1
    assert "no PWM chip" in capfd.readouterr().err
    assert [header.pin(pin).states[-1].state for pin in PINS] == [False, False]


def test_the_boards_lamp_drives_its_own_three_lines(running_channel, header, tmp_path):
    options = program._parser().parse_args(dark_arguments(running_channel, tmp_path))
    lamp = program.board_lamp(options, LightSettings())
    assert not running_channel.pulsing(0), "what a dead guard left on is off before anything else"
    lamp.light(0.4, 15_000.0)
    folder = running_channel.chip / "pwm0"
    assert (folder / "duty_cycle").read_text().strip() == "20000"
    assert running_channel.pulsing(0)
    assert header.pin(PINS[0]).state == 1
    lamp.close()
    assert not running_channel.pulsing(0)
    assert header.pin(PINS[0]).function == "input"


@pytest.mark.parametrize("error", [RuntimeError("a fault of ours"), KeyboardInterrupt(), SystemExit(3), MemoryError()])
def test_an_error_in_the_loop_leaves_dark_behind_and_is_not_swallowed(tmp_path, monkeypatch, error):
    seen = SimulatedRingReader(tmp_path / program.RING_NAME)

    def broken_run(self):
        lamp = self._guard._lamp
        lamp.light(0.5, 15_000.0)
        lamp.beat()
        assert seen.record().changes[-1].level == 0.5
        raise error

    monkeypatch.setattr(GuardLoop, "run", broken_run)
    monkeypatch.setattr(program, "ask_for_priority", lambda: "no priority in a test")
    with pytest.raises(type(error)):
        program.main(["--run-dir", str(tmp_path), "--simulated"])
    assert seen.record().changes[-1].level == 0.0
    seen.close()
    assert not (tmp_path / "light.sock").exists()
