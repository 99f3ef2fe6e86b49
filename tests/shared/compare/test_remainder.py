"""What is left of a first injection: closed forms of first-order washout, and draws of noise.

Source of f(t) = 2^(-t/T): first-order elimination; half-lives of 2.5 to 4 minutes are those of labels and formularies.
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.compare.remainder import Remainder, Washout, remainder_of, washout_of, without
from shared.inflow.curves import RegionCurve
from shared.inflow.reading import read_curve
from shared.region import Region
from shared.scene.dye import tissue_curve
from shared.signal import Measured

REGION = Region.parse("tip:1,1,5,5")
LEAK, U = 20.0, 0.05


def curve(times_s: np.ndarray, signal: np.ndarray, u: float = U, seed: int = 0) -> RegionCurve:
    noise = np.random.default_rng(seed).normal(0.0, u, times_s.size)
    return RegionCurve(REGION, times_s, signal + noise, np.full(times_s.size, u), np.zeros(times_s.size, np.bool_))


def washout(half_life_s: float = 180.0, u: float = 2.0, before_u: float = 0.01) -> Washout:
    return Washout(Measured(LEAK, before_u), Measured(40.0, 0.1), 200.0, Measured(half_life_s, u))


def early(left: float, half_life_s: float, seconds: float = 10.0, leak: float = LEAK) -> RegionCurve:
    times_s = np.arange(0.0, seconds, 0.25)
    return curve(times_s, leak + left * np.exp2(-times_s / half_life_s))


@pytest.mark.parametrize(
    ("minutes", "half_life_min", "percent"),
    [(5, 2.5, 25.0), (10, 2.5, 6.25), (5, 3.0, 31.498), (10, 3.0, 9.9213), (5, 4.0, 42.045), (10, 4.0, 17.678)],
)
def test_the_prediction_is_first_order(minutes: int, half_life_min: float, percent: float) -> None:
    """Worked table of 100 x 2^(-t/T)."""
    found = remainder_of(
        washout(60 * half_life_min), early(0.4 * percent, 60 * half_life_min), 10.0, 200.0 + 60 * minutes
    )
    assert found.predicted is not None
    assert found.observed is not None
    assert found.predicted.value == pytest.approx(40.0 * percent / 100, rel=1e-4)
    assert found.observed.value == pytest.approx(40.0 * percent / 100, abs=0.1)
    assert found.method == "prediction and observation"
    assert found.low is not None
    assert found.high is not None
    assert found.low < found.predicted.value < found.high


def test_from_nearer_what_was_left_is_brighter_by_the_inverse_square() -> None:
    """By hand: 1.2 times as large is 1.44 times as bright; half of the change, 0.22 of the level, is doubt."""
    seen = washout().magnified(1.2)
    assert seen.height is not None
    assert seen.before is not None
    assert (seen.height.value, seen.before.value) == pytest.approx((1.44 * 40.0, 1.44 * LEAK))
    assert seen.height.u == pytest.approx(math.hypot(1.44 * 0.1, 0.22 * 40.0))
    assert washout().magnified(1.0) == washout()
    assert seen.half_life_s == washout().half_life_s


def test_the_interval_is_that_of_the_half_life() -> None:
    """d ln f = ln 2 (t / T) (dT / T): by hand, 300 s at 180 ± 18 s gives 11.55 % of what is left."""
    found = remainder_of(washout(180.0, 18.0), early(12.6, 180.0), 0.0, 500.0)
    assert found.predicted is not None
    assert found.method == "prediction"
    by_hand = math.hypot(math.log(2) * (300 / 180) * 0.1, 0.05, 0.1 / 40)
    assert found.predicted.u / found.predicted.value == pytest.approx(by_hand, rel=1e-6)
    assert found.high is not None
    assert found.low is not None
    assert found.high - found.predicted.value > found.predicted.value - found.low  # lopsided, as an exponential is


def test_what_is_known_decides_how() -> None:
    left, second = 40 * 2 ** (-300 / 180), early(40 * 2 ** (-300 / 180), 180.0)
    assert remainder_of(washout(), second, 10.0, None).method == "observation"
    assert remainder_of(washout(), second, 0.0, None).method == "baseline alone"
    unseen = remainder_of(Washout(Measured(LEAK, 0.1), None, 0.0, None), second, 10.0, 500.0)
    assert unseen.method == "baseline alone"
    assert (unseen.at(second.times_s) == 0).all()
    # what stands above the first baseline, falling by the record's 3 minutes: here the truth
    (doubt,) = unseen.variations()
    assert doubt.at(np.array([0.0, 180.0])) == pytest.approx([left, left / 2], rel=0.02)
    assert remainder_of(Washout(None, None, 0.0, Measured(180.0, 1.0)), second, 10.0, 500.0).method == "baseline alone"
    both = remainder_of(washout(), second, 10.0, 500.0)
    assert both.left is not None
    assert both.left.value == pytest.approx(left, rel=0.1)
    assert both.predicted is not None
    assert both.left.u <= both.predicted.u
    farther = remainder_of(washout(), early(4 * left, 180.0, leak=LEAK), 10.0, 500.0)
    assert farther.contradicts
    assert farther.method == "observation"
    assert farther.left is not None
    assert farther.left.value == pytest.approx(4 * left, rel=0.05)
    assert farther.left.u > 1.0


def test_taking_out_leaves_the_second_injection() -> None:
    """Two injections 300 s apart, drawn by the scene's own dye: the second comes out as if it had been the first."""

    def dye(since_s: np.ndarray) -> np.ndarray:
        return 50 * tissue_curve(since_s - 15.0, 3.0, 4.0, 180.0, 0.6)

    times_s = np.arange(-10.0, 240.0, 0.5)
    first = curve(times_s + 10.0, LEAK + dye(times_s))
    later_s = np.arange(-10.0, 80.0, 0.5)
    second = curve(later_s + 10.0, LEAK + dye(later_s) + dye(later_s + 300.0), seed=1)
    reading = read_curve(first, 10.0)
    found = remainder_of(washout_of(first, reading, None), second, 10.0, 300.0)
    clean = read_curve(without(second, found), 10.0)
    raw = read_curve(second, 10.0)
    assert clean.peak is not None
    assert raw.peak is not None
    assert clean.peak.value == pytest.approx(50.0, abs=0.3)
    assert abs(raw.peak.value - 50.0) > 0.5
    assert len(found.variations()) == 2


@given(st.floats(0.5, 100), st.floats(60, 600), st.floats(0, 0.9))
def test_variations_stay_above_nought(left: float, half_life_s: float, share: float) -> None:
    found = Remainder("prediction", Measured(left, share * left), Measured(half_life_s, share * half_life_s))
    times_s = np.linspace(0, 300, 7)
    for varied in found.variations():
        assert (varied.at(times_s) >= found.at(times_s) * (1 - 1e-12)).all()
    assert (Remainder("baseline alone").at(times_s) == 0).all()
