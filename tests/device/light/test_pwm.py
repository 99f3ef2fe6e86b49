"""SysfsPwm against the fake kernel."""

import errno

import pytest

from device.light.lamp import Lamp, LampFailed
from device.light.pwm import Pulses, PwmFailed, SysfsPwm, found_chip, refuse_shared_pins
from shared.errors import Refused


def opened(kernel, channel=0, **more):
    return SysfsPwm(kernel.chip, channel, write=kernel.write, writable=kernel.writable, **more)


class Waits:
    """A clock that moves only while one sleeps."""

    def __init__(self):
        self.ns = 0

    def sleep(self, seconds):
        self.ns += round(seconds * 1e9)

    def now_ns(self):
        return self.ns


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


def test_it_waits_until_an_exported_channel_is_handed_over(fake_kernel):
    kernel, waits = fake_kernel(), Waits()
    kernel.hands_over_after = 20
    pwm = opened(kernel, sleep=waits.sleep, now_ns=waits.now_ns)
    assert 0 < waits.ns < 1e9
    pwm.set(50_000, 20_000)
    assert kernel.pulsing(0)


def test_a_channel_that_is_never_handed_over_is_refused_with_the_remedy(fake_kernel):
    kernel, waits = fake_kernel(), Waits()
    kernel.hands_over_after = 10**9
    with pytest.raises(PwmFailed, match="period may not be written; is pwm-permissions installed"):
        opened(kernel, sleep=waits.sleep, now_ns=waits.now_ns)
    assert kernel.writes == [("export", "0")]


def test_a_channel_that_never_appears_is_said(fake_kernel):
    kernel, waits = fake_kernel(), Waits()
    with pytest.raises(PwmFailed, match="did not appear"):
        SysfsPwm(kernel.chip, 0, write=lambda _path, _text: None, sleep=waits.sleep, now_ns=waits.now_ns)


@pytest.mark.parametrize(
    ("error", "words"),
    [(errno.EACCES, "pwm-permissions"), (errno.EBUSY, "another driver"), (errno.EIO, "output error")],
)
def test_what_the_kernel_refuses_is_told_with_a_remedy(fake_kernel, error, words):
    kernel = fake_kernel()
    kernel.broken, kernel.error = True, error
    with pytest.raises(PwmFailed, match=f"export.*{words}"):
        opened(kernel)


def test_an_inverted_channel_is_put_right_before_anything_is_lit(fake_kernel):
    kernel = fake_kernel()
    kernel.polarity = "inversed"
    pwm = opened(kernel)
    assert ("polarity", "normal") in kernel.writes
    pwm.set(50_000, 20_000)
    assert (kernel.chip / "pwm0" / "polarity").read_text() == "normal\n"


def test_what_a_driver_makes_of_it_is_what_counts(fake_kernel):
    kernel = fake_kernel()
    kernel.step_ns = 1000
    given = opened(kernel, clock_error=1e-4).set(49_900, 10_300)
    assert given == Pulses(50_000, 10_000, 1e-4)
    assert (given.level, given.hz) == (0.2, 20_000)


def test_a_driver_that_gives_more_than_asked_is_not_trusted(fake_kernel):
    kernel = fake_kernel()
    pwm = opened(kernel)
    kernel.step_ns = 20_000
    with pytest.raises(PwmFailed, match=r"gives a duty of 0\.500, asked for was 0\.220"):
        pwm.set(50_000, 11_000)


def test_a_file_that_holds_no_number_is_an_error_not_a_crash(fake_kernel):
    kernel = fake_kernel()
    pwm = opened(kernel)
    (kernel.chip / "pwm0" / "period").write_text("lots\n")
    with pytest.raises(PwmFailed, match="'lots' is not a whole number"):
        pwm.set(50_000, 20_000)


def test_ripple_of_pulses_has_the_clocks_and_the_exposures_rounding_in_it():
    # worked: e / d with e = 100 ppm + 0.5 us / 5 ms = 2e-4, d = .2
    assert Pulses(50_000, 10_000, 1e-4).ripple(5000) == pytest.approx(2e-4 / 0.2)
    assert Pulses(50_000, 50_000, 1e-4).ripple(5000) == 0.0
    assert Pulses(50_000, 50_000).hz == 0.0
