"""Maps against the truth of simulated frames, and against the curve analysis of the same pixels."""

from collections.abc import Iterable
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.stats import binom

from shared.errors import Refused
from shared.frame import Frame
from shared.inflow.ambient_told import AmbientFields, AmbientTold
from shared.inflow.curves import CurveGatherer
from shared.inflow.fall_off import FallOff
from shared.inflow.maps import (
    MEASURED,
    NAMES,
    NO_RISE,
    SATURATED,
    UNCERTAIN,
    UNSEEN,
    InflowMaps,
    _is_wide,
    inflow_maps,
)
from shared.inflow.maps_reference import region_bins
from shared.inflow.maps_slots import MapGatherer
from shared.inflow.parameters import InflowParameters, inflow_parameters
from shared.inflow.reading import read_curve
from shared.motion.pose import Motion
from shared.region import Region
from tests.shared.inflow.simulated_frames import Light, Patch, calibration, frames

INJECTED_S = 10.0
PATCHES = (
    Patch(30.0),
    Patch(10.0, onset_s=24.0, alpha=3.2, rise_s=20.0),
    Patch(5.0, onset_s=30.0, alpha=3.4, rise_s=30.0),
    Patch(0.0),
)
HEIGHT, WIDTH = 48, 96
REGIONS = tuple(Region(f"patch {i}", "rectangle", (24 * i, 0, 24, HEIGHT)) for i in range(4))
BINS = tuple(slice(12 * i, 12 * i + 12) for i in range(4))
TIMES = ("arrival_s", "time_to_peak_s", "half_rise_s")
LEVELS = ("peak_relative_percent", "relative_percent_at_reference_peak", "ingress_slope_percent_per_s")


def gathered(made: Iterable[Frame], height: int = HEIGHT, width: int = WIDTH) -> MapGatherer:
    gatherer = MapGatherer(calibration(height, width))
    for frame in made:
        gatherer.add(frame)
    return gatherer


@cache
def run() -> tuple[InflowMaps, dict[str, InflowParameters]]:
    """Maps and curve analysis of the same 150 s."""
    known = calibration(HEIGHT, WIDTH)
    maps, curves = MapGatherer(known), CurveGatherer(known, REGIONS)
    for frame in frames(known, PATCHES, 150.0):
        maps.add(frame)
        curves.add(frame)
    read = {name: read_curve(curve, INJECTED_S) for name, curve in curves.curves().items()}
    against = read[REGIONS[0].name]
    figures = {name: inflow_parameters(one, against, INJECTED_S) for name, one in read.items()}
    return inflow_maps(maps, REGIONS[0], INJECTED_S), figures


def truth(patch: Patch) -> dict[str, float]:
    """Closed to 0.01 s from the noise-free curve."""
    times = np.arange(0.0, 150.0, 0.01)
    curve, reference = patch.above(times), PATCHES[0].above(times)
    top = int(curve.argmax())
    return {
        "baseline_counts_per_ms": patch.left_over,
        "peak_relative_percent": 100.0 * curve[top] / reference.max(),
        "relative_percent_at_reference_peak": 100.0 * curve[int(reference.argmax())] / reference.max(),
        "arrival_s": patch.onset_s - INJECTED_S,
        "time_to_peak_s": times[top] - patch.onset_s,
        "half_rise_s": times[int(np.argmax(curve >= 0.5 * curve[top]))] - patch.onset_s,
        "ingress_slope_percent_per_s": 100.0 * np.gradient(curve, times).max() / reference.max(),
    }


def assert_held(values: np.ndarray, u: np.ndarray, wanted: float) -> None:
    """As many intervals hold the truth as a true coverage of 93 to 97 % gives, at odds of 1 in 10,000 against."""
    given = np.isfinite(values)
    held = int(np.sum(np.abs(values - wanted)[given] <= 1.96 * u[given]))
    assert binom.ppf(1e-4, given.sum(), 0.93) <= held <= binom.ppf(1 - 1e-4, given.sum(), 0.97), (held, given.sum())


@pytest.mark.parametrize("number", [0, 1, 2])
def test_levels_and_times_are_those_of_the_tissue(number: int) -> None:
    maps, _ = run()
    wanted = truth(PATCHES[number])
    for name, value in wanted.items():
        values, _, classes = maps.of(name)
        found = values[:, BINS[number]]
        assert np.mean(classes[:, BINS[number]] == MEASURED) > 0.9, name
        allowed = {"arrival_s": 0.2, "time_to_peak_s": 0.03 * value, "half_rise_s": 0.2}.get(
            name, 0.01 * abs(value) + 0.1
        )
        assert abs(float(np.nanmean(found)) - value) < allowed, (name, float(np.nanmean(found)), value)


