"""A region that follows: equal to the standing one where nothing moved, exact where the truth is known, as sure as it says."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shared.calibration import Calibration
from shared.errors import Refused
from shared.frame import CameraDescription, Frame
from shared.motion.curves import MovingCurves
from shared.motion.moving_region import MovingRegion, RegionSampler
from shared.motion.pose import Motion
from shared.region import Region
from shared.signal import RegionPixels, region_signal

SHAPE = (120, 160)
REGIONS = ("a:40,30,30,25", "b:polygon:60,20,110,40,90,80,50,60", "c:0,0,12,9")


def known(defect_share: float = 0.01) -> Calibration:
    rng = np.random.default_rng(0)
    camera = CameraDescription("test", SHAPE[1], SHAPE[0], 12)
    flat = rng.uniform(0.6, 1.0, SHAPE).astype(np.float32)
    return Calibration(
        camera, rng.uniform(40, 60, SHAPE).astype(np.float32), flat, rng.random(SHAPE) < defect_share, 0.2, 3.0, 4000
    )


def frame(pixels: np.ndarray) -> Frame:
    return Frame(np.clip(np.rint(pixels), 0, 4095).astype(np.uint16), 0, 0, 8000.0, 1.5, 0.7)


CALIBRATION, WHOLE = known(), known(0.0)
SAMPLER = RegionSampler.of(CALIBRATION)


@pytest.mark.parametrize("text", REGIONS)
def test_without_motion_it_is_the_standing_region(text: str) -> None:
    rng = np.random.default_rng(3)
    seen = frame(rng.uniform(0, 4095, SHAPE))
    region = Region.parse(text)
    standing = region_signal(seen, RegionPixels.gathered(region.indices(SHAPE), WHOLE), WHOLE)
    moving = MovingRegion.of(region, RegionSampler.of(WHOLE)).signal(seen, Motion())
    assert moving.signal is not None
    assert moving.signal.signal.value == pytest.approx(standing.signal.value, rel=1e-5)
    assert moving.signal.signal.u == pytest.approx(standing.signal.u, rel=1e-5)
    assert moving.signal.saturated_share == pytest.approx(standing.saturated_share)
    assert moving.seen_share == pytest.approx(1)


@settings(max_examples=30, deadline=None)
@given(st.integers(-25, 25), st.integers(-15, 30))
def test_whole_pixels_are_the_region_over_there(dx: int, dy: int) -> None:
    seen = frame(np.random.default_rng(5).uniform(60, 3000, SHAPE))
    x, y, w, h = 40, 30, 30, 25
    there = Region("a", "rectangle", (x + dx, y + dy, w, h))
    standing = region_signal(seen, RegionPixels.gathered(there.indices(SHAPE), WHOLE), WHOLE)
    moving = MovingRegion.of(Region("a", "rectangle", (x, y, w, h)), RegionSampler.of(WHOLE)).signal(
        seen, Motion(dx, dy)
    )
    assert moving.signal is not None
    assert moving.signal.signal.value == pytest.approx(standing.signal.value, rel=1e-5)


@settings(max_examples=30, deadline=None)
@given(st.builds(Motion, st.floats(-15, 15), st.floats(-10, 15), st.floats(-10, 10)))
def test_a_slope_is_read_where_the_region_went(motion: Motion) -> None:
    """On a plane of light, a region's mean is the plane's value at the middle that geometry gives."""
    rows, columns = np.mgrid[: SHAPE[0], : SHAPE[1]]
    camera = CameraDescription("test", SHAPE[1], SHAPE[0], 12)
    even = Calibration.assumed(camera)
    seen = Frame((1000 + 8 * columns + 5 * rows).astype(np.uint16), 0, 0, 1000.0)
    moving = MovingRegion.of(Region.parse("a:60,40,31,21"), RegionSampler.of(even)).signal(seen, motion)
    x, y = motion.to_frame(SHAPE) @ [75, 50, 1]
    assert moving.signal is not None
    assert moving.signal.signal.value == pytest.approx(1000 + 8 * x + 5 * y, abs=0.5)


@settings(max_examples=30, deadline=None)
@given(st.builds(Motion, st.floats(-15, 15), st.floats(-10, 15), st.floats(-10, 10)))
def test_a_defect_counts_as_what_lies_round_it(motion: Motion) -> None:
    """On a slope with defects to the right alone the mean stays that at the middle; without them it would lie to the left."""
    rows, columns = np.mgrid[: SHAPE[0], : SHAPE[1]]
    defects = (columns % 3 == 0) & (rows % 3 == 0) & (columns > 75 + motion.dx_px)
    known = replace(Calibration.assumed(CameraDescription("test", SHAPE[1], SHAPE[0], 12)), defects=defects)
    pixels = np.where(defects, 4095, 1000 + 8 * columns + 5 * rows).astype(np.uint16)
    moving = MovingRegion.of(Region.parse("a:60,40,31,21"), RegionSampler.of(known)).signal(
        Frame(pixels, 0, 0, 1000.0), motion
    )
    x, y = motion.to_frame(SHAPE) @ [75, 50, 1]
    assert moving.signal is not None
    assert moving.signal.signal.value == pytest.approx(1000 + 8 * x + 5 * y, abs=0.5)
    assert moving.signal.saturated_share == 0
    assert 0.9 < moving.seen_share < 0.97


def test_where_many_pixels_are_defects_the_nearest_good_ones_count() -> None:
    """A region with one good pixel is that pixel; its noise is that pixel's."""
    defects = np.ones(SHAPE, np.bool_)
    defects[45, 50] = False
    known = replace(Calibration.assumed(CameraDescription("test", SHAPE[1], SHAPE[0], 12)), defects=defects)
    pixels = np.full(SHAPE, 4095, np.uint16)
    pixels[45, 50] = 700
    seen = MovingRegion.of(Region.parse("a:40,30,30,25"), RegionSampler.of(known)).signal(
        Frame(pixels, 0, 0, 1000.0), Motion()
    )
    assert seen.signal is not None
    assert seen.signal.signal.value == pytest.approx(700)
    assert seen.seen_share == pytest.approx(1 / 750)


