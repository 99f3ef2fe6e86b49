"""Figures of inflow curves against closed forms and published curves."""

import csv
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shared.calibration import Calibration
from shared.frame import CameraDescription, Frame
from shared.inflow.curves import CurveGatherer, RegionCurve
from shared.inflow.parameters import InflowParameters, inflow_parameters, read_curve
from shared.inflow.smoothing import LocalCubic
from shared.region import Region

OSIPI = Path(__file__).parents[2] / "reference_data" / "osipi"
RATE_HZ = 30.0


def curve(times_s: np.ndarray, clean: np.ndarray, noise: float, name: str = "tip", seed: int = 0) -> RegionCurve:
    u = np.full(times_s.size, noise)
    noisy = clean + u * np.random.default_rng(seed).standard_normal(times_s.size)
    return RegionCurve(Region(name, "rectangle", (1, 1, 5, 5)), times_s, noisy, u, np.zeros(times_s.size, bool))


def thompson(t: np.ndarray, a: float = 2.0, t0: float = 5.0, alpha: float = 3.0, beta: float = 1.5) -> np.ndarray:
    """C = A (t - t0)^a exp(-(t - t0) / b): Thompson et al. 1964, Circ Res 14:502."""
    x = np.maximum(t - t0, 0.0)
    return a * x**alpha * np.exp(-x / beta)


def read(
    clean: Callable[[np.ndarray], np.ndarray], noise: float, seconds: float = 40.0, seed: int = 0
) -> InflowParameters:
    t = np.arange(0, seconds, 1 / RATE_HZ)
    reference = read_curve(curve(t, clean(t) + 0.3, noise, "base", seed + 1000), None)
    return inflow_parameters(read_curve(curve(t, 0.5 * clean(t) + 0.1, noise, "tip", seed), None), reference, 0.0)


# Closed form of A=2, t0=5, a=3, b=1.5 (Thompson 1964; level crossings by Lambert's W, checked with scipy): tmax 9.5, half rise
# 7.091205406, steepest rise 0.388623819 of the peak a second.
CLOSED_FORM = {
    "peak_relative_percent": 50.0,
    "relative_percent_at_reference_peak": 50.0,
    "arrival_s": 5.0,
    "time_to_peak_s": 4.5,
    "half_rise_s": 2.091205406,
    "ingress_slope_percent_per_s": 0.5 * 38.8623819,
}


@pytest.mark.parametrize(("noise", "tolerance"), [(1e-4, 0.004), (0.02, 0.01), (0.2, 0.06)])
def test_a_gamma_variate_with_known_answers(noise: float, tolerance: float) -> None:
    """Within 1 % of the closed form at a noise of 0.2 % of the peak a frame, 6 % at 2 % of it."""
    figures = read(thompson, noise)
    for name, truth in CLOSED_FORM.items():
        estimate = getattr(figures, name)
        assert estimate.value == pytest.approx(truth, rel=tolerance), name
    assert figures.signal_to_noise == pytest.approx(0.5 * 9.073693210043 / noise, rel=0.05)


def test_uncertainties_cover() -> None:
    """Of 20 noisy runs, about 68 % lie within one u and 95 % within two (JCGM 100:2008, table G.1, many degrees of freedom)."""
    within = {name: [0, 0] for name in CLOSED_FORM}
    runs = 20
    for seed in range(runs):
        figures = read(thompson, 0.1, seconds=25.0, seed=seed)
        for name, truth in CLOSED_FORM.items():
            estimate = getattr(figures, name)
            for k in (1, 2):
                within[name][k - 1] += abs(estimate.value - truth) <= k * estimate.u
    for name, (one, two) in within.items():
        assert two >= 0.72 * runs, (name, one, two)
        assert 0.32 * runs <= one <= 0.96 * runs, (name, one, two)


