"""Motions compose and undo each other."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.motion.pose import Motion, line_through, mean_motion

shifts = st.floats(-400, 400)
motions = st.builds(Motion, shifts, shifts, st.floats(-180, 180), magnification=st.floats(0.7, 1.4))


def figures(motion: Motion) -> tuple[float, float, float]:
    return motion.dx_px, motion.dy_px, motion.rotation_deg


@given(motions)
def test_there_and_back_is_nowhere(motion: Motion) -> None:
    for both in (motion.then(motion.back()), motion.back().then(motion)):
        assert figures(both) == pytest.approx((0, 0, 0), abs=1e-9)
        assert both.magnification == pytest.approx(1.0)


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


def test_what_frames_share_is_left_of_a_mean_and_the_rest_averages_out() -> None:
    """Closed form: 0.1 px each, of which 0.06 are shared; a mean of 24 keeps those and a 24th of the other variance."""
    one = Motion(u_px=0.1, own_px=0.08)
    assert one.shared_px == pytest.approx(0.06)
    assert Motion(u_px=0.1).shared_px == 0.1
    assert one.back().shared_px == pytest.approx(0.06)
    assert one.then(one).shared_px == pytest.approx(0.06 * 2**0.5)
    scattered = np.random.default_rng(1).normal(0.0, 1.0, (24, 2))
    scattered *= 0.08 / np.sqrt(scattered.var(axis=0, ddof=1).mean())
    apart = [replace(one, dx_px=right, dy_px=down) for right, down in scattered.tolist()]
    for mean in (mean_motion(apart), line_through(range(24), apart, 5.0)):
        assert mean.u_px == mean.shared_px == pytest.approx((0.06**2 + 0.08**2 / 24) ** 0.5)


def test_how_sure_a_mean_is_goes_by_scatter_where_there_are_enough() -> None:
    """GUM 4.2.3, s / sqrt(n): motions that lie twice as far apart as they say make a mean half as sure; four say nothing yet."""
    one = Motion(u_px=0.1, own_px=0.1)
    apart = [replace(one, dx_px=side, dy_px=-side) for side in (0.2, -0.2) * 8]
    own_px = 0.2 * (16 / 15) ** 0.5
    assert mean_motion(apart).u_px == pytest.approx(own_px / 4)
    assert mean_motion(apart[:4]).u_px == pytest.approx(0.1 / 2)


def test_a_line_keeps_drift_and_drops_tremor() -> None:
    """Closed form: 3 px/s of drift under an 8 Hz sinusoid of 10 px, sampled for a second to each side, is at its true place."""
    times = np.arange(-1, 1.001, 1 / 30)
    motions = [Motion(5 + 3 * t + 10 * np.sin(50.3 * t + 1), 2, 0.1 * t, 0.9) for t in times]
    there = line_through(times, motions, 0.0)
    assert figures(there) == pytest.approx((5, 2, 0), abs=0.4)
    assert there.confidence == 0.9
    exact = [Motion(1 + 2 * t, -t, 0.5 * t) for t in times]
    assert figures(line_through(times, exact, 0.7)) == pytest.approx((2.4, -0.7, 0.35))
    assert figures(line_through([0, 1], exact[:2], 0.5)) == pytest.approx(
        figures(line_through([5], exact[:1], 0.0)), abs=0.1
    )
    assert figures(line_through(times, exact, 9.0)) == pytest.approx((1, 0, 0))
    with pytest.raises(ValueError, match="no motion"):
        line_through([], [], 0.0)
