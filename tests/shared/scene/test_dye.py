import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq, minimize_scalar
from scipy.stats import gamma

from shared.scene.description import Node, Vessel
from shared.scene.dye import gamma_variate, node_level, tissue_curve, vessel_profile

ALPHA, BETA = 3.0, 1.5


def curve_at(time_s: float, **changes: float) -> float:
    values = {"alpha": ALPHA, "beta": BETA, "half_life_s": 180.0, "recirculation": 0.6} | changes
    return float(tissue_curve(np.array([time_s]), **values)[0])


def test_first_pass_is_the_gamma_density_of_scipy_up_to_scale() -> None:
    times = np.linspace(0, 40, 401)
    density = gamma.pdf(times, ALPHA + 1, scale=BETA)
    np.testing.assert_allclose(gamma_variate(times, ALPHA, BETA), density / density.max(), rtol=0, atol=1e-4)


def test_rise_matches_the_worked_case() -> None:
    """Closed forms of the gamma variate t0=5, alpha=3, beta=1.5 (Thompson 1964; Madsen 1992): peak 4.5 s after arrival, half rise
    at 2.091205406, 10 % at 0.948740762, 90 % at 3.410319792, steepest 0.388623819 of the peak a second at 1.901923789."""
    assert brentq(lambda t: curve_at(t) - 0.5, 0.1, 4.5) == pytest.approx(2.091205406, abs=1e-8)
    assert brentq(lambda t: curve_at(t) - 0.1, 0.1, 4.5) == pytest.approx(0.948740762, abs=1e-8)
    assert brentq(lambda t: curve_at(t) - 0.9, 0.1, 4.5) == pytest.approx(3.410319792, abs=1e-8)
    slope = (curve_at(1.901923789 + 1e-4) - curve_at(1.901923789 - 1e-4)) / 2e-4
    assert slope == pytest.approx(0.388623819, rel=1e-6)
    top = minimize_scalar(lambda t: -curve_at(t), bounds=(2, 7), method="bounded", options={"xatol": 1e-9})
    assert top.x == pytest.approx(4.5, abs=1e-4)
    assert -top.fun == pytest.approx(1.0, abs=1e-12)


def test_washout_follows_the_first_order_table() -> None:
    """f(t) = 2^(-t/T): residual 31.498 % after 5 min and 9.9213 % after 10 min for T = 3 min (first-order elimination)."""
    start = curve_at(300.0)
    assert curve_at(600.0) / start == pytest.approx(0.31498, abs=1e-5)
    assert curve_at(900.0) / start == pytest.approx(0.099213, abs=1e-6)


@given(st.floats(0.5, 20), st.floats(0.1, 60), st.floats(5, 3600), st.floats(0, 0.9), st.floats(0.001, 50))
def test_the_peak_is_exactly_one_and_only_once(
    alpha: float, beta: float, half_life_s: float, recirculation: float, peaks: float
) -> None:
    peak_s = alpha * beta
    assert tissue_curve(np.array([peak_s]), alpha, beta, half_life_s, recirculation)[0] == pytest.approx(1.0, abs=1e-12)
    elsewhere = tissue_curve(np.array([peak_s * peaks]), alpha, beta, half_life_s, recirculation)[0]
    assert 0.0 <= elsewhere <= 1.0 + 1e-12
    assert tissue_curve(np.array([-1.0, 0.0]), alpha, beta, half_life_s, recirculation).tolist() == [0.0, 0.0]


def test_the_join_is_smooth() -> None:
    times = np.linspace(4.4, 4.6, 2001)
    bend = np.diff(tissue_curve(times, ALPHA, BETA, 180.0, 0.6), 2) / 1e-8
    assert np.abs(np.diff(bend)).max() < 0.01


def test_packets_run_at_the_stated_speed_and_rate() -> None:
    """11 mm/s crosses 204.28 mm in 18.571 s; 0.9 a minute is one every 66.67 s (arm lymph, Lymphat Res Biol 2020;18:226)."""
    vessel = Vessel(((0, 0), (204.28, 0)), packet_speed_mm_s=11.0, packets_per_min=0.9, resting_share=0.0, level=0.5)
    along = np.linspace(0, 204.28, 2043)
    assert along[np.argmax(vessel_profile(vessel, along, 10.0))] == pytest.approx(110.0, abs=0.1)
    assert along[np.argmax(vessel_profile(vessel, along, 18.571))] == pytest.approx(204.28, abs=0.1)
    assert vessel_profile(vessel, along, 45.0).max() < 1e-6
    end = [float(vessel_profile(vessel, along, t)[-1]) for t in np.arange(0, 200, 0.05)]
    tops = [0.05 * i for i in range(1, len(end) - 1) if end[i - 1] < end[i] >= end[i + 1] and end[i] > 0.4]
    assert np.diff(tops) == pytest.approx([66.667, 66.667], abs=0.051)
    assert max(end) == pytest.approx(0.5, abs=1e-3)


def test_a_node_fills_and_stays() -> None:
    node = Node((1, 1), level=0.4, arrival_s=10.0, filling_s=20.0)
    assert [node_level(node, t) for t in (-5, 10, 20, 30, 500)] == pytest.approx([0, 0, 0.2, 0.4, 0.4])
