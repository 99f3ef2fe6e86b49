"""SoftwarePwm on gpiozero's own mock of a PWM pin, cut down to whole percents as gpiozero's lgpio pins do."""

from dataclasses import replace

import pytest
from gpiozero.pins.mock import MockFactory, MockPWMPin
from hypothesis import given
from hypothesis import strategies as st

from device.light import __main__ as program
from device.light.conditions import SAME_EXPOSURES
from device.light.lamp import Lamp
from device.light.pwm import PwmFailed
from device.light.simulated_ring import SimulatedRingReader
from device.light.software_pwm import SoftwarePwm
from shared.clock import SystemClock
from shared.errors import Refused
from shared.protocol.light import Lease, Want
from shared.settings import LightSettings


class WholePercentPin(MockPWMPin):
    """``int(value * 100)``, as in gpiozero/pins/lgpio.py."""

    def _change_state(self, value):
        return super()._change_state(int(value * 100) / 100)


@pytest.fixture
def factory():
    factory = MockFactory(pin_class=WholePercentPin)
    yield factory
    factory.close()
    factory.reset()


@pytest.fixture
def pwm(factory):
    pwm = SoftwarePwm(12, factory)
    yield pwm
    pwm.close()


def test_the_trap_is_real_and_avoided(factory, pwm):
    assert int(0.29 * 100) == 28
    given = pwm.set(1_000_000, 290_000)
    assert given.level == 0.29
    assert factory.pin(12).state == 0.29


@pytest.mark.parametrize("percent", range(1, 101))
def test_each_whole_percent_is_given(factory, pwm, percent):
    period_ns = 1_003_000
    given = pwm.set(period_ns, round(percent / 100 * period_ns))
    assert given.level == pytest.approx(percent / 100, abs=1e-9)
    assert round(factory.pin(12).state * 100) == percent


def test_never_more_than_asked_and_what_is_reported_is_what_the_pin_does(factory):
    @given(level=st.floats(0.01, 1.0), period_ns=st.integers(1_000_000, 20_000_000))
    def holds(level, period_ns):
        duty_ns = round(level * period_ns)
        given = pwm.set(period_ns, duty_ns)
        assert given.level <= level + 1 / period_ns
        assert given.level > level - 0.0101
        assert given.level == pytest.approx(factory.pin(12).state, abs=1e-9)
        assert factory.pin(12).frequency == pytest.approx(given.hz or 1e9 / given.period_ns)
        assert given.period_ns >= period_ns
        assert given.period_ns % 100_000 == 0, "every percent is whole microseconds"

    pwm = SoftwarePwm(12, factory)
    holds()
    pwm.close()


def test_below_one_percent_is_refused_not_dark(pwm):
    with pytest.raises(PwmFailed, match="below 1 %"):
        pwm.set(1_000_000, 9_000)


def test_its_ripple_is_the_worst_there_is(pwm):
    # worked: P / T for d <= .5 where nothing is known of the phase; 1 kHz in 15 ms
    assert pwm.set(1_000_000, 200_000).ripple(15_000) == pytest.approx(1 / 15)
    assert pwm.set(1_000_000, 1_000_000).ripple(15_000) == 0.0


def test_off_close_and_one_owner(factory):
    pwm = SoftwarePwm(12, factory)
    pwm.set(1_000_000, 500_000)
    with pytest.raises(Refused, match="GPIO 12 cannot be pulsed"):
        SoftwarePwm(12, factory)
    pwm.off()
    assert factory.pin(12).state == 0
    pwm.set(1_000_000, 500_000)
    pwm.close()
    pwm.close()
    assert factory.pin(12).state == 0


def test_a_library_that_fails_is_reported(factory, pwm, monkeypatch):
    def broken(_self, _value):
        raise OSError("the chip is gone")

    monkeypatch.setattr(WholePercentPin, "_set_state", broken)
    with pytest.raises(PwmFailed, match="chip is gone"):
        pwm.set(1_000_000, 500_000)
    with pytest.raises(PwmFailed, match="chip is gone"):
        pwm.off()
    monkeypatch.undo()


def test_too_fast_is_refused_in_the_settings():
    with pytest.raises(ValueError, match="at most pwm_hz 1000, not 20000"):
        LightSettings(pwm="software")
    assert LightSettings(pwm="software", pwm_hz=1000).pwm == "software"


def test_the_boards_lamp_takes_the_second_choice_only_when_told(factory, bench, tmp_path, monkeypatch):
    monkeypatch.setattr(program, "board_factory", lambda: factory)
    options = program._parser().parse_args(["--run-dir", str(tmp_path), "--pwm-class", str(tmp_path / "none")])
    with pytest.raises(Refused, match="no PWM chip"):
        program.board_lamp(options, LightSettings())
    lamp = program.board_lamp(options, LightSettings(pwm="software", pwm_hz=1000))
    assert lamp.light(0.29, 15_000.0).level == 0.29
    assert factory.pin(12).state == 0.29
    lamp.close()
    assert factory.pin(12).state == 0


def test_dark_forces_the_pulse_pin_low_too(factory, tmp_path, monkeypatch):
    monkeypatch.setattr(program, "board_factory", lambda: factory)
    override = tmp_path / "settings.toml"
    override.write_text('[light]\npwm = "software"\npwm_hz = 500\n')
    pin = factory.pin(12)
    pin.function, pin.state = "output", 1
    assert program.main(["--run-dir", str(tmp_path), "--settings-override", str(override), "--dark"]) == 0
    assert pin.state == 0


def test_the_guard_tells_the_level_really_in_force_and_its_ripple(make_bench, manual_clock, no_sensors, factory):
    settings = replace(no_sensors, pwm="software", pwm_hz=1000)
    bench = make_bench(manual_clock, settings)
    pwm = SoftwarePwm(12, factory)
    lamp = Lamp(pwm, bench.enable, bench.heartbeat, settings.pwm_hz)
    bench.guard._lamp = lamp
    bench.guard.imager_came()
    bench.guard.take(Want(True, 0.295))
    for number in range(SAME_EXPOSURES):
        manual_clock.advance_ms(1)
        status = bench.guard.take(Lease(number, manual_clock.now_ns(), 33_333.0, 15_000.0))
    assert (status.level, status.pwm, status.wanted_level) == (0.29, "software", 0.295)
    assert status.pulse_hz == pytest.approx(1000)
    assert status.ripple == pytest.approx(1 / 15, rel=1e-6)
    dark = bench.guard.take(Want(False, 0.295))
    assert (dark.level, dark.pulse_hz, dark.ripple) == (0.0, 0.0, 0.0)
    pwm.close()


def test_the_simulated_ring_pulses_in_whole_percents_too(tmp_path):
    options = program._parser().parse_args(["--run-dir", str(tmp_path), "--simulated"])
    lamp = program.simulated_lamp(options, LightSettings(pwm="software", pwm_hz=1000))
    seen = SimulatedRingReader(tmp_path / program.RING_NAME)
    assert lamp.light(0.587, 15_000.0).level == 0.58
    lamp.beat()
    assert seen.record().level_at(SystemClock().now_ns()) == 0.58
    lamp.close()
    assert seen.record().changes[-1].level == 0.0
    seen.close()
