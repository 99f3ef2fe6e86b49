"""The time slots against means taken plainly from the same frames."""

import math
from itertools import pairwise

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from shared.inflow import maps_kernel as kernel
from shared.inflow import outline
from shared.inflow.gamma_variate import GammaVariate
from shared.inflow.maps_exponentials import LEAST_EXPONENT, exponentials, logarithms
from shared.inflow.maps_first_pass import CUT_OFF_SHARE, falls_to, rises_to
from shared.inflow.maps_slots import LONGEST, MapGatherer
from shared.signal import DefectSources, signal
from tests.shared.inflow.simulated_frames import Light, Patch, calibration, frames


def test_slots_hold_the_mean_signal_of_their_frames_in_constant_memory() -> None:
    known = calibration(16, 24, ((3, 5),))
    lights = ((0.0, Light()), (20.25, Light(9_000.0, 2.0, 0.6)))
    made = list(frames(known, (Patch(20.0), Patch(8.0, onset_s=26.0)), 60.0, light_at=lights))
    gatherer = MapGatherer(known, 24)
    before = gatherer.bytes_a_bin
    for frame in made:
        gatherer.add(frame)
    gatherer.finish()
    assert gatherer.bytes_a_bin == before
    assert len(gatherer.slots) == 24
    sources = DefectSources.around(known.defects)
    planes = [signal(frame, known, sources) for frame in made]
    times = [(frame.sensor_time_ns / 1e9 - frame.exposure_us / 2e6) for frame in made]
    weights = np.where(known.defects, 0.0, known.flat)
    for slot in gatherer.slots:
        inside = [i for i, time in enumerate(times) if slot.start_s - 1e-9 <= time <= slot.end_s + 1e-9]
        assert len(inside) == slot.frames
        mean = np.mean([planes[i] for i in inside], axis=0)
        wanted = _binned(mean * weights) / _binned(weights)
        stored = gatherer.planes[slot.place] * slot.step
        assert np.abs(stored - wanted).max() < 4 * slot.step + 1e-4
        assert (
            slot.time_s == float(np.mean([times[i] for i in inside]))
            or abs(slot.time_s - np.mean([times[i] for i in inside])) < 1e-9
        )


def test_noise_of_a_slot_is_that_of_its_frames() -> None:
    """Spread of many bins of one even patch against what the slot says, EMVA 1288's photon transfer."""
    known = calibration(64, 96)
    gatherer = MapGatherer(known, 16)
    for frame in frames(
        known, (Patch(0.0, left_over=12.0),), 30.0, light_at=((0.0, Light()), (9.0, Light(6_000.0, 2.0)))
    ):
        gatherer.add(frame)
    gatherer.finish()
    f, pixels = gatherer.bins.inverse_flat, gatherer.bins.pixels
    for slot in gatherer.slots:
        values = gatherer.planes[slot.place] * slot.step
        variance = 12.0 * slot.shot * f + slot.rest * pixels * f**2
        assert np.mean((values - 12.0) ** 2 / variance) == np.clip(np.mean((values - 12.0) ** 2 / variance), 0.9, 1.1)


