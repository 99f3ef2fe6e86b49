"""Steps of the ring's light in a lit room: a dark frame between levels, and maps are those of a run without steps.

Truth is the scene's own curve, noise that of its camera (EMVA 1288's photon transfer model), each bin with noise of its own.
"""

from collections.abc import Iterable
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from shared.frame import Frame
from shared.inflow.ambient_steps import LightSteps
from shared.inflow.handover import hand_over, taken_over
from shared.inflow.map_values import MEASURED, InflowMaps
from shared.inflow.maps import inflow_maps
from shared.inflow.maps_place import Followed
from shared.inflow.maps_slots import MapGatherer
from shared.light_steps import EDGE_FRAMES
from shared.motion.pose import Motion
from shared.motion.track import Track
from shared.region import Region
from shared.scene.description import MotionScene
from shared.scene.renderer import SceneRenderer
from tests.shared.inflow.motion_accuracy import FIGURES, FIRST_TISSUE, STILL, TREMOR, Hand, Room
from tests.shared.inflow.simulated_frames import Light, Patch, calibration, frames
from tests.shared.inflow.test_moving_hand import BENCH

PATCHES = (Patch(30.0), Patch(10.0, onset_s=24.0, alpha=3.2, rise_s=20.0), Patch(12.0, onset_s=18.0, rise_s=25.0))
HEIGHT, WIDTH, SECONDS, INJECTED_S = 32, 144, 100.0, 10.0
COLUMNS = tuple(slice(24 * i, 24 * i + 24) for i in range(len(PATCHES)))
REFERENCE = Region("base", "rectangle", (0, 0, 48, HEIGHT))
LEVELS = ("peak_relative_percent", "relative_percent_at_reference_peak")
SLOPE, BASELINE, ARRIVAL = "ingress_slope_percent_per_s", "baseline_counts_per_ms", "arrival_s"
ROOMS = (0.36, 3.0)
"""Counts a millisecond: 1.2 and 10 % of the reference's peak."""
STEPS = ((0.6, 0.4), (1.0, 0.4))
MID_RISE_S, PLATEAU_S = 28.0, 38.0
CASES = [(room, *step, at_s) for room in ROOMS for step in STEPS for at_s in (MID_RISE_S, PLATEAU_S)]

MEASURED_AT_STEPS = (
    "the light was stepped; the room's own infrared, which does not go with it, was measured at each step, and what steps made of "
    "it is taken off"
)

Lights = tuple[tuple[float, Light], ...]


def steady(level: float) -> Lights:
    return ((0.0, Light(level=level)),)


def stepped(first: float, second: float, at_s: float) -> Lights:
    """One dark frame of ten a second between."""
    return (*steady(first), (at_s, Light(level=0.0)), (at_s + 0.1, Light(level=second)))


def gathered(made: Iterable[Frame]) -> MapGatherer:
    gatherer = MapGatherer(calibration(HEIGHT, WIDTH))
    for frame in made:
        gatherer.add(frame)
    return gatherer


def run(light: Lights, room: float, seed: int, slope: float = 0.0, patches: tuple[Patch, ...] = PATCHES) -> MapGatherer:
    """The room grows brighter by ``slope`` a second."""
    known = calibration(HEIGHT, WIDTH)
    return gathered(
        frames(known, patches, SECONDS, seed=seed, light_at=light, ambient=lambda time_s: room + slope * time_s)
    )


@cache
def maps(light: Lights, room: float, seed: int) -> InflowMaps:
    return inflow_maps(run(light, room, seed), REFERENCE, INJECTED_S)


def mean_of(found: InflowMaps, name: str, columns: slice) -> float:
    values, _, classes = (plane[:, columns] for plane in found.of(name))
    assert np.mean(classes == MEASURED) > 0.9, name
    return float(np.nanmean(values))


def truth(patch: Patch, name: str) -> float:
    """From the noise-free curve, to 0.01 s."""
    times = np.arange(0.0, SECONDS, 0.01)
    curve, reference = patch.above(times), PATCHES[0].above(times)
    return {
        LEVELS[0]: 100.0 * float(curve.max()) / float(reference.max()),
        LEVELS[1]: 100.0 * float(curve[int(reference.argmax())]) / float(reference.max()),
        SLOPE: 100.0 * float(np.gradient(curve, times).max()) / float(reference.max()),
        ARRIVAL: patch.onset_s - INJECTED_S,
    }[name]


