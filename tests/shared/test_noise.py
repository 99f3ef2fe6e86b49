import numpy as np
import pytest
from scipy.optimize import brentq

from shared.noise import variance_counts2


def test_worked_case_of_the_photon_transfer_relation() -> None:
    """EMVA 1288: K 0.25 DN/e, dark noise 3 e, 5000 e: signal to noise sqrt form gives 70.638 (with 1/12 DN^2 of rounding)."""
    mean = 0.25 * 5000
    assert mean / np.sqrt(variance_counts2(mean, 0.25, 3.0)) == pytest.approx(70.638, abs=5e-4)
    assert np.sqrt(variance_counts2(0.0, 0.25, 3.0)) == pytest.approx(np.sqrt(0.75**2 + 1 / 12))


def test_the_sensitivity_threshold_by_the_standards_short_form_and_exactly() -> None:
    """EMVA 1288, K 0.25, dark noise 3 e: mu_e.min = sqrt(sigma_d^2 + 1/(12 K^2)) + 1/2 = 3.7146 e, as in the reference run of which
    emva1288 1.0.2 found 3.713. The signal whose own noise it equals, solved without the short form, is 3.753203 e; at a quantum
    efficiency of 0.5 that is 7.506407 photons.
    """
    assert np.sqrt(variance_counts2(0.0, 0.25, 3.0)) / 0.25 + 0.5 == pytest.approx(3.7146, abs=5e-5)
    counts = brentq(lambda mean: mean - np.sqrt(variance_counts2(mean, 0.25, 3.0)), 1e-6, 10.0)
    assert counts / 0.25 == pytest.approx(3.753203, abs=6e-7)
    assert counts / 0.25 / 0.5 == pytest.approx(7.506407, abs=1e-6)


def test_planes_and_means_below_dark() -> None:
    plane = variance_counts2(np.array([-5.0, 0.0, 100.0], np.float32), 0.1, 2.0)
    assert plane[0] == plane[1] == pytest.approx(0.04 + 1 / 12)
    assert plane[2] - plane[1] == pytest.approx(10.0, rel=1e-6)