def test_what_was_there_before_the_dye_is_taken_off() -> None:
    """Percent with offset: (60-10)/(210-10) = 25.0 %, and 28.57 % if the baseline is forgotten (worked example)."""
    t = np.arange(0, 40, 1 / RATE_HZ)
    shape = thompson(t) / 9.073693210043
    reference = read_curve(curve(t, 10 + 200 * shape, 0.01, "base"), None)
    figures = inflow_parameters(read_curve(curve(t, 10 + 50 * shape, 0.01), None), reference, 0.0)
    assert figures.peak_relative_percent.value == pytest.approx(25.0, abs=0.05)


def osipi(file: str, label: str) -> tuple[np.ndarray, np.ndarray]:
    with (OSIPI / file).open() as lines:
        rows = [(float(row["time"]) * 60, float(row["Cb"])) for row in csv.DictReader(lines) if row["label"] == label]
    times, values = np.array(rows).T
    return times, values


@pytest.mark.parametrize("label", ["temp_res_0.5s", "temp_res_1.0s"])
def test_a_published_bolus(label: str) -> None:
    """Population curve of Parker 2006, Magn Reson Med 56:993, as tabulated by OSIPI: peak 6.073208 mM at 10.354 s, steepest rise
    64.126 mM/min. It starts above zero and is nearly symmetric, so that a gamma variate does not describe it.
    """
    times, values = osipi("ParkerAIF_ref.csv", label)
    reading = read_curve(curve(times, values, 0.005), None)
    assert reading.peak[0] + reading.baseline[0] == pytest.approx(6.073208, rel=0.02)
    assert reading.peak_time_s[0] == pytest.approx(10.354, abs=0.5)
    assert reading.slope[0] == pytest.approx(64.126 / 60, rel=0.05)
    assert "arrival at 10 % of the rise" in reading.flags


@pytest.mark.parametrize("delay_s", [3.0, 7.5, 18.0, 31.0])
def test_known_delays_of_a_published_bolus(delay_s: float) -> None:
    """The same curve delayed (OSIPI); arrival moves by the delay within half a sample of 1.5 s, injection known or not."""
    first = read_curve(curve(*osipi("ParkerAIF_ref_with_delay.csv", "delay_1.5s"), 0.01), None)
    times, values = osipi("ParkerAIF_ref_with_delay.csv", f"delay_{delay_s}s")
    later = read_curve(curve(times, values, 0.01), None)
    assert later.peak_time_s[0] - first.peak_time_s[0] == pytest.approx(delay_s - 1.5, abs=0.75)
    assert later.half_s[0] - first.half_s[0] == pytest.approx(delay_s - 1.5, abs=0.75)


def test_a_washout_with_a_known_half_life() -> None:
    """A tail that halves every 3 minutes (first order, f = 2^(-t/T)) behind a slow rise."""
    t = np.arange(0, 240, 1 / RATE_HZ)
    rise = np.clip((t - 10) / 20, 0, 1)
    clean = np.where(t < 30, rise * rise * (3 - 2 * rise), np.exp2(-(t - 30) / 180))
    reading = read_curve(curve(t, 100 * clean + 5, 0.5), None)
    figures = inflow_parameters(reading, reading, 0.0)
    half_life = figures.washout_half_life_s
    assert half_life.value == pytest.approx(180.0, abs=4 * half_life.u)
    assert half_life.u < 10


def test_time_counts_from_the_injection() -> None:
    t = np.arange(0, 40, 1 / RATE_HZ)
    reading = read_curve(curve(t, thompson(t), 0.01), 2.0)
    figures = inflow_parameters(reading, reading, 2.0)
    assert figures.arrival_s.value == pytest.approx(3.0, abs=0.05)
    assert figures.time_to_peak_s.value == pytest.approx(4.5, abs=0.05)


def test_lost_frames_do_not_bend_the_figures() -> None:
    t = np.arange(0, 40, 1 / RATE_HZ)
    t = t[(t < 7) | (t > 8.2)]
    reading = read_curve(curve(t, thompson(t), 0.02), None)
    figures = inflow_parameters(reading, reading, 0.0)
    assert figures.arrival_s.value == pytest.approx(5.0, abs=0.1)
    assert figures.half_rise_s.value == pytest.approx(2.0912, abs=0.15)