@pytest.mark.parametrize(("room", "first", "second", "at_s"), CASES)
def test_a_step_of_the_light_moves_nothing_by_half_a_hundredth_of_the_reference(
    room: float, first: float, second: float, at_s: float
) -> None:
    """Means over 384 bins of each tissue, beside a run of the same scene under its first level."""
    found, unstepped = maps(stepped(first, second, at_s), room, 2), maps(steady(first), room, 1)
    for columns in COLUMNS:
        for name in (*LEVELS, SLOPE):
            assert abs(mean_of(found, name, columns) - mean_of(unstepped, name, columns)) < 0.5, name
        for name, scale in ((BASELINE, 0.005 * PATCHES[0].peak), (ARRIVAL, 0.15)):
            assert abs(mean_of(found, name, columns) - mean_of(unstepped, name, columns)) < scale, name


@pytest.mark.parametrize("name", [*LEVELS, SLOPE, ARRIVAL])
def test_intervals_hold_the_truth_as_often_as_they_say_though_all_slots_share_the_dark_frame_s_noise(name: str) -> None:
    """JCGM 100:2008, clause 6: 93 to 97 % of all bins of all cases, and in none of them fewer than 90 %."""
    inside = []
    for room, first, second, at_s in CASES:
        found = maps(stepped(first, second, at_s), room, 2)
        held = []
        for patch, columns in zip(PATCHES, COLUMNS, strict=True):
            values, u, classes = (plane[:, columns] for plane in found.of(name))
            held.append((np.abs(values - truth(patch, name)) <= 1.96 * u)[classes == MEASURED])
        inside.append(np.concatenate(held))
        assert inside[-1].mean() > 0.9, (room, first, second, at_s)
    assert 0.93 <= float(np.concatenate(inside).mean()) <= 0.97


def test_weak_tissue_that_fills_just_after_a_step_is_as_sure_as_it_says_though_few_bins_are_shown() -> None:
    """17 % of the reference, in the brighter room, from the highest step: what a dark frame's noise does to times is anything but
    in proportion, and bins are shown whose uncertainty is small enough. They are no others than the rest.
    """
    weak = Patch(5.1, onset_s=30.0, rise_s=25.0)
    times = np.arange(0.0, SECONDS, 0.01)
    above = weak.above(times)
    wanted = {
        ARRIVAL: weak.onset_s - INJECTED_S,
        "time_to_peak_s": float(times[above.argmax()]) - weak.onset_s,
        "half_rise_s": float(times[np.argmax(above >= 0.5 * above.max())]) - weak.onset_s,
    }
    light, patches = stepped(1.0, 0.4, 28.0), (PATCHES[0], weak, weak)
    runs = [inflow_maps(run(light, 3.0, seed, patches=patches), REFERENCE, INJECTED_S) for seed in range(20)]
    both = slice(COLUMNS[1].start, None)
    for name, truth_s in wanted.items():
        values, u, classes = (np.concatenate(each) for each in zip(*(found.of(name) for found in runs), strict=True))
        shown = classes[:, both] == MEASURED
        off, u = (values[:, both] - truth_s)[shown], u[:, both][shown]
        assert shown.mean() > 0.15, name
        assert 0.93 <= float(np.mean(np.abs(off) <= 1.96 * u)) <= 0.97, name
        assert abs(float(off.mean())) < 0.2 * float(u.mean()), name


def test_without_a_dark_frame_the_maps_jump_and_say_why() -> None:
    for room, least in zip(ROOMS, (1.0, 8.0), strict=True):
        gatherer = run((*steady(1.0), (MID_RISE_S, Light(level=0.4))), room, 2)
        found = inflow_maps(gatherer, REFERENCE, INJECTED_S)
        jump = mean_of(found, LEVELS[1], COLUMNS[1]) - mean_of(maps(steady(1.0), room, 1), LEVELS[1], COLUMNS[1])
        assert jump > least
        assert gatherer.light_steps is None
        assert len(gatherer.notes) == 1
        assert "the room's own infrared was not measured" in gatherer.notes[0]


