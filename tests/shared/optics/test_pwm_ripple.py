"""Ripple of pulsed light: the closed form against pulses counted edge by edge, against the wave the simulated camera draws with,
and against the frames it really draws."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from shared.optics.pwm_ripple import locked_period_ns, ripple, worst_ripple
from shared.scene.description import Scene
from shared.scene.pwm import on_share
from shared.scene.renderer import SceneRenderer

CASES = [
    (1, 10, 0.5, 0.0), (1, 10.1, 0.5, 0.019802), (1, 10.3, 0.5, 0.058252), (1, 10.5, 0.5, 0.095238),
    (1, 10.5, 0.2, 0.095238), (1, 10.25, 0.2, 0.097561), (1, 1.5, 0.5, 0.666667), (10, 16.7, 0.3, 0.598802),
    (5, 33.333, 0.25, 0.150002), (1, 0.4, 0.3, 2.5),
]  # fmt: skip
"""Period and window in ms, duty, ripple: own derivation, worked beforehand and confirmed by a separate simulation to 1e-5."""

duties = st.floats(0.01, 1.0)
windows_us = st.floats(20, 1e6)


def counted_on_ns(start_ns: float, window_ns: float, period_ns: float, duty: float) -> float:
    """On-time of a window, pulse by pulse: each pulse from its rising to its falling edge, as far as the window shows it."""
    total, pulse = 0.0, int(start_ns // period_ns)
    while pulse * period_ns < start_ns + window_ns:
        rises, falls = pulse * period_ns, (pulse + duty) * period_ns
        total += max(0.0, min(falls, start_ns + window_ns) - max(rises, start_ns))
        pulse += 1
    return total


def counted_ripple(window_ns: float, period_ns: float, duty: float, phases: int = 2000) -> float:
    on = [counted_on_ns(phase * period_ns / phases, window_ns, period_ns, duty) for phase in range(phases)]
    return (max(on) - min(on)) / (duty * window_ns)


@pytest.mark.parametrize(("period_ms", "window_ms", "duty", "expected"), CASES)
def test_the_worked_cases_by_formula_by_counting_and_by_the_simulated_wave(period_ms, window_ms, duty, expected):
    assert ripple(window_ms * 1e6, period_ms * 1e6, duty) == pytest.approx(expected, abs=1e-6)
    assert counted_ripple(window_ms * 1e6, period_ms * 1e6, duty) == pytest.approx(expected, abs=2e-3 * expected + 1e-9)
    phases_s = np.linspace(0, period_ms / 1000, 20_001)
    share = on_share(phases_s, window_ms / 1000, duty, 1000 / period_ms)
    assert np.ptp(share) / duty == pytest.approx(expected, abs=2e-5)
    assert share.mean() == pytest.approx(duty, rel=2e-3)


@given(windows_us, st.floats(50, 100_000), duties)
def test_no_phase_shows_more_than_the_ripple(window_us, pwm_hz, duty):
    phases_s = np.linspace(0, 1 / pwm_hz, 257)
    seen = np.ptp(on_share(phases_s, window_us / 1e6, duty, pwm_hz)) / duty
    assert seen <= ripple(window_us * 1000, 1e9 / pwm_hz, duty) + 1e-6


@pytest.mark.parametrize("duty", [0.0, 1.0])
def test_light_that_is_off_or_never_pulses_has_none(duty):
    assert ripple(10.5, 1.0, duty) == worst_ripple(10.5, 1.0, duty, 1.0) == 0.0


@given(windows_us, st.floats(1_000, 1e7), duties, st.floats(0, 1))
def test_the_worst_is_as_bad_as_any_period_within_the_error_and_no_worse_than_one_of_them(
    window_us, period_ns, duty, error
):
    assume(window_us * 1000 / period_ns < 1e5)
    window_ns = window_us * 1000
    worst = worst_ripple(window_ns, period_ns, duty, error)
    periods = window_ns / period_ns * (1 + error * np.linspace(-1, 1, 2001))
    part = periods - np.floor(periods)
    each = np.minimum(np.minimum(duty, 1 - duty), np.minimum(part, 1 - part)) / (duty * window_ns / period_ns)
    assert each.max() <= worst * (1 + 1e-9) + 1e-12
    spacing = window_ns / period_ns * error / 1000
    assert worst <= each.max() + (spacing + 1e-9) / (duty * window_ns / period_ns)


def test_of_unknown_pulses_the_worst_is_the_period_over_the_window():
    # worked: r_max = P min(d, 1-d) / (d T), which for d <= .5 is P / T; 1 kHz in 15 ms
    assert worst_ripple(15e6, 1e6, 0.2, 1.0) == pytest.approx(1 / 15)
    assert worst_ripple(15e6, 1e6, 0.8, 1.0) == pytest.approx(0.25 / 15)


def test_two_clocks_leave_a_locked_period_their_error_over_the_duty_however_fast_it_is():
    # worked: f = k e for clocks that differ by e, so P k e / (d T) = e / d
    for periods in (10, 300, 1500):
        assert worst_ripple(15e6, 15e6 / periods, 0.2, 1e-4) == pytest.approx(1e-4 / 0.2)
    counted = counted_ripple(15e6 * (1 + 1e-4), 50_000, 0.2, phases=4000)
    assert counted == pytest.approx(1e-4 / 0.2, rel=0.02)


@given(st.floats(200, 1e6), st.floats(200, 50_000), st.sampled_from([1, 10, 20, 100]), duties)
def test_a_locked_period_is_whole_steps_near_the_wanted_one_and_leaves_what_rounding_leaves(
    window_us, hz, step_ns, duty
):
    window_ns = window_us * 1000
    assume(window_ns * hz >= 1.5e9)
    period_ns = locked_period_ns(window_ns, hz, step_ns)
    assert period_ns % step_ns == 0
    assert 0.6 < period_ns * hz / 1e9 < 1.6
    count = round(window_ns / period_ns)
    assert abs(window_ns - count * period_ns) <= count * step_ns / 2 + 1e-3
    assert ripple(window_ns, period_ns, duty) <= count * step_ns / 2 / (duty * window_ns) + 1e-6


@pytest.mark.parametrize("exposure_us", [4_992.04, 15_000.0, 8_333.3, 33_333.0, 210.0, 14_829.26])
@pytest.mark.parametrize("step_ns", [1, 10, 20])
def test_real_exposures_are_locked_to_better_than_a_hundredth_of_a_percent(exposure_us, step_ns):
    period_ns = locked_period_ns(exposure_us * 1000, 20_000, step_ns)
    assert 0.85 < period_ns / 50_000 < 1.15
    assert counted_ripple(exposure_us * 1000, period_ns, 0.2, phases=500) < 1e-4
    # while the plain period shows in an exposure it does not fit
    assert ripple(4_992_040, 50_000, 0.2) > 1e-3


def test_an_exposure_below_half_a_period_gets_the_plain_period():
    assert locked_period_ns(20_000, 20_000, 20) == 50_000
    assert locked_period_ns(5, 20_000, 20) == 50_000


FLAT = {
    "camera": {"width": 256, "height": 256, "fps": 30.0, "exposure_us": 10_300.0, "bit_depth": 12,
               "noise": {"prnu_percent": 0.0, "dsnu_counts": 0.0, "hot_pixels": 0, "dark_current_electrons_per_s": 0.0}},
    "optics": {"vignetting": 0.0, "leakage": 1.0, "ambient": 0.0},
    "surface": {"texture": 0.0},
    "light": {"fall_off": 0.0, "pwm_hz": 1000.0},
}  # fmt: skip


def rows_of(renderer: SceneRenderer, time_s: float, exposure_us: float, duty: float) -> np.ndarray:
    """Mean counts above black of each row of a frame as drawn, (height,)."""
    camera = renderer.scene.camera
    pixels = np.empty((camera.height, camera.width), np.uint16)
    renderer.frame_into(pixels, round(time_s * 1e6), time_s, exposure_us, 1.0, duty)
    return pixels.mean(axis=1) - camera.black_level


@pytest.mark.parametrize(("exposure_ms", "expected"), [(10.3, 0.058252), (10.5, 0.095238), (10.0, 0.0)])
def test_frames_of_a_global_shutter_flicker_by_the_ripple(exposure_ms, expected):
    renderer = SceneRenderer(Scene.from_values(FLAT, "test"))
    times_s = 0.1 + np.arange(40) * 1e-3 / 40  # exposures that begin all over one period of 1 ms
    means = [rows_of(renderer, time_s, exposure_ms * 1000, 0.5).mean() for time_s in times_s]
    assert np.ptp(means) / np.mean(means) == pytest.approx(expected, abs=0.0025)


@pytest.mark.parametrize(("exposure_ms", "expected"), [(10.3, 0.058252), (10.5, 0.095238), (10.0, 0.0)])
def test_rows_of_a_rolling_shutter_are_banded_by_the_ripple(exposure_ms, expected):
    camera = {**FLAT["camera"], "shutter": "rolling", "row_time_us": 25.0}
    renderer = SceneRenderer(Scene.from_values({**FLAT, "camera": camera}, "test"))
    rows = np.mean([rows_of(renderer, 0.1 + number * 1e-3, exposure_ms * 1000, 0.5) for number in range(8)], axis=0)
    assert np.ptp(rows) / rows.mean() == pytest.approx(expected, abs=0.0035)
    if expected:
        bands = np.abs(np.fft.rfft(rows - rows.mean()))
        assert np.argmax(bands) == pytest.approx(256 * 25e-6 / 1e-3, abs=1), "a band each period: 40 rows of 25 us"