@pytest.mark.parametrize("later", range(9))
def test_dye_that_rises_within_two_slots_has_its_peak_whatever_their_phase(later: int) -> None:
    """A slot takes 8 of these frames and half a second; the curve falls more slowly than it rises."""
    quick = Patch(30.0, 2.0 + later / 15.0, alpha=2.0, rise_s=1.0, half_life_s=20.0, recirculation=0.4)
    known = calibration(24, 48)
    gatherer = gathered(frames(known, (quick, replace(quick, peak=0.35 * quick.peak)), 8.0, 15.0), 24, 48)
    maps = inflow_maps(gatherer, Region("left", "rectangle", (2, 2, 16, 20)), quick.onset_s - 0.5)
    values, u, classes = maps.of("peak_relative_percent")
    assert (classes == MEASURED).mean() > 0.9
    for columns, wanted in ((slice(1, 11), 100.0), (slice(13, 23), 35.0)):
        assert abs(float(np.nanmean(values[:, columns])) - wanted) < 1.0
        assert (np.abs(values - wanted)[:, columns] <= 4.0 * u[:, columns])[np.isfinite(values[:, columns])].all()


def test_intervals_of_levels_hold_the_truth_as_often_as_they_say() -> None:
    """JCGM 100:2008, clause 6: 95 % of intervals of 1.96 standard uncertainties; 864 bins, each with noise of its own."""
    maps, _ = run()
    name = "peak_relative_percent"
    inside = []
    for number in range(3):
        values, u, classes = (plane[:, BINS[number]] for plane in maps.of(name))
        wanted = truth(PATCHES[number])[name]
        inside.append((np.abs(values - wanted) <= 1.96 * u)[classes == MEASURED])
        assert float(inside[-1].mean()) == pytest.approx(0.95, abs=0.04), number  # three standard errors of 288 bins
    assert 0.93 <= float(np.concatenate(inside).mean()) <= 0.97


def test_noise_does_not_make_rises_steeper() -> None:
    """The steepest of noisy slopes is steeper than the steepest slope, by 0.3 of its uncertainty until that was taken off."""
    maps, _ = run()
    name, apart = "ingress_slope_percent_per_s", []
    for number in range(3):
        values, u, classes = (plane[:, BINS[number]] for plane in maps.of(name))
        apart.append(((values - truth(PATCHES[number])[name]) / u)[classes == MEASURED])
    z = np.concatenate(apart)
    assert abs(float(z.mean())) < 0.2  # three standard errors are 0.1
    assert 0.93 <= float(np.mean(np.abs(z) <= 1.96)) <= 0.98


@pytest.mark.parametrize("number", [0, 1, 2])
def test_times_and_slopes_hold_the_truth_as_often_as_they_say(number: int) -> None:
    maps, _ = run()
    wanted = truth(PATCHES[number])
    for name in (*TIMES, "ingress_slope_percent_per_s"):
        values, u, classes = (plane[:, BINS[number]] for plane in maps.of(name))
        assert np.mean(classes == MEASURED) > 0.9, name
        assert_held(values, u, wanted[name])


@pytest.mark.parametrize("number", [0, 1, 2])
def test_a_region_s_bins_agree_with_its_curve(number: int) -> None:
    maps, figures = run()
    exact = figures[REGIONS[number].name]
    for name in (*TIMES, *LEVELS):
        values, u, _ = (plane[:, BINS[number]] for plane in maps.of(name))
        estimate = getattr(exact, name)
        assert estimate.value is not None
        together = np.hypot(float(np.nanmean(u)), estimate.u)
        assert abs(float(np.nanmean(values)) - estimate.value) < together, name


def test_washout_is_that_of_the_curve_and_holds_the_truth() -> None:
    maps, figures = run()
    exact = figures[REGIONS[0].name].washout_half_life_s
    values, u, classes = (plane[:, BINS[0]] for plane in maps.of("washout_half_life_s"))
    assert np.mean(classes == MEASURED) > 0.9
    assert exact.value is not None
    assert float(np.nanmean(values)) == pytest.approx(exact.value, rel=0.03)
    assert_held(values, u, PATCHES[0].half_life_s)


def test_a_fall_that_the_first_pass_still_makes_has_no_washout() -> None:
    """It peaks 60 s before the end, where its first pass is still a tenth of what is seen: given by neither curve nor map."""
    maps, figures = run()
    assert figures[REGIONS[2].name].washout_half_life_s.value is None
    assert np.mean(maps.of("washout_half_life_s")[2][:, BINS[2]] == MEASURED) < 0.02


