"""The gamma variate and its landmarks against worked cases and scipy."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from scipy.integrate import quad
from scipy.optimize import approx_fprime, brentq, minimize_scalar

from shared.inflow.gamma_variate import GammaVariate, partials, unit_gamma_variate

EXACT = 1e-9
shapes = st.builds(
    GammaVariate,
    onset_s=st.floats(0, 30),
    alpha=st.floats(1.2, 8),
    rise_s=st.floats(1, 40),
    peak=st.floats(0.1, 100),
)


def thompson(amplitude: float, onset_s: float, alpha: float, beta_s: float) -> GammaVariate:
    """C = A (t - t0)^a exp(-(t - t0) / b): Thompson et al. 1964, Circ Res 14:502."""
    rise_s = alpha * beta_s
    return GammaVariate(onset_s, alpha, rise_s, amplitude * rise_s**alpha * math.exp(-alpha))


def test_the_first_worked_case() -> None:
    """A=2, t0=5, a=3, b=1.5: closed forms worked out once outside this program (Lambert's W, Gamma function)."""
    case = thompson(2.0, 5.0, 3.0, 1.5)
    assert case.peak_s == pytest.approx(9.5, abs=EXACT)
    assert case.peak == pytest.approx(9.073693210043, abs=1e-11)
    assert case.area == pytest.approx(60.75, abs=EXACT)
    assert case.mean_s == pytest.approx(11.0, abs=EXACT)
    crossings = {0.1: (5.948740762, 17.580025666), 0.5: (7.091205406, 13.288025315), 0.9: (8.410319792, 10.800236967)}
    for share, (rise, fall) in crossings.items():
        assert case.crossing_s(share) == pytest.approx(rise, abs=EXACT)
        assert case.crossing_s(share, falling=True) == pytest.approx(fall, abs=EXACT)
    assert case.crossing_s(0.5, falling=True) - case.crossing_s(0.5) == pytest.approx(6.196819909, abs=EXACT)
    assert case.steepest_s == pytest.approx(6.901923789, abs=EXACT)
    assert case.slope_at(case.steepest_s) == pytest.approx(3.526253306, abs=EXACT)
    assert case.slope_at(12.098076211) == pytest.approx(
        -1.537334546, abs=5e-9
    )  # printed with its last digit off by four
    assert (case.crossing_s(0.5) - 5.0) / case.rise_s == pytest.approx(0.464712312, abs=EXACT)
    assert 0.8 * case.peak / (case.crossing_s(0.9) - case.crossing_s(0.1)) == pytest.approx(2.948901693, abs=EXACT)
    times = np.arange(0, 60.05, 0.1)
    assert np.trapezoid(case.at(times), times) == pytest.approx(60.7500017, abs=1e-7)


@pytest.mark.parametrize(
    ("shape", "peak_s", "peak", "area", "rise", "fall", "steepest_s", "steepest_share", "ratio"),
    [
        ((10, 3, 1.5), 14.5, 4.536847, 30.375, 12.091205, 18.288028, 11.901924, 0.388624, 0.464712),
        ((8, 2, 5), 18.0, 13.533528, 250.0, 11.806201, 28.779605, 10.928932, 0.170376, 0.380620),
    ],
)
def test_two_more_worked_cases(shape, peak_s, peak, area, rise, fall, steepest_s, steepest_share, ratio) -> None:
    """A=1: printed to six decimals by a second, independent working.

    Its falling crossings come from root finding: 18.288028 differs in the last digit from the closed form (13.288025315 + 5 above).
    """
    case = thompson(1.0, *shape)
    half = 0.5e-6 * 1.02
    assert case.peak_s == pytest.approx(peak_s, abs=half)
    assert case.peak == pytest.approx(peak, abs=half)
    assert case.area == pytest.approx(area, abs=half)
    assert case.crossing_s(0.5) == pytest.approx(rise, abs=half)
    assert case.crossing_s(0.5, falling=True) == pytest.approx(fall, abs=3e-6)
    assert case.steepest_s == pytest.approx(steepest_s, abs=half)
    assert case.slope_at(case.steepest_s) / case.peak == pytest.approx(steepest_share, abs=half)
    assert (case.crossing_s(0.5) - case.onset_s) / case.rise_s == pytest.approx(ratio, abs=half)


def test_half_rise_over_time_to_peak_depends_on_alpha_alone() -> None:
    """alpha = ln 2 / (q - 1 - ln q): q = 0.6 gives 6.2544 (closed form)."""
    alpha = math.log(2) / (0.6 - 1 - math.log(0.6))
    assert alpha == pytest.approx(6.2544, abs=5e-5)
    for rise_s in (3.0, 30.0):
        case = GammaVariate(4.0, alpha, rise_s, 7.0)
        assert (case.crossing_s(0.5) - 4.0) / rise_s == pytest.approx(0.6, abs=EXACT)


@given(shapes)
def test_it_is_scipys_gamma_density(case: GammaVariate) -> None:
    """The same curve as scipy.stats.gamma (shape alpha + 1), with its integral, mean, skewness and landmarks."""
    density = stats.gamma(case.alpha + 1, loc=case.onset_s, scale=case.beta_s)
    times = np.linspace(case.onset_s - 1, case.onset_s + 4 * case.rise_s, 50)
    np.testing.assert_allclose(case.at(times), case.area * density.pdf(times), rtol=1e-7, atol=1e-12 * case.peak)
    assert case.mean_s == pytest.approx(density.mean(), rel=1e-9)
    assert float(density.stats("s")) == pytest.approx(2 / math.sqrt(case.alpha + 1), rel=1e-9)
    area, _ = quad(lambda t: float(case.at(np.array([t]))[0]), case.onset_s, case.peak_s + 60 * case.beta_s, limit=200)
    assert case.area == pytest.approx(area, rel=1e-6)


@given(shapes, st.floats(0.05, 0.95))
def test_landmarks_are_where_root_finding_and_optimisation_find_them(case: GammaVariate, share: float) -> None:
    def at(t: float) -> float:
        return float(case.at(np.array([t]))[0])

    rise = brentq(lambda t: at(t) - share * case.peak, case.onset_s, case.peak_s, xtol=1e-12)
    fall = brentq(lambda t: at(t) - share * case.peak, case.peak_s, case.peak_s + 40 * case.rise_s, xtol=1e-12)
    assert case.crossing_s(share) == pytest.approx(rise, abs=1e-8)
    assert case.crossing_s(share, falling=True) == pytest.approx(fall, abs=1e-7)
    best = minimize_scalar(lambda t: -case.slope_at(t), bounds=(case.onset_s, case.peak_s), method="bounded")
    assert case.slope_at(case.steepest_s) == pytest.approx(-best.fun, rel=1e-6)


@given(shapes, st.floats(0.02, 3))
def test_partials_are_the_numerical_ones(case: GammaVariate, where: float) -> None:
    """scipy.optimize.approx_fprime by onset, ln alpha and ln rise."""
    t = np.array([case.onset_s + where * case.rise_s])

    def unit(p: np.ndarray) -> float:
        return float(unit_gamma_variate(t, p[0], math.exp(p[1]), math.exp(p[2]))[0])

    numerical = approx_fprime(np.array([case.onset_s, math.log(case.alpha), math.log(case.rise_s)]), unit, 1e-6)
    np.testing.assert_allclose(partials(t, case.onset_s, case.alpha, case.rise_s)[0], numerical, rtol=2e-3, atol=2e-4)


def test_nothing_before_the_onset() -> None:
    case = GammaVariate(5.0, 3.0, 4.0, 2.0)
    assert (case.at(np.array([0.0, 4.9, 5.0])) == 0).all()
    assert (partials(np.array([0.0, 4.9]), 5.0, 3.0, 4.0) == 0).all()
    assert case.slope_at(4.0) == 0
