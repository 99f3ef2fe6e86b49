"""Local cubic regression against polynomials and numpy's own fit."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shared.inflow.smoothing import local_factors, smooth


@settings(max_examples=40, deadline=None)
@given(
    st.integers(20, 200),
    st.lists(st.floats(-5, 5), min_size=4, max_size=4),
    st.sets(st.integers(1, 198), max_size=15),
    st.floats(0.02, 2),
    st.floats(-1, 1),
)
def test_a_cubic_passes_unchanged(
    points: int, coefficients: list[float], missing: set[int], step_s: float, at: float
) -> None:
    """Value, slope and curvature at any moment, whatever is missing."""
    slots = np.array([i for i in range(points) if i not in missing or i == points - 1])
    x = 2.0 * slots / (points - 1) - 1.0
    values = np.polyval(coefficients, x)
    np.testing.assert_allclose(smooth(slots, values, np.ones(slots.size), 22), values, atol=1e-5)
    per_s = 2.0 / (points - 1) / step_s
    times_s = slots * step_s
    factors = local_factors(times_s, np.ones(slots.size), (at + 1) / per_s, 22 * step_s)
    truth = [np.polyval(np.polyder(coefficients, k), at) * per_s**k for k in range(3)]
    found = factors @ values / per_s ** np.arange(3)
    np.testing.assert_allclose(found, np.array(truth) / per_s ** np.arange(3), atol=2e-3)


def test_factors_are_those_of_a_weighted_polynomial_fit() -> None:
    """numpy.polyfit with the roots of the same weights, tricube (Cleveland 1979) times inverse variance."""
    rng = np.random.default_rng(2)
    times = np.sort(rng.uniform(0, 10, 60))
    values, weights = rng.standard_normal(60), rng.uniform(0.2, 1, 60)
    inside = np.abs(times - 4.0) < 3.0
    tricube = (1 - np.abs((times[inside] - 4.0) / 3.0) ** 3) ** 3
    fit = np.polyfit(times[inside] - 4.0, values[inside], 3, w=np.sqrt(tricube * weights[inside]))
    found = local_factors(times, weights, 4.0, 3.0) @ values
    np.testing.assert_allclose(found, [fit[3], fit[2], 2 * fit[1]], rtol=1e-8)


def test_both_ways_to_smooth_agree() -> None:
    slots = np.delete(np.arange(120), [30, 31, 32, 77])
    values = np.random.default_rng(3).standard_normal(slots.size)
    whole = smooth(slots, values, np.ones(slots.size), 12)
    for i in (5, 28, 60, 110):
        one = local_factors(slots * 1.0, np.ones(slots.size), float(slots[i]), 13.0) @ values
        assert one[0] == pytest.approx(whole[i], abs=1e-8)


def test_a_window_with_too_few_points_widens() -> None:
    times = np.arange(0.0, 20.0, 2.0)
    factors = local_factors(times, np.ones(10), 9.0, 0.1)
    np.testing.assert_allclose(factors @ times**2, [81.0, 18.0, 2.0], atol=1e-9)
