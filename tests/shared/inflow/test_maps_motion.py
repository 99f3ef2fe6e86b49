"""A moved frame's bins against scipy's interpolation of the same signal, and their noise against repeated draws."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.ndimage import affine_transform

from shared.calibration import Calibration
from shared.frame import CameraDescription, Frame
from shared.inflow.maps_motion import bins_to_frame, noise_kept
from shared.inflow.maps_slots import MapGatherer
from shared.motion.pose import Motion

SHAPE = (60, 88)
BINS = (30, 44)


def known(defects: tuple[tuple[int, int], ...] = ()) -> Calibration:
    rng = np.random.default_rng(3)
    bad = np.zeros(SHAPE, np.bool_)
    for row, column in defects:
        bad[row, column] = True
    dark = (50 + rng.uniform(0, 3, SHAPE)).astype(np.float32)
    flat = rng.uniform(0.8, 1.0, SHAPE).astype(np.float32)
    return Calibration(CameraDescription("test", SHAPE[1], SHAPE[0], 12), dark, flat, bad, 0.1, 3.0, 4000)


def binned(plane: np.ndarray) -> np.ndarray:
    return plane.reshape(BINS[0], 2, BINS[1], 2).sum(axis=(1, 3))


def gathered(calibration: Calibration, pixels: np.ndarray, motion: Motion | None) -> MapGatherer:
    gatherer = MapGatherer(calibration, 8)
    gatherer.add(Frame(pixels, 0, 0, 8000.0), motion)
    gatherer.finish()
    return gatherer


def stored(gatherer: MapGatherer) -> np.ndarray:
    plane = gatherer.planes[gatherer.slots[-1].place].astype(float)
    return np.where(plane == -32768, np.nan, plane * gatherer.slots[-1].step)


@settings(max_examples=30, deadline=None)
@given(st.builds(Motion, st.floats(-20, 20), st.floats(-20, 20), st.floats(-8, 8)))
def test_as_scipy_interpolates_the_bins(motion: Motion) -> None:
    calibration = known(((9, 12), (40, 71)))
    pixels = np.random.default_rng(0).integers(60, 3000, SHAPE).astype(np.uint16)
    good = ~calibration.defects
    counts = np.where(good, pixels - calibration.dark_counts.astype(float), 0.0)
    signal = binned(counts) / binned(np.where(good, calibration.flat, 0.0)) * 1000.0 / 8000.0
    matrix = bins_to_frame(motion, SHAPE)[::-1, [1, 0, 2]]
    wanted = affine_transform(signal, matrix[:, :2], matrix[:, 2], order=1, cval=np.nan)
    found = stored(gathered(calibration, pixels, motion))
    both = np.isfinite(found) & np.isfinite(wanted)
    np.testing.assert_allclose(found[both], wanted[both], atol=0.05)
    # at the very edge rounding may decide otherwise
    assert np.count_nonzero(np.isfinite(found) != np.isfinite(wanted)) <= sum(BINS)


def test_no_motion_is_the_frame_as_it_lies() -> None:
    """By both ways of adding; only a bin without any good pixel is filled from its neighbours where frames may move."""
    calibration = known(((9, 12), *((8 + i, 20 + j) for i in (0, 1) for j in (0, 1))))
    pixels = np.random.default_rng(1).integers(60, 3000, SHAPE).astype(np.uint16)
    at_rest, moved = (gathered(calibration, pixels, motion) for motion in (None, Motion()))
    seeing = at_rest.bins.inverse_flat > 0
    np.testing.assert_allclose(stored(at_rest)[seeing], stored(moved)[seeing], atol=0.03)
    assert at_rest.slots[0].shot == moved.slots[0].shot
    assert not seeing[4, 10]


def test_a_whole_bin_is_the_bin_over_there() -> None:
    calibration = known()
    pixels = np.random.default_rng(2).integers(60, 3000, SHAPE).astype(np.uint16)
    at_rest, moved = (stored(gathered(calibration, pixels, motion)) for motion in (None, Motion(6, -4)))
    np.testing.assert_allclose(moved[2:, :-3], at_rest[:-2, 3:], atol=0.03)
    assert np.isnan(moved[:2]).all()
    assert np.isnan(moved[:, -3:]).all()


def test_saturated_tissue_is_marked_where_it_lies_in_the_reference_view() -> None:
    calibration = known(((30, 40),))
    pixels = np.full(SHAPE, 500, np.uint16)
    pixels[20:24, 50:54] = 4095
    pixels[30, 40] = 4095  # a hot pixel, which the calibration knows
    marked = gathered(calibration, pixels, Motion(8, 4)).saturated
    assert marked[8:10, 21:23].all()
    assert marked.sum() == 4


def test_interpolation_leaves_the_share_of_noise_that_it_says() -> None:
    """Spread over bins and draws of an even picture: within 8 %, for shifts, half-way shifts and turns."""
    calibration = Calibration.assumed(CameraDescription("test", SHAPE[1], SHAPE[0], 12))
    rng = np.random.default_rng(5)
    for motion in (Motion(0.0, 0.0), Motion(1.0, 1.0), Motion(0.5, 3.0), Motion(1.3, -2.2, 4.0)):
        found = []
        for _ in range(25):
            pixels = np.rint(1000 + rng.normal(0, 10, SHAPE)).astype(np.uint16)
            found.append(stored(gathered(calibration, pixels, motion)) * 8.0)
        variance = np.nanmean(np.var(np.array(found), axis=0, ddof=1)) / (100.0 / 4)
        assert abs(variance / noise_kept(bins_to_frame(motion, SHAPE), BINS) - 1.0) < 0.08, motion
