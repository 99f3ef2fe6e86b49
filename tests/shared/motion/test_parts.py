"""What moves alone is told from what the hand moves: against scipy's shifts, and against least squares by numpy."""

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.ndimage import gaussian_filter, shift

from shared.calibration import Calibration
from shared.frame import CameraDescription
from shared.motion.parts import PARTS, PULLED_ALIKE, MovedParts, Parts, shifted
from shared.motion.reduced import Reducer
from shared.motion.refinement import WHOLE, normal_equations, refined

DOWN, ACROSS = PARTS
SHAPE = 48 * DOWN, 40 * ACROSS
REDUCER = Reducer(Calibration.assumed(CameraDescription("test", SHAPE[1], SHAPE[0], 12, black_level=50.0)))
MARGIN = 8
RIM = slice(MARGIN + 7 * SHAPE[1] // ACROSS, None)
NOWHERE = (0.0, 0.0, 0.0)


@cache
def tissue() -> np.ndarray:
    """Electrons a pixel, wider by a margin than what is seen; a rim on the right has thrice the contrast."""
    plane = gaussian_filter(np.random.default_rng(1).standard_normal([side + 2 * MARGIN for side in SHAPE]), 1.0)
    plane *= 40 / plane.std()
    plane[:, RIM] *= 3.0
    return 1000 + plane


def texture(plane: np.ndarray, seed: int) -> np.ndarray:
    inside = plane[MARGIN:-MARGIN, MARGIN:-MARGIN]
    electrons = np.random.default_rng(seed).poisson(np.maximum(inside, 0.0) * 10)
    return REDUCER.texture(np.rint(50 + electrons / 10).astype(np.uint16)).fine


def seen(right: float, down: float, alone: slice, alone_right: float, seed: int) -> np.ndarray:
    """The tissue after a move, of which one strip of columns has moved further, by scipy's cubic splines."""
    plane, beside = (
        shift(tissue(), (down, right + further), order=3, mode="nearest") for further in (0.0, alone_right)
    )
    plane[:, alone] = beside[:, alone]
    return texture(plane, seed)


@settings(max_examples=8, deadline=None)
@given(st.floats(-3, 3), st.floats(-3, 3), st.floats(0.8, 1.8))
def test_a_rim_that_moves_alone_is_found_and_no_longer_pulls(right: float, down: float, further: float) -> None:
    """Its strong contrast pulls the whole by a tenth of a texel and more. By where the rest is, less than half of that is left (one
    step is about as long as it should be); without the rim, next to nothing.
    """
    reference = texture(tissue(), 0)
    before, now = Parts(), Parts()
    for seed in range(1, 7):
        before.add(reference, texture(tissue(), seed), NOWHERE, seed)
    pulled = []
    for seed in range(11, 17):
        found = refined(reference, seen(right, down, RIM, further, seed), (round(right), round(down), 0.0))
        now.add(reference, seen(right, down, RIM, further, seed), found[:3], seed)
        pulled.append(found[0] - right)
    moved = now.moved(before)
    assert moved.alone[:, -1].all()
    assert moved.alone[:, :-2].sum() <= 1
    assert np.mean(pulled) > 0.1
    assert abs(np.mean(pulled) + moved.middle[0]) < np.mean(pulled) / 2.0
    without = [
        refined(reference, seen(right, down, RIM, further, seed), (round(right), round(down), 0.0), 0, ~moved.alone)
        for seed in range(11, 17)
    ]
    assert abs(np.mean([place[0] for place in without]) - right) < 0.03


def test_where_more_than_a_third_moves_nothing_has_moved_alone() -> None:
    reference = texture(tissue(), 0)
    before, now = Parts(), Parts()
    before.add(reference, texture(tissue(), 1), NOWHERE, 1)
    picture = seen(0.0, 0.0, slice(MARGIN + SHAPE[1] // 2, None), 1.0, 2)
    now.add(reference, picture, refined(reference, picture, NOWHERE)[:3], 2)
    assert not now.moved(before).alone.any()


def test_parts_that_show_nothing_say_nothing() -> None:
    """Even pictures, other pictures and the dark: no part has moved, and none is left out."""
    reference, dark = texture(tissue(), 0), np.zeros(SHAPE, np.float32)
    known = Parts()
    known.add(reference, texture(tissue(), 1), NOWHERE, 1)
    for view, picture in ((reference, dark), (dark, reference), (dark, dark), (reference, -reference)):
        parts = Parts()
        parts.add(view, picture, NOWHERE, 0)
        for moved in (parts.moved(known), parts.moved(Parts()), known.moved(parts)):
            assert moved.middle == (0.0, 0.0)
            assert moved.middle_u is None
            assert not moved.alone.any()


def test_the_middle_of_normal_parts_is_as_sure_as_their_mean() -> None:
    """Tukey's biweight is 0.86 as efficient as the mean of normal ones where it ends at 3.5 standard deviations (numerical
    integration of its asymptotic variance), and of these hardly one in five hundred seems to have moved alone.
    """
    rng, alike = np.random.default_rng(2), np.ones((2, *PARTS))
    drawn = [MovedParts(rng.normal(0.0, 0.1, (2, *PARTS)), alike) for _ in range(400)]
    middles, means = (
        np.array(each) for each in zip(*((one.middle, one.texels.mean(axis=(1, 2))) for one in drawn), strict=True)
    )
    assert means.var() / middles.var() == pytest.approx(0.86, abs=0.06)
    assert np.mean([one.alone.mean() for one in drawn]) < 0.004
    said = np.sqrt(np.mean(np.square([one.middle_u for one in drawn])))
    assert said == pytest.approx(PULLED_ALIKE * middles.std(), rel=0.05)


def test_its_equations_are_those_of_least_squares() -> None:
    """numpy's gradient and lstsq, of inner texels of one part: strength, and how far it lies off."""
    reference, picture = texture(tissue(), 0), texture(tissue(), 1)
    equations = normal_equations(reference, picture, NOWHERE, 0, PARTS)
    by_y, by_x = np.gradient(reference.astype(np.float64))
    step = max(reference.size // 20_000, 1)
    rows = np.arange(1, SHAPE[0] - 1, step)
    rows = rows[(rows >= SHAPE[0] // DOWN) & (rows < 2 * SHAPE[0] // DOWN)]
    columns = slice(2 * SHAPE[1] // ACROSS, 3 * SHAPE[1] // ACROSS)
    told = np.stack([plane[rows, columns].ravel() for plane in (reference, by_x, by_y)], axis=1)
    wanted = np.linalg.lstsq(told, picture[rows, columns].ravel().astype(np.float64), rcond=None)[0]
    part = equations[1, 2]
    assert np.linalg.solve(part[:, :3], part[:, 3]) == pytest.approx(wanted, abs=1e-4)


@given(arrays(np.bool_, PARTS), st.floats(-9, 9), st.floats(-9, 9))
def test_what_is_left_out_goes_with_the_tissue(counted: np.ndarray, right: float, down: float) -> None:
    """As scipy shifts it by whole parts, what comes into view being counted."""
    moved = shift(counted.astype(float), (round(down), round(right)), order=0, mode="constant", cval=1.0)
    assert np.array_equal(shifted(counted, right, down), moved > 0.5)
    assert shifted(WHOLE, right, down).all()
