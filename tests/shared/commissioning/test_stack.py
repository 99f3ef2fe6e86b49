"""Mean and variance of frames, against numpy's own."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from shared.commissioning.stack import Stack
from shared.errors import Refused


@given(arrays(np.uint16, st.tuples(st.integers(2, 9), st.integers(1, 6), st.integers(1, 6))))
def test_they_are_numpys(frames):
    stack = Stack.of(frames)
    assert np.allclose(stack.mean, frames.mean(axis=0), rtol=1e-12)
    assert np.allclose(stack.variance, frames.var(axis=0, ddof=1), rtol=1e-9)
    assert np.allclose(stack.frame_means, frames.mean(axis=(1, 2)))


@pytest.mark.parametrize(
    ("frames", "words"),
    [
        ([], "too few frames: 0; at least 2"),
        ([np.zeros((2, 2), np.uint16)], "too few frames: 1"),
        ([np.zeros((2, 2), np.uint16), np.zeros((2, 3), np.uint16)], "frames of different sizes"),
        ([np.zeros(4, np.uint16)] * 2, "height and width"),
        ([np.full((2, 2), np.nan)] * 2, "not numbers"),
    ],
)
def test_what_is_no_stack_is_refused(frames, words):
    with pytest.raises(Refused, match=words):
        Stack.of(frames)