def test_the_level_at_the_reference_s_peak_is_as_sure_as_it_says() -> None:
    """In the second patch, which rises by 2 % a second just then; the moment is the same for all bins of a run."""
    known, held, number = calibration(24, 48), 0, 0
    wanted = truth(PATCHES[1])["relative_percent_at_reference_peak"]
    for seed in range(2):
        made = gathered(frames(known, PATCHES[:2], 90.0, seed=seed), 24, 48)
        maps = inflow_maps(made, Region("base", "rectangle", (0, 0, 24, 24)), INJECTED_S)
        values, u, _ = (plane[:, 12:] for plane in maps.of("relative_percent_at_reference_peak"))
        held += int(np.sum(np.abs(values - wanted) <= 1.96 * u))
        number += values.size
    assert held / number > 0.9


def test_where_no_dye_comes_there_is_a_baseline_and_no_arrival() -> None:
    maps, _ = run()
    for name in NAMES:
        values, _, classes = (plane[:, BINS[3]] for plane in maps.of(name))
        if name in ("baseline_counts_per_ms", "relative_percent_at_reference_peak"):
            assert (classes == MEASURED).all()
            wanted = 2.0 if name.startswith("baseline") else 0.0
            assert float(np.nanmean(values)) == pytest.approx(wanted, abs=0.01)
        else:
            assert (classes == NO_RISE).all(), name
            assert np.isnan(values).all()


def test_dimming_to_half_changes_no_result_by_more_than_one_percent() -> None:
    known = calibration(24, 48)
    two = PATCHES[:2]
    steady = inflow_maps(gathered(frames(known, two, 90.0), 24, 48), None, INJECTED_S)
    changes = (
        (0.0, Light()),
        (33.0, Light(level=0.5)),
        (41.0, Light(20_000.0, 2.0, 0.5)),
        (50.0, Light(5_000.0, 1.0, 1.0)),
    )
    changing = gathered(frames(known, two, 90.0, light_at=changes), 24, 48)
    dimmed = inflow_maps(changing, None, INJECTED_S)
    for half in (slice(0, 12), slice(12, 24)):
        for name in ("baseline_counts_per_ms", "time_to_peak_s"):
            a, b = (float(np.nanmean(maps.of(name)[0][:, half])) for maps in (steady, dimmed))
            assert b == pytest.approx(a, rel=0.01), name
        a, b = (float(np.nanmean(maps.of("arrival_s")[0][:, half])) for maps in (steady, dimmed))
        assert b == pytest.approx(a, abs=0.15)


def test_percentages_hardly_move_with_the_light() -> None:
    known = calibration(24, 48)
    reference = Region("base", "rectangle", (0, 0, 24, 24))
    made = [
        inflow_maps(gathered(frames(known, PATCHES[:2], 90.0, light_at=light), 24, 48), reference, INJECTED_S)
        for light in (((0.0, Light()),), ((0.0, Light()), (37.0, Light(level=0.5))))
    ]
    for name in LEVELS:
        a, b = (float(np.nanmean(maps.of(name)[0][:, 12:])) for maps in made)
        assert b == pytest.approx(a, rel=0.01), name


def test_unlit_frames_and_gaps_leave_the_maps_where_they_were() -> None:
    known = calibration(24, 48)
    whole = list(frames(known, PATCHES[:2], 90.0))
    fewer = [
        frame.with_light(0.0, False) if frame.sequence % 7 == 3 else frame
        for frame in whole
        if not 350 <= frame.sequence < 362
    ]
    maps = [inflow_maps(gathered(each, 24, 48), None, INJECTED_S) for each in (whole, fewer)]
    for name, allowed in (("arrival_s", 0.1), ("time_to_peak_s", 0.2), ("baseline_counts_per_ms", 0.005)):
        a, b = (float(np.nanmean(each.of(name)[0])) for each in maps)
        assert b == pytest.approx(a, abs=allowed), name


def test_saturated_bins_say_so() -> None:
    known = calibration(24, 48)
    bright = Patch(90.0)  # 1023 counts are reached at 68 counts/ms over 15 ms
    maps = inflow_maps(gathered(frames(known, (PATCHES[0], bright), 60.0), 24, 48), None, INJECTED_S)
    for name in NAMES:
        values, _, classes = maps.of(name)
        assert (classes[:, 12:] == SATURATED).all()
        assert np.isnan(values[:, 12:]).all()
        assert not (classes[:, :12] == SATURATED).any()


