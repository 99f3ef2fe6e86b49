from itertools import product

import pytest

from device.light.lamp import LampFailed


@pytest.mark.parametrize("broken", list(product((False, True), repeat=3)))
@pytest.mark.parametrize("act", ["dark", "close"])
def test_whatever_fails_every_other_line_still_goes_low(bench, broken, act):
    lines = (bench.enable, bench.pwm, bench.heartbeat)
    bench.lamp.light(0.5, 10_000.0)
    bench.lamp.beat()
    for line, is_broken in zip(lines, broken, strict=True):
        line.broken = is_broken
    if any(broken):
        with pytest.raises(LampFailed, match="broken"):
            getattr(bench.lamp, act)()
    else:
        getattr(bench.lamp, act)()
    assert [bench.enable.high, bench.pwm.duty_ns > 0, bench.heartbeat.high] == list(broken)


def test_enable_rises_last_and_falls_first(bench):
    bench.lamp.light(0.5, 10_000.0)
    bench.lamp.dark()
    acts = [act for act in bench.acts if act != ("enable", "off")]
    assert acts == [("pwm", "set"), ("enable", "on"), ("pwm", "off"), ("heartbeat", "off")]
    assert bench.acts.index(("enable", "off"), bench.acts.index(("enable", "on"))) < bench.acts.index(("pwm", "off"))


def test_a_lit_ring_is_dark_while_its_pulses_are_written(bench):
    bench.lamp.light(0.5, 10_000.0)
    bench.acts.clear()
    bench.lamp.light(0.8, 10_000.0)
    assert bench.acts == [("enable", "off"), ("pwm", "set"), ("enable", "on")]


@pytest.mark.parametrize("line", ["pwm", "enable"])
def test_a_light_that_fails_half_way_is_dark(bench, line):
    getattr(bench, line).broken = True
    with pytest.raises(LampFailed, match=f"{line}.* broken" if line == "enable" else "PWM is broken"):
        bench.lamp.light(0.5, 10_000.0)
    assert not bench.shining
    assert not bench.enable.high
