"""Percent of the reference against worked values and repeated draws."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.relative import relative_measured, relative_percent
from shared.signal import Measured


def test_percent_of_worked_examples():
    # R = 100 (I - B) / (Ref - B), definition of relative perfusion (Moyer and Losken 2012, PRS 129:1043, as a percentage of the
    # best perfused skin); worked by hand: (1300 - 300) / (2300 - 300), and 56.52 when the offset is forgotten
    assert relative_percent(1300.0, 2300.0, 300.0, 300.0) == pytest.approx(50.0)
    assert relative_percent(1300.0, 2300.0) == pytest.approx(56.52, abs=0.005)
    assert relative_percent(60.0, 210.0, 10.0, 10.0) == pytest.approx(25.0)
    assert relative_percent(60.0, 210.0) == pytest.approx(28.57, abs=0.005)


@given(reference=st.floats(-1e3, 1e3), below=st.floats(0, 1e3))
def test_a_reference_at_or_below_its_baseline_is_undefined(reference, below):
    baseline = reference + below
    assert np.isnan(relative_percent(np.array([1.0, 0.0]), reference, 0.0, baseline)).all()
    assert relative_measured(Measured(1, 0.1), Measured(reference, 0.1), Measured(0, 0), Measured(baseline, 0)) is None


@given(signal=st.floats(0, 1e4), above=st.floats(1e-2, 1e4), baseline=st.floats(0, 1e3), scale=st.floats(1e-3, 1e3))
def test_percent_does_not_change_with_the_unit_of_signal(signal, above, baseline, scale):
    plain = relative_percent(signal, baseline + above, baseline, baseline)
    scaled = relative_percent(signal * scale, (baseline + above) * scale, baseline * scale, baseline * scale)
    assert scaled == pytest.approx(plain, rel=1e-6, abs=1e-6 * (1 + baseline / above) * 100)


def test_uncertainty_is_the_spread_of_repeated_draws():
    signal, reference = Measured(40.0, 1.0), Measured(100.0, 2.0)
    baseline, reference_baseline = Measured(5.0, 0.5), Measured(8.0, 0.4)
    found = relative_measured(signal, reference, baseline, reference_baseline)
    assert found is not None
    rng = np.random.default_rng(5)
    i, r, b, rb = (rng.normal(m.value, m.u, 200_000) for m in (signal, reference, baseline, reference_baseline))
    draws = 100 * (i - b) / (r - rb)
    assert found.value == pytest.approx(draws.mean(), rel=2e-3)
    assert found.u == pytest.approx(draws.std(), rel=2e-2)
