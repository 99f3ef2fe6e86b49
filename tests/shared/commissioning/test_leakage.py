"""Leakage of made planes, and of frames too few."""

import numpy as np
import pytest

from shared.commissioning.leakage import leakage
from shared.commissioning.stack import Stack
from shared.errors import Refused

SHAPE = (50, 70)
Y, X = np.mgrid[-1:1:50j, -1:1:70j]
FLAT = 1 - 0.3 * (X * X + Y * Y) / 2
GOOD = np.ones(SHAPE, np.bool_)
SHARE = 0.02 + 0.05 * (X * X + Y * Y) / 2


def planes(share, frames=16):
    """Full signal 40 counts a ms; 10 ms at gain 2 under half the light, lamps giving 30 counts."""
    lit = 60 + 30 + 40 * 10 * 2 * 0.5 * FLAT * share
    means = (0.0,) * frames
    return (
        Stack(lit, np.full(SHAPE, 4.0), means, 10_000.0, 2.0, 0.5),
        Stack(np.full(SHAPE, 90.0), np.full(SHAPE, 4.0), means, 10_000.0, 2.0),
    )


def test_it_is_the_share_put_in_and_more_in_the_corners():
    found = leakage(*planes(SHARE), FLAT, 40.0, GOOD, output=0.5)
    assert found.middle_percent == pytest.approx(2.05, abs=0.1)
    assert found.corner_percent == pytest.approx(5.8, abs=0.4)
    assert found.worst_percent == pytest.approx(max(found.map_percent))
    assert np.mean(found.map_percent) == pytest.approx(100 * SHARE.mean(), rel=0.01)
    assert found.signal == pytest.approx(40 * found.middle_percent / 100)
    assert 0 < found.middle_percent_u < 0.1


def test_a_capped_lens_is_told_from_a_good_filter():
    """Noise of 4 counts, 16 frames each, a part of 100 pixels: 0.018 % of the dye card's signal. A tenth of a percent is seen."""
    with pytest.raises(
        Refused, match=r"nothing of the ring's light is seen: .* % of the dye card's signal; take the cap off"
    ):
        leakage(*planes(0.0), FLAT, 40.0, GOOD, output=0.5)
    assert leakage(*planes(0.001), FLAT, 40.0, GOOD, output=0.5).middle_percent == pytest.approx(0.1, rel=0.01)


@pytest.mark.parametrize(
    ("frames", "full", "flat", "words"),
    [
        (5, 40.0, FLAT, "too few frames for leakage: 5"),
        (16, 0.0, FLAT, "start with: tapetum calibrate flat"),
        (16, 40.0, FLAT[:-1], "differ in size"),
    ],
)
def test_what_cannot_be_told_is_refused(frames, full, flat, words):
    with pytest.raises(Refused, match=words):
        leakage(*planes(SHARE, frames), flat, full, GOOD, output=0.5)
