"""SysfsPwm against the fake kernel, and the locked period against the ripple formula (reference-values section 9)."""

import numpy as np
import pytest

from device.light.lamp import Lamp, LampFailed
from device.light.pwm import PwmFailed, SysfsPwm, found_chip, locked_period_ns, refuse_shared_pins
from shared.errors import Refused


def opened(kernel, channel=0):
    return SysfsPwm(kernel.chip, channel, write=kernel.write)


def test_order_of_writes_is_period_duty_enable_on_a_fresh_channel(fake_kernel):
    kernel = fake_kernel()
    pwm = opened(kernel)
    pwm.set(50_000, 20_000)
    assert kernel.writes == [("export", "0"), ("period", "50000"), ("duty_cycle", "20000"), ("enable", "1")]
    assert kernel.pulsing(0)


def test_a_shorter_period_goes_through_duty_0_and_a_new_level_is_one_write(fake_kernel):
    kernel = fake_kernel()
    pwm = opened(kernel)
    pwm.set(50_000, 50_000)
    kernel.writes.clear()
    pwm.set(10_000, 5_000)  # the kernel refuses a period below the duty in force
    assert kernel.writes == [("duty_cycle", "0"), ("period", "10000"), ("duty_cycle", "5000")]
    kernel.writes.clear()
    pwm.set(10_000, 7_000)
    assert kernel.writes == [("duty_cycle", "7000")]


def test_off_and_close(fake_kernel):
    kernel = fake_kernel()
    pwm = opened(kernel)
    pwm.set(50_000, 20_000)
    kernel.writes.clear()
    pwm.off()
    assert kernel.writes == [("duty_cycle", "0"), ("enable", "0")]
    assert not kernel.pulsing(0)
    pwm.set(50_000, 20_000)
    pwm.close()
    pwm.close()
    assert kernel.writes[-3:] == [("duty_cycle", "0"), ("enable", "0"), ("unexport", "0")]


def test_a_channel_left_running_by_a_dead_process_is_switched_off_at_once(fake_kernel):
    kernel = fake_kernel()
    opened(kernel).set(50_000, 20_000)
    opened(kernel)
    assert not kernel.pulsing(0)


def test_each_write_that_fails_is_reported_and_the_lamp_is_dark(fake_kernel, bench):
    kernel = fake_kernel()
    lamp = Lamp(opened(kernel), bench.enable, bench.heartbeat, 20_000.0)
    first = len(kernel.writes)

    def use():
        lamp.light(0.5, 15_000.0)
        lamp.light(0.8, 15_000.0)
        lamp.light(0.8, 4_992.04)
        lamp.dark()

    use()
    steps = len(kernel.writes) - first
    assert steps == 9
    for failing in range(steps):
        kernel.fail_at = {len(kernel.writes) + failing}
        with pytest.raises(LampFailed, match="Input/output error"):
            use()
        assert not bench.enable.high, f"enable stayed high after write {failing} failed"
        kernel.fail_at = set()
        lamp.dark()
        assert not kernel.pulsing(0)


def test_off_tries_both_files(fake_kernel):
    kernel = fake_kernel()
    pwm = opened(kernel)
    pwm.set(50_000, 20_000)
    kernel.fail_at = {len(kernel.writes)}
    with pytest.raises(PwmFailed, match="duty_cycle"):
        pwm.off()
    assert kernel.writes[-1] == ("enable", "0")
    assert not kernel.pulsing(0)


@pytest.mark.parametrize(
    ("folder", "number", "channels"), [("fe20c000.pwm", 0, 2), ("1f00098000.pwm", 2, 4), ("1f00098000.pwm", 0, 4)]
)
def test_the_boards_chip_is_found_by_its_device_and_not_by_its_number(fake_kernel, folder, number, channels):
    fake_kernel("1f0009c000.pwm", 7, 4)  # another PWM chip of the same board, for its fan
    kernel = fake_kernel(folder, number, channels)
    assert found_chip(kernel.chip.parent) == kernel.chip
    assert found_chip(kernel.chip.parent, "1f0009c000.pwm").name == "pwmchip7"


def test_no_such_chip_is_refused_with_what_is_there(fake_kernel, tmp_path):
    kernel = fake_kernel("fan.pwm", 3)
    with pytest.raises(Refused, match=r"pwmchip3 -> fan\.pwm"):
        found_chip(kernel.chip.parent)
    with pytest.raises(Refused, match="present: none"):
        found_chip(tmp_path / "nothing")


def test_a_channel_the_chip_lacks_is_refused(fake_kernel):
    with pytest.raises(Refused, match="2 channels"):
        opened(fake_kernel(), 2)


@pytest.mark.parametrize(
    ("folder", "channel", "pin"), [("fe20c000.pwm", 0, 12), ("fe20c000.pwm", 1, 19), ("1f00098000.pwm", 3, 19)]
)
def test_a_pin_of_the_pwm_cannot_be_gpiozeros(fake_kernel, folder, channel, pin):
    kernel = fake_kernel(folder, 0, 4)
    refuse_shared_pins(kernel.chip, channel, {"enable_pin": 17, "heartbeat_pin": 27})
    with pytest.raises(Refused, match=f"heartbeat_pin.*{pin}"):
        refuse_shared_pins(kernel.chip, channel, {"enable_pin": 17, "heartbeat_pin": pin})


@pytest.mark.parametrize(("period", "duty"), [(0, 0), (100, 101), (100, -1)])
def test_impossible_duties_never_reach_the_kernel(fake_kernel, period, duty):
    kernel = fake_kernel()
    pwm = opened(kernel)
    with pytest.raises(PwmFailed, match="does not fit"):
        pwm.set(period, duty)
    assert kernel.writes == [("export", "0")]


def ripple(exposure_ns, period_ns, duty):
    """Peak to peak on-time of an exposure over all phases, relative to its mean, counted from the square wave itself."""
    starts = np.linspace(0, period_ns, 20_001)

    def on_time(until):
        whole, rest = np.divmod(until, period_ns)
        return whole * duty * period_ns + np.minimum(rest, duty * period_ns)

    on = on_time(starts + exposure_ns) - on_time(starts)
    return np.ptp(on) / (duty * exposure_ns)


def test_the_counting_agrees_with_the_tabled_ripple():
    # reference-values section 9, P = 1 ms: T = 10.3 ms, d = .5 -> .058252; T = 10.25, d = .2 -> .097561; T = 10 -> 0
    assert ripple(10.3e6, 1e6, 0.5) == pytest.approx(0.058252, abs=2e-6)
    assert ripple(10.25e6, 1e6, 0.2) == pytest.approx(0.097561, abs=2e-6)
    assert ripple(10e6, 1e6, 0.5) == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("exposure_us", [4_992.04, 15_000.0, 8_333.3, 33_333.0, 210.0])
@pytest.mark.parametrize("duty", [0.2, 0.5, 0.8])
def test_a_locked_period_leaves_next_to_no_ripple(exposure_us, duty):
    locked = locked_period_ns(exposure_us, 20_000.0)
    assert 0.85 < locked / 50_000 < 1.15
    assert ripple(exposure_us * 1000, locked, duty) < 1e-4
    # and an exposure the plain period does not fit shows it
    assert ripple(4_992_040, 50_000, 0.5) > 1e-3


def test_an_exposure_below_half_a_period_gets_the_plain_period():
    assert locked_period_ns(20.0, 20_000.0) == 50_000
