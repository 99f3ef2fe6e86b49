"""Sums of some bins over the frames of a slot, against plain sums of what the bins themselves hold, one frame a gatherer."""

import numpy as np
import pytest
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from shared.calibration import Calibration
from shared.frame import CameraDescription, Frame
from shared.inflow.maps_motion import MovedBins, MovedFrame, places_in_frame
from shared.inflow.maps_samples import Samples, spacing
from shared.inflow.maps_slots import SHORTEST_S, MapGatherer, defects_of
from shared.motion.pose import Motion

SHAPE = (164, 248)
BINS = (82, 124)
MOTIONS = [Motion(*place) for place in ((3.0, -1.0), (-3.0, 2.0), (9.0, -12.0), (1.0, 1.0), (-6.0, 8.0), (4.0, 0.0))]
"""Whole pixels, where samples are just what bins take."""
FRAMES = 1000


def known() -> Calibration:
    rng = np.random.default_rng(3)
    bad = rng.random(SHAPE) < 0.01
    dark, flat = (50 + rng.uniform(0, 3, SHAPE)).astype(np.float32), rng.uniform(0.8, 1.0, SHAPE).astype(np.float32)
    return Calibration(CameraDescription("test", SHAPE[1], SHAPE[0], 12), dark, flat, bad, 0.1, 3.0, 4000)


def test_sums_are_those_of_the_bins_and_of_where_the_hand_held_them() -> None:
    """Six frames in three slots, two of which are joined; a defect among a bin's four pixels counts for nothing in either."""
    calibration, rng, every = known(), np.random.default_rng(4), spacing(BINS)
    assert every == 2
    frames = [
        Frame(
            rng.integers(60, 3000, SHAPE).astype(np.uint16),
            k,
            round((k // 2 + 0.1 * (k % 2)) * SHORTEST_S * 2e9),
            8000.0,
        )
        for k in range(len(MOTIONS))
    ]
    gatherer = MapGatherer(calibration, 8)
    gatherer.add_together(zip(frames, MOTIONS, strict=True))
    gatherer.finish()
    assert [slot.frames for slot in gatherer.slots] == [2, 2, 2]
    values = []
    for frame, motion in zip(frames, MOTIONS, strict=True):
        alone = MapGatherer(calibration, 8)
        alone.add(frame, motion)
        alone.finish()
        (slot,) = alone.slots
        stored = alone.planes[slot.place].astype(float)
        values.append(np.where(stored == -32768, np.nan, stored * slot.step)[::every, ::every])
    held = np.array([(motion.dx_px, motion.dy_px) for motion in MOTIONS])
    for first, last, places in ((0, 2, [0]), (2, 6, [1, 2]), (0, 6, [0, 1, 2])):
        sums, of_held = gatherer.samples.together([gatherer.slots[k].place for k in places])
        for which, by in enumerate((np.ones(6), held[:, 0], held[:, 1])):
            wanted = sum(by[k] * values[k] for k in range(first, last))
            assert np.isfinite(wanted).mean() > 0.7
            np.testing.assert_array_equal(np.isfinite(sums[which]), np.isfinite(wanted))
            np.testing.assert_allclose(sums[which], wanted, rtol=1e-3, atol=0.5)
        right, down = held[first:last].T
        wanted = [last - first, right.sum(), down.sum(), right @ right, right @ down, down @ down]
        np.testing.assert_allclose(of_held, wanted, rtol=1e-6, atol=1e-6)


@pytest.mark.parametrize("motion", [Motion(3.2, -1.4), Motion(0.9, 1.25, -0.3), Motion(-6.5, 7.5)])
def test_between_pixels_samples_are_in_the_mean_what_lies_there(motion: Motion) -> None:
    """Against scipy's straight lines between what every four pixels show; what is drawn by lot is even to a fiftieth of the lot."""
    calibration, every = known(), spacing(BINS)
    pixels = np.random.default_rng(5).integers(60, 3000, SHAPE).astype(np.uint16)
    moved, samples = MovedBins(calibration, defects_of(calibration)), Samples.of(1, BINS)
    frame = MovedFrame(pixels, places_in_frame(motion, SHAPE), 1.0)
    samples.add(moved, [frame] * FRAMES, BINS)
    seen = samples.sums[-1, 0] / FRAMES
    x, y = np.meshgrid(np.arange(0, BINS[1], every), np.arange(0, BINS[0], every))
    right, down = np.tensordot(frame.places, np.stack([x, y, np.ones_like(x)]), 1)
    lies = map_coordinates(of_fours(calibration, pixels), (down, right), order=1, cval=np.nan)
    nearest = map_coordinates(of_fours(calibration, pixels), (np.rint(down), np.rint(right)), order=0, cval=np.nan)
    both = np.isfinite(lies) & np.isfinite(seen)
    assert both.mean() > 0.8
    assert np.std((seen - lies)[both]) < 0.02 * np.std((nearest - lies)[both])


def of_fours(calibration: Calibration, pixels: NDArray[np.uint16]) -> NDArray[np.float64]:
    """Signal of the four pixels that begin at each, without the bad ones."""
    good = ~calibration.defects
    light, flat = (np.where(good, each, 0.0) for each in (pixels - calibration.dark_counts, calibration.flat))
    counts, of_flat = (sliding_window_view(each, (2, 2)).sum(axis=(2, 3)) for each in (light, flat))
    return np.asarray(counts / of_flat)


def test_a_frame_that_lies_where_the_bins_do_is_no_sample_and_neither_is_one_that_was_not_followed() -> None:
    gatherer = MapGatherer(known(), 8)
    pixels = np.full(SHAPE, 500, np.uint16)
    for number, motion in enumerate((None, Motion(0.2, 0.3), Motion(2.0, 0.0))):
        gatherer.add(Frame(pixels, number, number, 8000.0), motion)
    gatherer.finish()
    sums, held = gatherer.samples.together([gatherer.slots[0].place])
    np.testing.assert_allclose(held, [1.0, 2.0, 0.0, 4.0, 0.0, 0.0], atol=1e-12)
    assert np.nanmax(np.abs(sums[2])) == 0.0
