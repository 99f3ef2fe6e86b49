"""What a moving hand carries across a region's edge: closed form against a picture drawn at many moments of one exposure."""

import numpy as np
import pytest

from shared.smear import MOST_SHARE, smear_px


@pytest.mark.parametrize("smear", [0.5, 1.0, 3.0])
def test_a_smeared_step_loses_an_eighth_of_the_smear(smear: float) -> None:
    """A region 30 wide whose right edge lies on a step from 1 to 0, its picture the mean over places from -smear/2 to smear/2."""
    fine = (np.arange(-40_000, 40_000) + 0.5) / 1000.0
    moments = (np.arange(200) + 0.5) / 200.0 - 0.5
    seen = np.mean([(fine < shift * smear).astype(float) for shift in moments], axis=0)
    inside = (fine > -30.0) & (fine < 0.0)
    assert 1.0 - seen[inside].mean() == pytest.approx(smear / 8.0 / 30.0, rel=0.01)


def test_smear_is_speed_times_exposure() -> None:
    """5 mm/s in 33 ms is 0.165 mm, and at 0.14 mm a pixel 1.18 pixels: less than a tenth of any region 12 pixels wide."""
    times_s = np.arange(40) / 30.0
    places = np.stack([5.0 / 0.14 * times_s, np.zeros(40)], axis=1)
    found = smear_px(places, times_s, np.full(40, 0.033))
    assert found == pytest.approx(np.full(40, 1.179), abs=0.001)
    assert found.max() < MOST_SHARE * 12
    assert smear_px(places[:1], times_s[:1], np.full(1, 0.033)).tolist() == [0.0]
    # a hand that holds and then jerks smears the frames on both sides of the jerk
    jerk = np.zeros((5, 2))
    jerk[3:, 1] = 6.0
    assert smear_px(jerk, np.arange(5) / 30.0, np.full(5, 0.02)) == pytest.approx([0.0, 0.0, 3.6, 3.6, 0.0])
