"""A moved frame's bins against scipy's nearest neighbours of the same signal, and their noise against repeated draws."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.ndimage import affine_transform

from shared.calibration import Calibration
from shared.frame import CameraDescription, Frame
from shared.inflow.maps_motion import MovedBins, lie_still, places_in_frame, rounding_px
from shared.inflow.maps_slots import MapGatherer, Slot, defects_of
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


def of_fours(plane: np.ndarray) -> np.ndarray:
    """Sums of 2 x 2 pixels that begin at every pixel."""
    return plane[:-1, :-1] + plane[:-1, 1:] + plane[1:, :-1] + plane[1:, 1:]


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
def test_bins_take_the_pixels_that_scipy_calls_nearest(motion: Motion) -> None:
    calibration = known(((9, 12), (40, 71)))
    pixels = np.random.default_rng(0).integers(60, 3000, SHAPE).astype(np.uint16)
    good = ~calibration.defects
    counts = np.where(good, pixels - calibration.dark_counts.astype(float), 0.0)
    signal = of_fours(counts) / of_fours(np.where(good, calibration.flat, 0.0)) * 1000.0 / 8000.0
    matrix = places_in_frame(motion, SHAPE)[::-1, [1, 0, 2]]
    wanted = affine_transform(signal, matrix[:, :2], matrix[:, 2], BINS, order=0, cval=np.nan)
    found = stored(gathered(calibration, pixels, motion))
    # a place half way between two pixels may be rounded otherwise, and the very edge be taken for outside
    both = np.isfinite(found) & np.isfinite(wanted)
    assert np.mean(np.abs(found[both] - wanted[both]) > 0.05) < 0.002
    assert np.count_nonzero(np.isfinite(found) != np.isfinite(wanted)) <= 2 * sum(BINS)


def test_less_than_half_a_pixel_is_the_frame_as_it_lies() -> None:
    calibration = known(((9, 12), *((8 + i, 20 + j) for i in (0, 1) for j in (0, 1))))
    pixels = np.random.default_rng(1).integers(60, 3000, SHAPE).astype(np.uint16)
    at_rest, moved = (gathered(calibration, pixels, motion) for motion in (None, Motion(0.4, -0.3)))
    np.testing.assert_array_equal(stored(at_rest), stored(moved))
    assert at_rest.slots[0].shot == moved.slots[0].shot
    assert (moved.slots[0].right_px, moved.slots[0].down_px) == (-0.4, 0.3)
    assert moved.slots[0].held == pytest.approx((-0.4, 0.3, 0.25, 0.4, -0.3))
    joined = moved.slots[0].joined(
        replace(moved.slots[0], frames=3 * moved.slots[0].frames, off_px2=0.01, moved_right_px=2.4)
    )
    assert joined.held == pytest.approx((-0.4, 0.3, 0.07, 1.9, -0.3))


def test_what_slots_have_alike_averages_out_only_where_the_hand_moved() -> None:
    """A running mean keeps what it had: a frame's variance of 4 and that of a mean of four frames, 1, have the covariance 1, and
    (4 + 2 + 1) / 4 is the variance of their mean. Long after, nothing of it is left, and it is (4 + 1) / 4.
    """
    before, after = (
        Slot(k, k + 0.9, k + 0.5, 5, 0.0, 0.0, 1.0, k, common=common, age=age)
        for k, common, age in ((0, 4.0, 0.0), (1, 1.0, math.log(4.0)))
    )
    one = before.joined(after)
    assert (pytest.approx(one.common), one.spots, one.age) == (7 / 4, 1, math.log(2.0))
    assert before.joined(replace(after, age=99.0)).common == 5 / 4
    moved = replace(before, spots=5).joined(after)
    assert (moved.common, moved.spots) == (5 / 4, 6)
    assert lie_still(places_in_frame(Motion(0.4, -0.3, 0.1), SHAPE), BINS)
    assert not lie_still(places_in_frame(Motion(0.4, -0.3, 0.4), SHAPE), BINS)


@given(st.floats(-20, 20), st.floats(-20, 20))
def test_rounding_is_to_the_nearest_pixel(right: float, down: float) -> None:
    for off, there in zip(rounding_px(Motion(right, down)), (right, down), strict=True):
        assert abs(off) <= 0.5
        assert off + there == pytest.approx(round(off + there), abs=1e-9)


def test_a_whole_bin_is_the_bin_over_there() -> None:
    calibration = known()
    pixels = np.random.default_rng(2).integers(60, 3000, SHAPE).astype(np.uint16)
    at_rest, moved = (stored(gathered(calibration, pixels, motion)) for motion in (None, Motion(6, -4)))
    np.testing.assert_allclose(moved[2:, :-3], at_rest[:-2, 3:], atol=0.05)
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


def test_every_bin_keeps_its_own_noise() -> None:
    """Spread over bins and draws of an even picture: that of four pixels within 8 %, nothing of it shared with the next bin."""
    calibration = Calibration.assumed(CameraDescription("test", SHAPE[1], SHAPE[0], 12))
    rng = np.random.default_rng(5)
    for motion in (Motion(1.0, 1.0), Motion(0.5, 3.0), Motion(1.3, -2.2, 4.0)):
        found = []
        for _ in range(25):
            pixels = np.rint(1000 + rng.normal(0, 10, SHAPE)).astype(np.uint16)
            found.append(stored(gathered(calibration, pixels, motion)) * 8.0)
        off = np.array(found) - np.mean(found, axis=0)
        variance = np.nanmean(off**2) * 25 / 24
        assert abs(variance / (100.0 / 4) - 1.0) < 0.08, motion
        assert abs(np.nanmean(off[:, :, 1:] * off[:, :, :-1]) / variance) < 0.03, motion


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 2**31), st.integers(1, 20), st.booleans())
def test_frames_taken_together_are_what_they_are_one_by_one(seed: int, number: int, ambient_off: bool) -> None:
    """At rest and moved by turns, saturated, with defects, under changing light, lit and unlit."""
    rng = np.random.default_rng(seed)
    calibration = known(((9, 12), (40, 71), (41, 71)))
    made: list[tuple[Frame, Motion | None]] = []
    for k in range(number):
        motion = Motion(*rng.normal(0, 4, 2), rng.normal(0, 1)) if rng.random() < 0.7 else None
        pixels = rng.integers(60, 4096, SHAPE).astype(np.uint16)
        level = 0.0 if ambient_off and k % 4 == 0 else float(rng.choice((0.5, 1.0)))
        made.append((Frame(pixels, k, round(k * 1.2e8), 8000.0, 1.0, level, level > 0), motion))
    alone, together = (MapGatherer(calibration, 8, ambient_off=ambient_off) for _ in range(2))
    for frame, motion in made:
        alone.add(frame, motion)
    half = number // 2
    for some in (made[:half], made[half:]):
        together.add_together(some)
    alone.finish()
    together.finish()
    assert [slot.frames for slot in together.slots] == [slot.frames for slot in alone.slots]
    np.testing.assert_array_equal(together.saturated, alone.saturated)
    for one, other in zip(together.slots, alone.slots, strict=True):
        ours, theirs = together.planes[one.place], alone.planes[other.place]
        assert abs(one.step - other.step) <= 1e-6 * other.step
        assert np.abs(ours.astype(int) - theirs).max() <= 1


def test_saturated_pixels_count_where_the_tissue_lies() -> None:
    """A bin is saturated when over a tenth of its readings are: one pixel of four in each frame is enough, a defect is none."""
    calibration, motion = known(((30, 50),)), Motion(6.0, -4.0)
    pixels = np.full(SHAPE, 1000, np.uint16)
    pixels[20, 41] = pixels[30, 50] = 4000
    gatherer = gathered(calibration, pixels, motion)
    wanted = np.zeros(BINS, np.uint8)
    wanted[(20 + 4) // 2, (41 - 6) // 2] = 1
    np.testing.assert_array_equal(gatherer.saturated, wanted)


def test_ambient_light_is_taken_off_where_the_pixels_lie() -> None:
    """A slope of light over the camera that does not follow the tissue: what is left is the tissue, at any motion."""
    calibration = known(((9, 12),))
    slope = np.add.outer(np.linspace(0, 300, SHAPE[0]), np.linspace(0, 200, SHAPE[1]))
    dark = calibration.dark_counts + slope
    lit = np.rint(dark + 800.0 * calibration.flat).astype(np.uint16)
    unlit = np.rint(dark).astype(np.uint16)
    for motion in (Motion(), Motion(5, -3), Motion(4.4, 7.7, 2.0)):
        gatherer = MapGatherer(calibration, 8, ambient_off=True)
        for number in range(6):
            gatherer.add(Frame(unlit, 2 * number, round(2e8 * number), 8000.0, 1.0, 0.0, False))
            gatherer.add(Frame(lit, 2 * number + 1, round(2e8 * number + 1e8), 8000.0), motion)
        gatherer.finish()
        found = stored(gatherer)
        assert np.nanmax(np.abs(found - 100.0)) < 0.3, motion


def test_what_is_known_of_a_calibration_serves_every_run_alike() -> None:
    """Made once, before any frame: the second frame of a run would have waited 180 ms for it, and the light's lease not."""
    calibration = known(((9, 12), (40, 71)))
    pixels = np.random.default_rng(0).integers(60, 3000, SHAPE).astype(np.uint16)
    motion, ready = Motion(3.0, -2.0), MovedBins(calibration, defects_of(calibration))
    wanted = stored(gathered(calibration, pixels, motion))
    for ambient_off in (True, False):
        gatherer = MapGatherer(calibration, 8, known_moved=ready, ambient_off=ambient_off)
        if ambient_off:
            gatherer.add(Frame(np.full(SHAPE, 100, np.uint16), 0, 0, 8000.0, lit=False))
        gatherer.add(Frame(pixels, 1, 30_000_000, 8000.0), motion)
        gatherer.finish()
    np.testing.assert_array_equal(stored(gatherer), wanted)
