"""Propagation of noise against repeated draws."""

import numpy as np
import pytest

from shared.inflow.propagated import Propagated


def both(noise: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Two numbers that share one source of noise: 8 + 0.3 n0 and 20 + 0.4 n0 - 0.5 n1."""
    return 8.0 + 0.3 * noise[0], 20.0 + 0.4 * noise[0] - 0.5 * noise[1]


ONE = Propagated(8.0, np.array([0.3, 0.0]))
OTHER = Propagated(20.0, np.array([0.4, -0.5]))


def test_sums_differences_and_ratios_have_the_spread_of_repeated_draws() -> None:
    one, other = both(np.random.default_rng(1).standard_normal((2, 400_000)))
    for found, draws in (
        (ONE + OTHER, one + other),
        (ONE - OTHER, one - other),
        (ONE.over(OTHER), one / other),
        (ONE.scaled(-3), -3 * one),
    ):
        assert found.value == pytest.approx(draws.mean(), rel=2e-3)
        assert found.u == pytest.approx(draws.std(), rel=6e-3)


def test_a_ratio_to_another_curve() -> None:
    """Worked by hand: u of 8/20 with u 0.3 and sqrt(0.41): 0.4 sqrt((0.3/8)^2 + 0.41/400) = 0.019723."""
    assert ONE.over_independent(OTHER).u == pytest.approx(0.4 * np.sqrt((0.3 / 8) ** 2 + 0.41 / 400))
    assert ONE.over_independent(OTHER).u == pytest.approx(0.019723, abs=5e-7)


def test_a_number_over_itself_is_certain() -> None:
    assert OTHER.over(OTHER).value == 1
    assert OTHER.over(OTHER).u == 0


def test_a_doubt_adds_in_squares_and_belongs_to_its_number_alone() -> None:
    assert ONE.doubted(0.4).u == pytest.approx(0.5)
    assert (OTHER - ONE.doubted(0.4)).u == pytest.approx(np.sqrt((OTHER - ONE).u ** 2 + 0.16))
