import numpy as np
import pytest

from shared.noise import variance_counts2


def test_worked_case_of_the_photon_transfer_relation() -> None:
    """EMVA 1288: K 0.25 DN/e, dark noise 3 e, 5000 e: signal to noise sqrt form gives 70.638 (with 1/12 DN^2 of rounding)."""
    mean = 0.25 * 5000
    assert mean / np.sqrt(variance_counts2(mean, 0.25, 3.0)) == pytest.approx(70.638, abs=5e-4)
    assert np.sqrt(variance_counts2(0.0, 0.25, 3.0)) == pytest.approx(np.sqrt(0.75**2 + 1 / 12))


def test_planes_and_means_below_dark() -> None:
    plane = variance_counts2(np.array([-5.0, 0.0, 100.0], np.float32), 0.1, 2.0)
    assert plane[0] == plane[1] == pytest.approx(0.04 + 1 / 12)
    assert plane[2] - plane[1] == pytest.approx(10.0, rel=1e-6)
