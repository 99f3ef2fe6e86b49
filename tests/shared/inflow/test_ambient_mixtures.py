"""Kinds of ambient light as mixtures that can be, beside draws of them, and what is known where frames tell much or nothing."""

import numpy as np
import pytest
from numpy.typing import NDArray

from shared.inflow.ambient_mixtures import mixed

F64 = NDArray[np.float64]

MOST = 0.6
"""That the lens takes, as a logarithm."""


def kinds(amount: F64, part: F64, lens: F64) -> F64:
    """Shares of the four kinds, which come last."""
    with_signal, even = amount * part, amount * (1.0 - part)
    return np.stack([with_signal, with_signal * lens, even, even * lens], axis=-1)


def frames_tell(seed: int, scale: float) -> F64:
    """Much of one sum of kinds, little of what lies across it."""
    rng = np.random.default_rng(seed)
    ways = np.linalg.qr(rng.normal(size=(4, 4)) + np.array((2.0, 0.0, 0.0, 0.0)))[0]
    return np.asarray(ways @ np.diag(scale * np.array((1.0, 0.1, 0.03, 0.001))) @ ways.T)


@pytest.mark.parametrize(("seed", "scale"), [(1, 30.0), (2, 100.0), (3, 300.0), (4, 1000.0)])
def test_they_are_those_of_many_draws_by_how_likely_each_is(seed: int, scale: float) -> None:
    """A million mixtures, weighed: importance sampling, to what that scatters by."""
    told = frames_tell(seed, scale)
    rng = np.random.default_rng([seed, 1])
    amount, part, lens = rng.random((3, 1_000_000)) * np.array((1.0, 1.0, MOST))[:, None]
    pull = told @ kinds(np.array(0.3), np.array(0.4), np.array(0.2)) + np.linalg.cholesky(told) @ rng.normal(size=4)
    drawn, whole = kinds(amount, part, lens), kinds(np.ones_like(part), part, lens)
    weight = np.exp(drawn @ pull - 0.5 * np.einsum("ni,ij,nj->n", drawn, told, drawn))
    best = np.clip(whole @ pull / (np.einsum("ni,ij,nj->n", whole, told, whole) + 3.0), 0.0, 1.0)
    wanted = np.average(best[:, None] * whole, axis=0, weights=weight)
    found, covariance = mixed(told, pull, MOST)
    np.testing.assert_allclose(found, wanted, atol=0.006)
    off = drawn - found
    of_draws = np.einsum("n,ni,nj->ij", weight / weight.sum(), off, off)
    np.testing.assert_allclose(np.sqrt(np.diag(covariance)), np.sqrt(np.diag(of_draws)), rtol=0.05)
    np.testing.assert_allclose(covariance, of_draws, atol=0.003)


@pytest.mark.parametrize("scale", [1e4, 1e6, 1e9])
def test_where_frames_tell_much_it_is_that_and_as_sure_as_such_mixtures_can_be(scale: float) -> None:
    """Covariance by the information along amount, part and lens (Cramer-Rao for a curved family), however sure frames are."""
    told, true = scale * np.diag((1.0, 2.0, 3.0, 1.0)), (np.array(0.6), np.array(0.45), np.array(0.35))
    shares, step = kinds(*true), 1e-6
    along = np.array([(kinds(*(np.array(true) + step * each)) - shares) / step for each in np.eye(3)]).T
    wanted = along @ np.linalg.inv(along.T @ told @ along) @ along.T
    found, covariance = mixed(told, told @ shares, MOST)
    u = np.sqrt(np.diag(wanted))
    assert (np.abs(found - shares) < 0.1 * u).all()
    np.testing.assert_allclose(covariance, wanted, atol=0.05 * u.max() ** 2)


def test_where_frames_tell_nothing_it_is_none_and_may_be_anything() -> None:
    """Mean squares of uniform draws up to 1: a third each for the amount, its part and the lens."""
    found, covariance = mixed(np.zeros((4, 4)), np.zeros(4), MOST)
    np.testing.assert_array_equal(found, 0.0)
    np.testing.assert_allclose(np.diag(covariance), np.array((1.0, MOST**2 / 3.0, 1.0, MOST**2 / 3.0)) / 9.0, rtol=0.1)


def test_none_is_less_than_nothing() -> None:
    """Frames that tell of less have a small doubt left, and kinds of opposite signs are not believed."""
    told = np.diag((400.0, 400.0, 400.0, 400.0))
    found, covariance = mixed(told, told @ np.array((-0.1, 0.0, -0.1, 0.0)), MOST)
    np.testing.assert_allclose(found, 0.0, atol=1e-3)
    assert 0.0 < np.sqrt(covariance[0, 0]) < 0.05
    weak = np.outer((1.0, 0.0, 1.0, 0.0), (1.0, 0.0, 1.0, 0.0)) * 1e6
    found, covariance = mixed(weak, weak @ np.array((0.5, 0.0, -0.2, 0.0)), MOST)
    assert found[0] + found[2] == pytest.approx(0.3, abs=0.003)
    assert (found >= 0).all()
    assert np.sqrt(np.diag(covariance))[[0, 2]] == pytest.approx([0.3 / 12**0.5] * 2, rel=0.1)
