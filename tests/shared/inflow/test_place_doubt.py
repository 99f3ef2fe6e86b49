"""What an unsure place adds to a region's figures: against closed forms, and against runs whose place really was off."""

from dataclasses import replace

import numpy as np
import pytest

from shared.inflow.curves import RegionCurve
from shared.inflow.parameters import InflowParameters, inflow_parameters
from shared.inflow.place_doubt import readings_beside, with_place
from shared.inflow.reading import read_curve
from tests.shared.inflow.simulated import BACKGROUND, REFERENCE, SKIN, Run, Tissue

RUN = Run(SKIN, frames_per_s=4, signal_to_noise=100, seconds=60)
U = 0.02
"""By how much of itself a region's signal is off at one standard uncertainty of the place: what lies beside it has no dye."""


def off(curve: RegionCurve, tissue: Tissue, share: float) -> RegionCurve:
    """A curve whose region lies off to the right by ``share`` standard uncertainties, and says how much one is."""
    lost = -U * (tissue.at(curve.times_s) + BACKGROUND * tissue.level)
    return replace(curve, signal=curve.signal + share * lost, by_place=np.array([lost, 0.0 * lost]))


def figures(region: RegionCurve, reference: RegionCurve, placed: bool = True) -> InflowParameters:
    known = inflow_parameters(read_curve(region, None), read_curve(reference, None), 0.0)
    return with_place(known, readings_beside(region, None), readings_beside(reference, None), 0.0) if placed else known


def drawn(seed: int) -> tuple[RegionCurve, RegionCurve]:
    rng = np.random.default_rng(seed)
    return RUN.draw(SKIN, 100.0, rng), RUN.draw(REFERENCE, 200.0, rng, "base")


def test_it_adds_what_the_figure_changes_by() -> None:
    """2 % of the signal are 2 % of the peak and of its slope; moments are less sure by what a place does that changes meanwhile."""
    region, reference = drawn(1)
    sure = replace(reference, by_place=np.zeros((2, reference.times_s.size)))
    alone, placed = (figures(off(region, SKIN, 0.0), sure, placed) for placed in (False, True))
    for name in ("peak_relative_percent", "ingress_slope_percent_per_s"):
        before, after = getattr(alone, name), getattr(placed, name)
        assert after.value == before.value
        assert after.u == pytest.approx(np.hypot(before.u, U * before.value), rel=0.03), name
    # S (1 + U (2 t / T - 1)) is highest later than S by 2 U / T over its relative curvature there
    pass_, seconds = SKIN.first_pass, RUN.seconds
    later_s = 2.0 * U / seconds * pass_.rise_s**2 / pass_.alpha
    expected = np.hypot(alone.peak_s.u, later_s)
    assert placed.peak_s.u == pytest.approx(expected, rel=0.25)
    assert placed.peak_s.u > 1.2 * alone.peak_s.u


def test_a_level_is_off_once() -> None:
    """Area and moments also count that the place changes meanwhile; a level, taken at one moment, is off by 2 % whenever it is."""
    region, reference = drawn(4)
    sure = replace(reference, by_place=np.zeros((2, reference.times_s.size)))
    alone, placed = (figures(off(region, SKIN, 0.0), sure, placed) for placed in (False, True))
    for name in ("peak_relative_percent", "relative_percent_at_reference_peak"):
        before, after = getattr(alone, name), getattr(placed, name)
        assert after.u == pytest.approx(np.hypot(before.u, U * before.value), rel=0.01), name
    assert placed.area_percent_s.u > np.hypot(alone.area_percent_s.u, U * alone.area_percent_s.value)


def test_what_region_and_reference_share_cancels() -> None:
    region, reference = drawn(2)
    """What is left is a place that changes from the one's peak to the other's."""
    both = off(region, SKIN, 0.0), off(reference, REFERENCE, 0.0)
    sure = replace(reference, by_place=np.zeros((2, reference.times_s.size)))
    shared, own = (figures(both[0], against).peak_relative_percent.u for against in (both[1], sure))
    assert shared < 0.3 * own


def test_a_standing_region_is_as_sure_as_its_noise() -> None:
    region, reference = drawn(3)
    assert readings_beside(region, None) == ()
    assert figures(region, reference) == figures(region, reference, placed=False)


def test_intervals_hold_the_truth_where_the_place_is_off() -> None:
    """Runs that are each off by a normal number of uncertainties; without the place's share most intervals would miss."""
    truth, held = 100.0 * SKIN.level, []
    for seed in range(14):
        region, reference = drawn(100 + seed)
        moved = off(region, SKIN, np.random.default_rng([seed, 7]).normal())
        sure = replace(reference, by_place=np.zeros((2, reference.times_s.size)))
        alone = figures(moved, sure, placed=False)
        placed = with_place(alone, readings_beside(moved, None), readings_beside(sure, None), 0.0)
        peaks = alone.peak_relative_percent, placed.peak_relative_percent
        held.append([abs(each.value - truth) <= 1.96 * each.u for each in peaks if each.value and each.u])
    by_noise, by_both = np.sum(held, axis=0)
    assert by_both >= 12  # fewer at odds of 1 in 230 were 95 % true
    assert by_noise <= 9


def test_a_place_that_goes_over_at_once_is_in_the_steepest_rise() -> None:
    """Dye changes the picture in the rise, and the place is off from then on, by a normal number of uncertainties in each run.

    Errors of the steepest rise are as large as their uncertainties say; counted evenly over the run these would be too small.
    """
    run, errors = replace(RUN, signal_to_noise=1000.0), []
    truth = run.truth()["ingress_slope_percent_per_s"] / 100.0
    for seed in range(16):
        rng = np.random.default_rng(seed)
        region = run.draw(SKIN, run.signal_to_noise, rng)
        begun = region.times_s > 18.0
        place_px = np.where(begun, 0.1, 0.02)
        lost = -U * (SKIN.at(region.times_s) + BACKGROUND * SKIN.level) * place_px / 0.1
        moved = replace(
            region, signal=region.signal + rng.normal() * lost * begun, by_place=np.array([lost, 0.0 * lost])
        )
        slope = read_curve(moved, None).rise.slope
        assert slope is not None
        said = []
        for known in (replace(moved, place_px=place_px), moved):
            steps = [one.rise.slope.value - slope.value for one in readings_beside(known, None) if one.rise.slope]
            said.append(np.linalg.norm([slope.u, *steps]))
        errors.append((slope.value - truth) / np.array(said))
    at_once, evenly = np.sqrt(np.mean(np.square(errors), axis=0))
    assert 0.7 < at_once < 1.4
    assert evenly > 1.4
