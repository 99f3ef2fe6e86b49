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


def test_the_last_row_and_column_need_nothing_beyond_them() -> None:
    """A plane that ends in the middle of nan: shifts of whole pixels touch none of it."""
    wide = np.full((40, 60), np.nan, np.float32)
    wide[:33, :47] = np.random.default_rng(2).random((33, 47))
    plane = wide[:33, :47]
    for motion in (Motion(), Motion(3, -2), Motion(-5, 4)):
        seen = into_reference(plane, motion, np.empty((33, 47), np.float32))
        dx, dy = int(motion.dx_px), int(motion.dy_px)
        wanted = np.full((33, 47), np.nan)
        rows, columns = np.mgrid[:33, :47]
        inside = (rows + dy >= 0) & (rows + dy < 33) & (columns + dx >= 0) & (columns + dx < 47)
        wanted[inside] = plane[rows[inside] + dy, columns[inside] + dx]
        np.testing.assert_allclose(seen, wanted, atol=1e-6)
