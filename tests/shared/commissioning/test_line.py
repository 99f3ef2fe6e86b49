"""Lines, against scipy and numpy."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import linregress

from shared.commissioning.line import line, through_origin
from shared.errors import Refused


@given(st.integers(0, 2**32 - 1), st.integers(4, 30))
def test_unweighted_is_scipys(seed, number):
    rng = np.random.default_rng(seed)
    x, y = np.sort(rng.uniform(-5, 5, number)), rng.normal(0, 1, number)
    found, theirs = line(x, y), linregress(x, y)
    assert found.slope.value == pytest.approx(theirs.slope, rel=1e-7, abs=1e-9)
    assert found.slope.u == pytest.approx(theirs.stderr, rel=1e-7)
    assert found.offset.u == pytest.approx(theirs.intercept_stderr, rel=1e-7)
    assert found.at(2.0) == pytest.approx(theirs.intercept + 2 * theirs.slope, rel=1e-7, abs=1e-9)


@given(st.integers(0, 2**32 - 1), st.integers(4, 30))
def test_weighted_is_numpys(seed, number):
    rng = np.random.default_rng(seed)
    x, y, u = rng.uniform(0, 5, number), rng.normal(0, 1, number), rng.uniform(0.1, 2, number)
    found = line(x, y, u)
    (slope, offset), covariance = np.polyfit(x, y, 1, w=1 / u, cov="unscaled")
    assert (found.slope.value, found.offset.value) == pytest.approx((slope, offset), rel=1e-6, abs=1e-8)
    assert (found.slope.u, found.offset.u) == pytest.approx(np.sqrt(np.diag(covariance)), rel=1e-6)


def test_through_the_origin():
    x = np.array([1.0, 2.0, 3.0])
    assert through_origin(x, 2 * x).value == pytest.approx(2)
    assert through_origin(x, 2 * x).u == pytest.approx(0, abs=1e-12)
    theirs, *_ = np.linalg.lstsq(x[:, None], np.array([2.0, 4.5, 5.5]), rcond=None)
    assert through_origin(x, np.array([2.0, 4.5, 5.5])).value == pytest.approx(theirs[0])


def test_the_uncertainty_of_a_slope_of_variances_is_what_repeated_draws_scatter_by():
    """The scatter of a variance is proportional to it; with residuals taken for alike, u came out a quarter too small."""
    rng, x = np.random.default_rng(11), np.array([60.0, 160.0, 260.0, 360.0, 460.0, 560.0])
    found = [through_origin(x, 0.2 * x * (1 + 0.01 * rng.standard_normal(6))) for _ in range(3000)]
    stated = math.sqrt(np.mean([one.u**2 for one in found]))
    assert stated == pytest.approx(np.std([one.value for one in found]), rel=0.05)


@pytest.mark.parametrize(
    ("x", "y", "u", "words"),
    [
        ([1, 2], [1, 2], None, "too few points for a line: 2"),
        ([1, 1, 1], [1, 2, 3], None, "too few points"),
        ([1, 2, 3], [1, np.nan, 3], None, "pairs of numbers"),
        ([1, 2, 3], [1, 2, 3], [1, 0, 1], "must be positive"),
    ],
)
def test_what_is_no_line_is_refused(x, y, u, words):
    with pytest.raises(Refused, match=words):
        line(np.array(x, float), np.array(y, float), None if u is None else np.array(u, float))