def test_a_room_that_brightens_is_followed_from_one_dark_spell_to_the_next() -> None:
    """From 1 to 3 counts/ms: the run without steps keeps that rise, and so do the steps, to a hundredth of the reference."""
    light = (*stepped(0.6, 0.4, 28.0), (48.0, Light(level=0.0)), (48.1, Light(level=1.0)))
    light = (*light, (75.0, Light(level=0.0)), (75.2, Light(level=0.5)))
    gatherer = run(light, 1.0, 2, 0.02)
    assert gatherer.notes == (MEASURED_AT_STEPS,)
    assert gatherer._dark_frames is not None
    assert int(gatherer._dark_frames.seen.min()) == 4
    found, unstepped = (inflow_maps(each, REFERENCE, INJECTED_S) for each in (gatherer, run(steady(0.6), 1.0, 1, 0.02)))
    for columns in COLUMNS:
        for name in LEVELS:
            assert abs(mean_of(found, name, columns) - mean_of(unstepped, name, columns)) < 0.5, name


def test_a_run_without_steps_is_as_it_was_to_the_last_bit() -> None:
    """Dark frames before it, in it and after it, and none."""
    known = calibration(HEIGHT, WIDTH)
    dark = ((0.0, Light(level=0.0)), (3.0, Light(level=0.6)), (30.0, Light(level=0.0)), (32.0, Light(level=0.6)))
    made = list(frames(known, PATCHES, SECONDS, light_at=(*dark, (90.0, Light(level=0.0))), ambient=lambda _: 3.0))
    with_dark, without = MapGatherer(known), MapGatherer(known)
    without.first_ns = made[0].sensor_time_ns
    for frame in made:
        with_dark.add(frame)
        if frame.lit:
            without.add(frame)
    one, other = (inflow_maps(each, REFERENCE, INJECTED_S) for each in (with_dark, without))
    np.testing.assert_array_equal(one.values, other.values)
    np.testing.assert_array_equal(one.u, other.u)
    np.testing.assert_array_equal(one.classes, other.classes)
    assert one.about == other.about
    assert with_dark.notes == without.notes == ()


def test_what_was_handed_over_gives_the_same_maps_of_a_stepped_run(tmp_path: Path) -> None:
    gatherer = run(stepped(1.0, 0.4, MID_RISE_S), 3.0, 2)
    hand_over(tmp_path / "run", gatherer)
    other = taken_over(tmp_path / "run")
    assert isinstance(other.light_steps, LightSteps)
    again = inflow_maps(other, REFERENCE, INJECTED_S)
    np.testing.assert_array_equal(maps(stepped(1.0, 0.4, MID_RISE_S), 3.0, 2).values, again.values)
    np.testing.assert_array_equal(maps(stepped(1.0, 0.4, MID_RISE_S), 3.0, 2).u, again.u)


def drawn(number: int, level: float, per_ms: float, every_ms: int = 100) -> Frame:
    """An even frame of 10 ms."""
    known = calibration(HEIGHT, WIDTH)
    counts = np.rint(known.dark_counts + 10.0 * per_ms * known.flat).astype(np.uint16)
    return Frame(counts, number, number * every_ms * 1_000_000, 10_000.0, 1.0, level, level > 0)


def test_memory_is_asked_for_ahead_and_long_darkness_takes_no_more() -> None:
    gatherer = MapGatherer(calibration(HEIGHT, WIDTH))
    before = gatherer.bytes_a_bin
    assert before - MapGatherer(calibration(HEIGHT, WIDTH), ambient_off=True).bytes_a_bin == 6.0
    for number in range(600):
        gatherer.add(
            drawn(number, (0.0, 1.0, 0.5)[(number > 5) + (number > 500)] if number not in range(100, 400) else 0.0, 5.0)
        )
    assert gatherer.bytes_a_bin == before
    assert len(gatherer.notes) == 1
    assert "the room's own infrared was not measured" in gatherer.notes[0]
    assert gatherer._dark_frames is not None
    assert int(gatherer._dark_frames.seen.max()) == EDGE_FRAMES