def test_the_uncertainty_is_what_noise_makes_of_it() -> None:
    """Standard deviation over 400 noisy frames against the stated one: within 12 % (3 sigma of a standard deviation's own)."""
    rng = np.random.default_rng(6)
    electrons = rng.uniform(500, 4000, SHAPE)
    region = MovingRegion.of(Region.parse("a:40,30,14,11"), SAMPLER)
    found = []
    for _ in range(400):
        noisy = rng.poisson(electrons) + rng.normal(0, 3.0, SHAPE)
        pixels = np.clip(np.rint(CALIBRATION.dark_counts + 0.2 * 1.5 * noisy), 0, 3999)
        seen = region.signal(frame(pixels), Motion(3.4, -2.7, 4.0)).signal
        assert seen is not None
        found.append((seen.signal.value, seen.signal.u))
    values, stated = np.array(found).T
    assert values.std(ddof=1) == pytest.approx(stated.mean(), rel=0.12)


def test_what_has_left_the_picture_is_said() -> None:
    seen = frame(np.full(SHAPE, 500.0))
    region = MovingRegion.of(Region.parse("a:40,30,30,25"), RegionSampler.of(known(0.0)))
    assert region.signal(seen, Motion(-55, 0)).seen_share == pytest.approx(0.5, abs=0.02)
    gone = region.signal(seen, Motion(-100, 0))
    assert gone.signal is None
    assert gone.seen_share == 0
    with pytest.raises(Refused, match="every pixel"):
        MovingRegion.of(Region.parse("a:40,30,30,25"), RegionSampler.of(known(1.0)))


def test_curves_leave_out_what_they_cannot_place() -> None:
    """Frames without light or without a place are in no curve; frames without the region are counted for it alone."""
    curves = MovingCurves(
        known(0.0), {Region.parse("a:5,30,30,25"): Motion(), Region.parse("b:90,30,30,25"): Motion(2)}
    )
    dark = Frame(np.zeros(SHAPE, np.uint16), 3, 3 * 10**8, 8000.0, lit=False)
    for number, motion in enumerate((Motion(), Motion(-30), None, Motion(2))):
        seen = Frame(np.full(SHAPE, 500, np.uint16), number, number * 10**8, 8000.0)
        curves.add(seen, motion)
    curves.add(dark, Motion())
    made = curves.curves()
    np.testing.assert_allclose(made["a"].times_s, [-0.004, 0.296])
    np.testing.assert_allclose(made["b"].times_s, [-0.004, 0.096, 0.296])
    assert (curves.unseen("a"), curves.unseen("b")) == (1, 0)


def test_a_slope_is_what_a_pixel_farther_would_see_and_the_place_costs_that_times_its_uncertainty() -> None:
    """A picture that rises by 3 counts a pixel to the right and falls by 2 a pixel down, under an even flat."""
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    even = Calibration.assumed(CameraDescription("test", SHAPE[1], SHAPE[0], 12))
    pixels = (800 + 3 * x - 2 * y).astype(np.uint16)
    region = Region.parse("a:40,30,30,25")
    per_count = 1000.0 / 8000.0
    found = MovingRegion.of(region, RegionSampler.of(even)).slopes(Frame(pixels, 0, 0, 8000.0), Motion(4.3, -2.2))
    assert found == pytest.approx((3 * per_count, -2 * per_count), rel=1e-4)
    curves = MovingCurves(even, {region: Motion()})
    for number in range(20):
        moved = np.rint(pixels - 3 * 0.1 * number).astype(np.uint16)
        curves.add(Frame(moved, number, number * 10**8, 8000.0), Motion(0.1 * number, 0.0, u_px=0.2))
    by_place = curves.curves()["a"].by_place
    assert by_place is not None
    # ways in which ambient light may be off come behind these
    np.testing.assert_allclose(by_place[:2], 0.2 * per_count * np.array([[3.0], [-2.0]]) * np.ones(20), rtol=1e-4)
