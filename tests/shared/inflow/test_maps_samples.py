"""Sums of some bins over the frames of a slot, against plain sums of what the bins themselves hold, one frame a gatherer."""

import numpy as np

from shared.calibration import Calibration
from shared.frame import CameraDescription, Frame
from shared.inflow.maps_samples import spacing
from shared.inflow.maps_slots import SHORTEST_S, MapGatherer
from shared.motion.pose import Motion

SHAPE = (164, 248)
BINS = (82, 124)
MOTIONS = [
    Motion(3.2, -1.4),
    Motion(-2.7, 2.2, 0.5),
    Motion(9.0, -12.0),
    Motion(0.9, 1.2, -0.3),
    Motion(-6.1, 7.9),
    Motion(4.0, 0.0),
]


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


def test_a_frame_that_lies_where_the_bins_do_is_no_sample_and_neither_is_one_that_was_not_followed() -> None:
    gatherer = MapGatherer(known(), 8)
    pixels = np.full(SHAPE, 500, np.uint16)
    for number, motion in enumerate((None, Motion(0.2, 0.3), Motion(2.0, 0.0))):
        gatherer.add(Frame(pixels, number, number, 8000.0), motion)
    gatherer.finish()
    sums, held = gatherer.samples.together([gatherer.slots[0].place])
    np.testing.assert_allclose(held, [1.0, 2.0, 0.0, 4.0, 0.0, 0.0], atol=1e-12)
    assert np.nanmax(np.abs(sums[2])) == 0.0