def test_slots_stay_short_where_signal_rises() -> None:
    known = calibration(32, 48)
    gatherer = MapGatherer(known, 32)
    for frame in frames(known, (Patch(20.0, onset_s=30.0, rise_s=12.0),), 120.0):
        gatherer.add(frame)
    gatherer.finish()
    rising = [slot.end_s - slot.start_s for slot in gatherer.slots if 32.0 < slot.time_s < 40.0]
    before = [slot.end_s - slot.start_s for slot in gatherer.slots if slot.end_s < 30.0]
    assert np.mean(rising) < 0.5 * np.mean(before)
    for one, other in pairwise(gatherer.slots):
        assert one.end_s < other.start_s
    assert max(slot.end_s - slot.start_s for slot in gatherer.slots) < 1.5 * LONGEST / 32 * 120.0


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**31), st.integers(2, 9), st.integers(2, 9), st.integers(200, 65535))
def test_sums_of_a_frame_are_those_of_numpy(seed: int, height: int, width: int, limit: int) -> None:
    rng = np.random.default_rng(seed)
    pixels = rng.integers(0, 65536, (2 * height, 2 * width), dtype=np.uint16)
    bad = rng.random(pixels.shape) < 0.1
    sums, clipped = np.zeros((height, width), np.uint32), np.zeros((height, width), np.uint16)
    defects = np.argwhere(bad).astype(np.int32)
    kernel.add_frame(pixels.view(np.uint32), defects, np.uint32(limit), sums, clipped)
    assert (sums == _binned(np.where(bad, 0, pixels).astype(np.float64))).all()
    assert (clipped == _binned(((pixels >= limit) & ~bad).astype(np.float64))).all()


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**31), st.integers(1, 40), st.integers(1, 50))
def test_a_slot_keeps_means_and_its_blocks_their_sums(seed: int, height: int, width: int) -> None:
    rng = np.random.default_rng(seed)
    signal, seen = rng.normal(50, 40, (height, width)).astype(np.float32), rng.integers(0, 9, (height, width))
    slot, side, least = np.empty((height, width), np.int16), 16, 5
    rows, columns = (-(-length // side) for length in (height, width))
    blocks, known = np.full((rows, columns), np.nan, np.float32), np.full((rows, columns), -1)
    sums, frames = signal.copy(), seen.astype(np.uint16)
    step = kernel.store_slot(sums, frames, np.uint16(least), slot, blocks, known, side)
    means = signal / np.maximum(seen, 1)
    assert abs(step - np.abs(means).max() / kernel.LARGEST) < 1e-6 * step
    assert (np.abs(slot * step - means)[seen >= least] <= 0.51 * step).all()
    assert (slot[seen < least] == kernel.NO_DATA).all()
    assert not sums.any()
    assert not frames.any()
    for y, x in np.ndindex(rows, columns):
        cut = np.s_[side * y : side * (y + 1), side * x : side * (x + 1)]
        assert known[y, x] == (seen[cut] >= least).sum()
        np.testing.assert_allclose(blocks[y, x], means[cut][seen[cut] >= least].sum(), rtol=1e-5, atol=1e-2)


def test_what_a_merge_would_lose_is_known_of_all_slots() -> None:
    """Kept from merge to merge, it is what working it out for every pair would give."""
    known = calibration(32, 48)
    gatherer = MapGatherer(known, 16)
    for frame in frames(known, (Patch(20.0, onset_s=10.0, rise_s=6.0),), 40.0):
        gatherer.add(frame)
    assert len(gatherer.slots) == 16
    assert gatherer._losses == [gatherer._loss(at) for at in range(15)]


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**31))
def test_merging_is_the_weighted_mean_and_unseen_where_either_is(seed: int) -> None:
    rng = np.random.default_rng(seed)
    one, other = (rng.integers(-32767, 32768, (5, 7), dtype=np.int16) for _ in range(2))
    one[0, :3], other[0, 2:5] = kernel.NO_DATA, kernel.NO_DATA
    weight, step = float(rng.uniform(0.05, 0.95)), float(rng.uniform(0.1, 1.0))
    merged = one.copy()
    kernel.merge_slots(merged, other, weight, 1.0, step)
    wanted = np.rint(weight * one.astype(float) + (1 - weight) * step * other)
    wanted[0, :5] = kernel.NO_DATA
    assert np.abs(merged - wanted).max() <= 1


def test_logarithm_and_exponential_are_numpy_s() -> None:
    x = np.geomspace(1e-6, 1e6, 4001).astype(np.float32)
    scratch, out = np.empty_like(x), np.empty_like(x)
    logarithms(x.size, x, x.view(np.int32), scratch, scratch.view(np.int32), out)
    assert np.abs(out - np.log(x.astype(np.float64))).max() < 1e-6
    exponents = np.linspace(LEAST_EXPONENT - 10, 20, 4001).astype(np.float32)
    exponentials(x.size, exponents, scratch, scratch.view(np.int32), out)
    wanted = np.exp(np.maximum(exponents.astype(np.float64), LEAST_EXPONENT))
    assert np.abs(out / wanted - 1.0).max() < 1e-6


@settings(max_examples=60, deadline=None)
@given(st.floats(0.4, 25.0))
def test_shares_of_a_gamma_variate_are_reached_where_lambert_s_w_has_them(alpha: float) -> None:
    assert CUT_OFF_SHARE == outline.CUT_OFF_SHARE
    exact = GammaVariate(0.0, alpha, 1.0, 1.0)
    assert abs(falls_to(math.log(0.9), alpha) - exact.crossing_s(0.9, falling=True)) < 1e-6
    assert abs(rises_to(math.log(0.75), alpha) - exact.crossing_s(0.75)) < 1e-6


def _binned(plane: np.ndarray) -> np.ndarray:
    height, width = (side // 2 for side in plane.shape)
    return np.asarray(plane.reshape(height, 2, width, 2).sum(axis=(1, 3)))
