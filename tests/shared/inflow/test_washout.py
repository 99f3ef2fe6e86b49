"""The half-life of a washout whose truth is known: as much of the tail as the first pass leaves free, and no more."""

import math
from dataclasses import dataclass

import numpy as np
import pytest
from scipy.stats import linregress

from shared.inflow.reading import read_curve
from tests.shared.inflow.simulated import QUICK, SKIN, SLOW, Run, Tissue


def half_life(run: Run, seed: int = 0):
    return read_curve(run.draw(run.tissue, run.signal_to_noise, np.random.default_rng(seed)), None)


@pytest.mark.parametrize(("tissue", "signal_to_noise"), [(SKIN, 20), (SKIN, 1000), (QUICK, 20), (QUICK, 1000)])
def test_the_surer_the_curve_the_less_the_first_pass_may_disturb(tissue, signal_to_noise):
    found = half_life(Run(tissue, frames_per_s=30, signal_to_noise=signal_to_noise)).half_life_s
    assert found is not None
    assert abs(found.value - 45.0) < 3 * found.u
    assert found.u < (0.05 if signal_to_noise == 20 else 0.006) * 45.0


def test_the_second_half_of_a_clean_tail_is_what_counts():
    """scipy's linear regression on the logarithm of the second half, where the first pass is long gone and noise is small."""
    run = Run(QUICK, frames_per_s=10, signal_to_noise=2000)
    curve = run.draw(run.tissue, run.signal_to_noise, np.random.default_rng(1))
    reading = read_curve(curve, None)
    assert reading.half_life_s is not None
    assert reading.top_s is not None
    assert reading.baseline is not None
    late = curve.times_s >= 0.5 * (reading.top_s.value + curve.times_s[-1])
    fitted = linregress(curve.times_s[late], np.log(curve.signal[late] - reading.baseline.value))
    assert reading.half_life_s.value == pytest.approx(-math.log(2) / fitted.slope, rel=2e-3)


def test_where_the_first_pass_runs_to_the_end_there_is_no_half_life():
    reading = half_life(Run(SLOW, frames_per_s=10, signal_to_noise=100))
    assert reading.half_life_s is None
    assert "washout is no exponential yet" in reading.flags


@dataclass(frozen=True)
class _LitByItsNeighbour(Tissue):
    """A late tissue into which light of an early one scatters, so that its rise is no gamma variate."""

    def at(self, times_s: np.ndarray) -> np.ndarray:
        early = Tissue(arrival_s=18.0, half_life_s=self.half_life_s, level=0.1 * self.level)
        return super().at(times_s) + early.at(times_s)


@pytest.mark.parametrize("seconds", [95.0, 100.0])
def test_a_first_pass_whose_arrival_is_unknown_is_not_taken_for_washout(seconds):
    """Truth is 180 s; the late tissue's first pass falls by half in some 26 s as the recording ends."""
    tissue = _LitByItsNeighbour(arrival_s=38.0, alpha=3.4, beta_s=10.0, half_life_s=180.0)
    reading = half_life(Run(tissue, frames_per_s=12, signal_to_noise=500, seconds=seconds))
    assert reading.arrival_s is None
    assert reading.half_life_s is None
    assert "washout is no exponential yet" in reading.flags