@pytest.mark.parametrize("level", [0.0, 10.0])
def test_no_rise_is_said_and_not_guessed(level: float) -> None:
    t = np.arange(0, 40, 1 / RATE_HZ)
    reference = read_curve(curve(t, thompson(t), 0.02, "base"), None)
    figures = inflow_parameters(read_curve(curve(t, np.full(t.size, level), 0.1), None), reference, 0.0)
    assert "no rise" in figures.flags
    assert figures.arrival_s.value is None
    assert figures.peak_relative_percent.value is None
    assert inflow_parameters(reference, read_curve(curve(t, 0 * t, 0.1), None), 0.0).peak_relative_percent.value is None


def test_saturation_is_said_and_not_compared() -> None:
    t = np.arange(0, 40, 1 / RATE_HZ)
    good = curve(t, thompson(t), 0.02, "base")
    clipped = curve(t, np.minimum(thompson(t), 7.0), 0.02)
    clipped = RegionCurve(clipped.region, t, clipped.signal, clipped.signal_u, clipped.signal > 6.9)
    reference, reading = read_curve(good, None), read_curve(clipped, None)
    figures = inflow_parameters(reading, reference, 0.0)
    assert "saturated" in figures.flags
    assert figures.peak_relative_percent.value is None
    assert figures.time_to_peak_s.value is None
    against = inflow_parameters(reference, reading, 0.0)
    assert "reference saturated" in against.flags
    assert against.peak_relative_percent.value is None
    assert against.arrival_s.value == pytest.approx(5.0, abs=0.05)


def test_few_frames_are_too_few() -> None:
    t = np.arange(0, 0.3, 1 / RATE_HZ)
    reading = read_curve(curve(t, t, 0.01), None)
    assert "too few frames" in inflow_parameters(reading, reading, 0.0).flags


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.integers(20, 200),
    st.lists(st.floats(-5, 5), min_size=4, max_size=4),
    st.sets(st.integers(0, 199), max_size=15),
    st.floats(0.02, 2),
)
def test_a_cubic_passes_the_smoother_unchanged(
    points: int, coefficients: list[float], missing: set[int], step_s: float
) -> None:
    """Local cubic regression reproduces cubics, with their slope, at any weights."""
    x = np.linspace(-1, 1, points)
    weights = np.ones(points)
    weights[[gap for gap in missing if 0 < gap < points - 1]] = 0.0
    smoother = LocalCubic(step_s, weights, 22 * step_s)
    value, slope = smoother(np.polyval(coefficients, x))
    scale = step_s * (points - 1) / 2
    np.testing.assert_allclose(value, np.polyval(coefficients, x), atol=1e-5)
    np.testing.assert_allclose(slope * scale, np.polyval(np.polyder(coefficients), x), atol=1e-2)


def test_dimming_half_way_leaves_the_curve_where_it_was() -> None:
    """Signal is counts above dark over exposure, gain and light: changing all three moves nothing by more than 1 %."""
    camera = CameraDescription("test", 40, 30, black_level=20.0)
    gatherer = CurveGatherer(Calibration.assumed(camera), [Region("a", "rectangle", (5, 5, 20, 20))])
    rng = np.random.default_rng(5)
    for number, (exposure_us, gain, level) in enumerate(
        [(10_000.0, 1.0, 1.0), (8_000.0, 2.0, 0.5), (20_000.0, 1.0, 0.4)]
    ):
        counts = 0.04 * exposure_us * gain * level
        pixels = np.rint(20 + rng.poisson(10 / gain * counts, camera.shape) * gain / 10).astype(np.uint16)
        gatherer.add(Frame(pixels, number, 10**9 + number * 10**8, exposure_us, gain, level, True))
    gatherer.add(Frame(pixels, 3, 10**9 + 3 * 10**8, 10_000.0, 1.0, 0.0, False))
    made = gatherer.curves()["a"]
    np.testing.assert_allclose(made.signal, 40.0, rtol=0.01)
    np.testing.assert_allclose(made.times_s, [-0.005, 0.096, 0.19])
    assert (np.abs(made.signal - 40.0) < 4 * made.signal_u).all()