def test_a_dark_frame_says_the_rate_and_where_it_shows_nothing_the_rest_of_it_does() -> None:
    """The hand lay 40 pixels off: bins that left the picture are like the others, and as unsure as those differ."""
    gatherer, away = MapGatherer(calibration(HEIGHT, WIDTH)), Motion(40.0, 0.0)
    for number in range(12):
        level = (1.0, 0.0, 0.5)[(number > 5) + (number > 6)]
        gatherer.add(drawn(number, level, 4.0 if level else 3.0), away if level else None)
    gatherer.finish()
    steps = gatherer.light_steps
    assert steps is not None
    shown, hidden = steps.rate[:, : WIDTH // 2 - 20], steps.rate[:, WIDTH // 2 - 20 :]
    np.testing.assert_allclose(shown, 3.0, atol=0.06)  # whole counts of 10 ms, and a flat of 0.85 to 1
    np.testing.assert_allclose(hidden, shown.mean(), rtol=1e-5)
    np.testing.assert_allclose(steps.rate_u[:, WIDTH // 2 - 20 :], shown.std(), rtol=1e-3)
    np.testing.assert_allclose(steps.factors, [slot.inverse_output - 1.0 for slot in gatherer.slots])
    assert {round(factor, 6) for factor in steps.factors} >= {0.0, 1.0}


def test_a_dark_frame_after_the_hand_was_lost_tells_no_bin() -> None:
    """Its lit frames are left out, so that their place is not known; nor is that of a dark one a second later."""
    gatherer = MapGatherer(calibration(HEIGHT, WIDTH))
    for number in (*range(6), 20, *range(21, 26)):
        gatherer.add(drawn(number, 0.0 if number == 20 else (1.0 if number < 20 else 0.5), 4.0), Motion())
    gatherer.finish()
    assert gatherer.light_steps is None
    assert "was not measured" in gatherer.notes[0]


def moving(room: float, motion: MotionScene, drift_mm_s: float, at_s: float) -> InflowMaps:
    """Full light to 0.4 at a moment, one frame of eight a second dark, followed as on the imager."""
    scene = BENCH._in(Room("", room))
    renderer = SceneRenderer(scene, FIRST_TISSUE)
    renderer.seed = 1002
    hand = Hand(scene, motion, drift_mm_s, 2, renderer._motion.margin_px)
    renderer._motion = hand  # type: ignore[assignment]
    gatherer, track, camera = MapGatherer(renderer.calibration()), Track(renderer.calibration()), scene.camera
    step = round(at_s * camera.fps)
    for index in range(round(BENCH.seconds * camera.fps)):
        level = 0.0 if index == step else (1.0 if index < step else 0.4)
        taken_ns, pixels = round(index * camera.interval_us * 1000), np.empty(scene.description.shape, np.uint16)
        middle_s = taken_ns / 1e9 - camera.set_exposure_us / 2e6
        renderer.frame_into(pixels, index, middle_s, camera.set_exposure_us, camera.gain, level)
        frame = Frame(pixels, index, taken_ns, camera.set_exposure_us, camera.gain, level, level > 0)
        found = track.take(frame)
        if found is not None or not frame.lit:
            gatherer.add(frame, found)
    assert gatherer.notes == (MEASURED_AT_STEPS,)
    followed = Followed(track.place_u_px, track.warnings(), track.shared_u_px)
    return inflow_maps(gatherer, BENCH.reference, scene.dye.injected_at_s, followed=followed)


@pytest.mark.parametrize("room", [0.012, 0.1])
@pytest.mark.parametrize(("motion", "drift_mm_s"), [(STILL, 0.0), (TREMOR, 5.0)])
def test_a_dark_frame_serves_a_hand_that_trembles_and_drifts(
    room: float, motion: MotionScene, drift_mm_s: float
) -> None:
    """Mid rise; beside the truth of a still hand without noise. 93 to 97.5 % of the intervals hold it."""
    wanted, found = BENCH.truth(Room("", room)), moving(room, motion, drift_mm_s, 11.0)
    for name in FIGURES:
        held, off = held_of(found, wanted, name)
        assert 0.93 <= held <= 0.975, name
        if name in LEVELS:
            assert abs(off) < 0.2


def held_of(found: InflowMaps, wanted: InflowMaps, name: str) -> tuple[float, float]:
    """Share of the 95 % intervals that hold the truth, and the mean error."""
    (values, u, _), true = found.of(name), wanted.of(name)[0]
    both = np.isfinite(true) & np.isfinite(values)
    assert both.sum() > 8_000, name
    off = (values - true)[both]
    return float(np.mean(np.abs(off) <= 1.96 * u[both])), float(off.mean())
