"""Differences and ratios against a large number of draws, and against the law of propagation worked by hand (GUM, 5.1.2)."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.compare.change import difference, ratio, shared_by_place
from shared.inflow.parameters import Estimate


def test_by_hand() -> None:
    """GUM 5.1.2: 50 ± 3 less 40 ± 4 is 10 ± 5; over it 1.25 ± 1.25 sqrt(0.06^2 + 0.1^2)."""
    one, other = Estimate(40.0, 4.0), Estimate(50.0, 3.0)
    assert difference(one, other) == Estimate(10.0, 5.0)
    found = ratio(one, other)
    assert found.value == 1.25
    assert found.u == pytest.approx(1.25 * (0.06**2 + 0.1**2) ** 0.5)


def test_as_repeated_draws_scatter() -> None:
    rng = np.random.default_rng(3)
    draws = rng.normal(60.0, 0.6, 200_000) / rng.normal(35.0, 0.5, 200_000)
    found = ratio(Estimate(35.0, 0.5), Estimate(60.0, 0.6))
    assert found.value == pytest.approx(draws.mean(), rel=1e-3)
    assert found.u == pytest.approx(draws.std(), rel=0.01)


def test_what_both_share_counts_once() -> None:
    """GUM 5.2.2 beside draws: errors of 3 and 2 from a place, correlated by 0.6, and noise of 1 and 0.5 besides."""
    shared = shared_by_place((3.0, 0.0), (2.0, 0.0))
    assert shared == pytest.approx(0.6 * 3.0 * 2.0)
    rng = np.random.default_rng(5)
    place = rng.multivariate_normal((0.0, 0.0), ((9.0, shared), (shared, 4.0)), 200_000)
    first, second = place.T + rng.normal(0.0, 1.0, (2, 200_000)) * np.array([[1.0], [0.5]])
    sides = Estimate(100.0, float(np.hypot(3.0, 1.0))), Estimate(80.0, float(np.hypot(2.0, 0.5)))
    assert difference(*sides, shared).u == pytest.approx((second - first).std(), rel=0.01)
    assert ratio(*sides, shared).u == pytest.approx(((80.0 + second) / (100.0 + first)).std(), rel=0.02)
    assert difference(*sides, shared).u == pytest.approx((3.0**2 + 1.0**2 + 2.0**2 + 0.5**2 - 2.0 * shared) ** 0.5)


@pytest.mark.parametrize("first", [Estimate(), Estimate(0.0, 1.0), Estimate(2.0, 1.0), Estimate(-9.0, 0.1)])
def test_no_ratio_to_what_may_be_nought(first: Estimate) -> None:
    assert ratio(first, Estimate(5.0, 0.1)) == Estimate()
    assert difference(Estimate(), Estimate(5.0, 0.1)) == Estimate()


@given(st.floats(1, 1e3), st.floats(1, 1e3), st.floats(0.001, 0.1))
def test_there_and_back(one: float, other: float, share: float) -> None:
    first, second = Estimate(one, share * one), Estimate(other, share * other)
    there, back = ratio(first, second), ratio(second, first)
    assert there.value is not None
    assert back.value is not None
    assert there.value * back.value == pytest.approx(1.0)
    assert difference(first, second).u == pytest.approx(difference(second, first).u)
