"""Motions compose and undo each other."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.motion.pose import Motion, mean_motion

shifts = st.floats(-400, 400)
motions = st.builds(Motion, shifts, shifts, st.floats(-180, 180))


def figures(motion: Motion) -> tuple[float, float, float]:
    return motion.dx_px, motion.dy_px, motion.rotation_deg


@given(motions)
def test_there_and_back_is_nowhere(motion: Motion) -> None:
    assert figures(motion.then(motion.back())) == pytest.approx((0, 0, 0), abs=1e-9)
    assert figures(motion.back().then(motion)) == pytest.approx((0, 0, 0), abs=1e-9)


@given(motions, motions, motions)
def test_composition_is_that_of_matrices(a: Motion, b: Motion, c: Motion) -> None:
    assert figures(a.then(b).then(c)) == pytest.approx(figures(a.then(b.then(c))), abs=1e-8)
    shape = (97, 131)
    whole = [np.vstack([each.to_frame(shape), [0, 0, 1]]) for each in (a, b)]
    np.testing.assert_allclose(a.then(b).to_frame(shape), (whole[1] @ whole[0])[:2], atol=1e-8)


def test_a_quarter_turn_is_clockwise_about_the_centre() -> None:
    """In a 5 x 5 picture, the middle of the right edge goes to the middle of the bottom."""
    np.testing.assert_allclose(Motion(rotation_deg=90).to_frame((5, 5)) @ [4, 2, 1], [2, 4], atol=1e-12)


def test_as_sure_as_the_less_sure() -> None:
    sure, unsure = Motion(confidence=0.9), Motion(confidence=0.5)
    assert sure.then(unsure).confidence == 0.5
    assert not sure.then(Motion(confidence=0.0, locked=False)).locked
    assert mean_motion([Motion(1, 2, 3, 0.9), Motion(3, 4, 5, 0.7)]) == Motion(2, 3, 4, 0.7)
    with pytest.raises(ValueError, match="no motion"):
        mean_motion([])
