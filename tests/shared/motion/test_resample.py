"""Looking at a picture as the reference view would have seen it, against scipy."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.ndimage import affine_transform

from shared.motion.pose import Motion
from shared.motion.resample import into_reference


@settings(max_examples=40, deadline=None)
@given(st.builds(Motion, st.floats(-30, 30), st.floats(-30, 30), st.floats(-20, 20)))
def test_as_scipy_interpolates(motion: Motion) -> None:
    plane = np.random.default_rng(0).random((60, 90)).astype(np.float32)
    ours = into_reference(plane, motion, np.empty_like(plane))
    matrix = motion.to_frame(plane.shape)[::-1, [1, 0, 2]]
    wanted = affine_transform(plane.astype(float), matrix[:, :2], matrix[:, 2], order=1, cval=np.nan)
    both = np.isfinite(ours) & np.isfinite(wanted)
    np.testing.assert_allclose(ours[both], wanted[both], atol=2e-4)
    # at the very edge rounding may decide otherwise
    assert np.count_nonzero(np.isfinite(ours) != np.isfinite(wanted)) <= 2 * (60 + 90)


def test_nothing_moved_is_the_same_picture() -> None:
    counts = np.random.default_rng(1).integers(0, 1024, (33, 47)).astype(np.uint16)
    np.testing.assert_array_equal(into_reference(counts, Motion(), np.empty(counts.shape, np.float32)), counts)
