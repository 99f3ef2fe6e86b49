"""The account of continuous light, and what the guard makes of it."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from device.light.on_time import OnTime
from shared.protocol.light import Lease, Look, Rearm, Want
from shared.settings import LightSettings

S = 1_000_000_000
SETTINGS = replace(LightSettings(), longest_lit_s=600.0, rest_s=60.0)


def account(*spans):
    """After spans of (seconds, lit)."""
    on_time, at_s = OnTime(SETTINGS, 0), 0.0
    for seconds, lit in spans:
        at_s += seconds
        on_time.pass_to(round(at_s * S), lit)
    return on_time


@pytest.mark.parametrize(
    ("spans", "left_s", "rest_s"),
    [
        ([], 600, 0),
        ([(599, True)], 1, 0),
        ([(600, True)], 0, 60),
        ([(900, True)], 0, 60),  # a guard that got no turn
        ([(600, True), (59, False)], 0, 1),
        ([(600, True), (60, False)], 600, 0),
        ([(300, True), (15, False)], 450, 0),  # a quarter of the rest gives back a quarter of the light
        ([(599, True), (0.1, False)], 2, 0),
        ([(600, True), (30, False), (1, True)], 0, 31 - 0.9),  # lit although it should rest: rests the longer
    ],
)
def test_light_is_used_up_and_given_back(spans, left_s, rest_s):
    on_time = account(*spans)
    assert on_time.left_ns == pytest.approx(left_s * S, abs=2e9 if rest_s else 2)
    assert on_time.rest_left_ns == pytest.approx(rest_s * S, abs=1e9)


def test_a_clock_that_steps_back_gives_nothing_back():
    on_time = account((600, True), (30, False))
    rest_ns = on_time.rest_left_ns
    on_time.pass_to(0, lit=False)
    assert on_time.rest_left_ns == rest_ns
    on_time.pass_to(30 * S, lit=False)
    assert on_time.rest_left_ns == 0


@given(st.lists(st.tuples(st.floats(0.001, 700), st.booleans()), max_size=60))
def test_no_pattern_of_pauses_gives_more_light_than_the_limit_and_what_the_pauses_earned(spans):
    on_time, at_s, lit_s, dark_s = OnTime(SETTINGS, 0), 0.0, 0.0, 0.0
    for seconds, wanted in spans:
        lit = wanted and on_time.left_ns > 0
        seconds = min(seconds, on_time.left_ns / S) if lit else seconds
        at_s += seconds
        on_time.pass_to(round(at_s * S), lit)
        lit_s, dark_s = (lit_s + seconds, dark_s) if lit else (lit_s, dark_s + seconds)
        assert lit_s <= 600 + 10 * dark_s + 1e-3
        assert 0 <= on_time.left_ns <= 600 * S


def test_the_guard_trips_at_the_limit_says_so_and_lights_only_after_the_rest(make_bench, manual_clock, no_sensors):
    bench = make_bench(manual_clock, replace(no_sensors, longest_lit_s=2.013, rest_s=1.0))
    bench.guard.imager_came()
    number = 0

    def frames(milliseconds, wanted):
        nonlocal number
        for _ in range(milliseconds // 10):
            number += 1
            manual_clock.advance_ms(10)
            bench.guard.take(Lease(number, manual_clock.now_ns(), 10_000.0, 5_000.0))
            bench.guard.take(Want(wanted, 0.5))

    frames(40, wanted=True)
    began_ns = bench.guard.light.since_ns
    assert bench.guard.light.state == "lit"
    frames(1_960, wanted=True)
    while bench.guard.light.state == "lit":
        manual_clock.time_ns = bench.guard.due_ns()
        bench.guard.turn()
    assert manual_clock.now_ns() == began_ns + 2_013_000_000
    assert bench.guard.light.trip_reason == (
        "the ring was lit for 2.013 s without a pause, the longest allowed: let it rest 1 s more"
    )
    bench.guard.take(Rearm("release"))
    bench.guard.take(Rearm("press"))
    frames(900, wanted=True)
    assert not bench.shining
    assert "let it rest 1 s more" in bench.guard.take(Look()).reason
    frames(200, wanted=True)
    assert bench.shining