def test_defects_are_left_out_of_their_bins() -> None:
    whole = [(row, column) for row in (4, 5) for column in (6, 7)]
    known = calibration(24, 48, (*whole, (10, 20)))
    gatherer = MapGatherer(known)
    for frame in frames(known, PATCHES[:2], 60.0):
        gatherer.add(frame)
    values, _, classes = inflow_maps(gatherer, None, INJECTED_S).of("baseline_counts_per_ms")
    assert classes[2, 3] == UNSEEN
    assert np.sum(classes == UNSEEN) == 1
    assert classes[5, 10] == MEASURED
    assert values[5, 10] == pytest.approx(2.0, abs=0.1)


def test_a_scene_that_moves_is_followed() -> None:
    """Frames in which everything lies 6 pixels further right and 4 down, told so, give the maps of a scene at rest."""
    known = calibration(24, 48)
    at_rest, moved = MapGatherer(known), MapGatherer(known)
    for frame, shifted in zip(
        frames(known, PATCHES[:2], 60.0), frames(known, (PATCHES[0], *PATCHES[:2], PATCHES[1]), 60.0), strict=True
    ):
        at_rest.add(frame)
        by = 6 if frame.sequence >= 300 else 0
        if by:  # the border between the patches, at 24, is seen at 30
            pixels = frame.pixels.copy()
            pixels[:, 24:30] = shifted.pixels[:, 13:19]
            frame = Frame(pixels, frame.sequence, frame.sensor_time_ns, frame.exposure_us)
        moved.add(frame, Motion(float(by), 4.0 if by else 0.0))
    a = inflow_maps(at_rest, None, INJECTED_S).of("baseline_counts_per_ms")[0]
    b, _, classes = inflow_maps(moved, None, INJECTED_S).of("time_to_peak_s")
    wanted = inflow_maps(at_rest, None, INJECTED_S).of("time_to_peak_s")[0]
    assert np.isfinite(a).all()
    assert (classes[-2:] == UNSEEN).all()  # these rows left the picture below
    assert (classes[:, -3:] == UNSEEN).all()
    assert np.nanmean(np.abs(b - wanted)[:10, :12]) < 0.5
    assert np.nanmean(np.abs(b - wanted)[:10, 12:21]) < 0.5


@pytest.mark.parametrize(
    ("share", "share_u", "added", "said"),
    [
        (0.27, 0.014, 0.0, "the room's light is at least 27 ± 1 % of the signal before the dye"),
        (0.27, 0.002, 0.0, "at least 27 ± 1 %"),
        (0.2, 0.11, 0.005, ""),
        (0.008, 0.001, 0.0, ""),
        (0.0, 0.577, 0.005, ""),
        (0.0, 0.577, 0.02, "how much of the signal before the dye is the room's light cannot be told"),
        (0.2, 0.11, 0.02, "cannot be told"),
    ],
)
def test_ambient_light_in_baselines_is_said_where_it_matters(
    share: float, share_u: float, added: float, said: str
) -> None:
    """Told from nothing (95 %) and at least 1 %; that it cannot be, only where that leaves baselines by 1 % less sure."""
    level, before = np.full((8, 9), 2.0, np.float32), np.full((8, 9), 0.004, np.float32)
    level[0, 0], level[3, 3] = np.nan, 0.0
    nothing = FallOff(np.zeros((5, 5)), (8, 9))
    told = AmbientTold(share, share_u, 2.0, AmbientFields(nothing, nothing), ())
    note = told.note(_is_wide(level, np.hypot(before, np.float32(2.0 * added)), before))
    assert said in note
    assert bool(said) == bool(note)


def test_too_little_is_refused_and_a_reference_without_dye_named() -> None:
    known = calibration(24, 48)
    with pytest.raises(Refused, match="too few frames for maps"):
        inflow_maps(gathered(frames(known, PATCHES[:1], 3.0), 24, 48), None, None)
    still = gathered(frames(known, (Patch(0.0), PATCHES[0]), 60.0), 24, 48)
    maps = inflow_maps(still, Region("no dye", "rectangle", (0, 0, 24, 24)), INJECTED_S)
    assert "the reference has no peak" in maps.about.notes[0]
    assert (maps.of("peak_relative_percent")[2][:, 12:] == UNCERTAIN).all()
    assert np.mean(maps.of("arrival_s")[2][:, 12:] == MEASURED) > 0.9
    with pytest.raises(Refused, match="covers no bin"):
        region_bins(Region("dot", "rectangle", (3, 3, 1, 1)), still)
