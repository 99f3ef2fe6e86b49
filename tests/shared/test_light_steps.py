"""What steps of the level do to ambient light. Frames come from the scene's physics, whose numbers are the truth."""

import numpy as np
import pytest

from shared.frame import Frame
from shared.inflow.ambient_doubt import readings_in_other_light, with_ambient
from shared.inflow.curves import CurveGatherer, RegionCurve
from shared.inflow.parameters import inflow_parameters
from shared.inflow.reading import read_curve
from shared.light_steps import EDGE_FRAMES, LONGEST_FROM_STEP_S, are_measured, dark_together, steps
from shared.scene.renderer import SceneRenderer
from tests.shared.test_ambient import FPS, SECONDS, SKIN, TIP, scene

STEP_S = 16.0


def run(
    ambient: float, seed: int, levels: tuple[float, float], dark: tuple[float, ...] = (), swing: float = 0.0
) -> dict[str, RegionCurve]:
    """Curves of a scene in which the light goes from one level to the other at ``STEP_S``; ``dark`` frames at these moments."""
    renderer = SceneRenderer(scene(ambient, swing), seed)
    gatherer = CurveGatherer(renderer.calibration(), [SKIN, TIP])
    out = np.empty(renderer.scene.description.shape, np.uint16)
    for index in range(round(SECONDS * FPS)):
        time_s = index / FPS
        level = 0.0 if any(0 <= time_s - moment < 0.9 / FPS for moment in dark) else levels[time_s >= STEP_S]
        renderer.frame_into(out, index, time_s - 0.0075, 15_000.0, 1.0, level)
        gatherer.add(Frame(out.copy(), index, round(time_s * 1e9), 15_000.0, 1.0, level, level > 0))
    return gatherer.curves()


def moved(found: RegionCurve, true: RegionCurve, start_s: float, end_s: float) -> float:
    """By what share of itself the mean over a stretch is off."""
    means = [curve.signal[(curve.times_s > start_s) & (curve.times_s < end_s)].mean() for curve in (found, true)]
    return float(means[0] / means[1] - 1.0)


@pytest.mark.parametrize("levels", [(1.0, 0.4), (0.5, 1.0)])
@pytest.mark.parametrize("ambient", [0.012, 0.5, 5.0])
def test_a_step_with_its_dark_frame_moves_no_curve_by_more_than_a_hundredth(
    ambient: float, levels: tuple[float, float]
) -> None:
    """Against the same scene at one level; from a little ambient light to five times the dye's."""
    steady = run(ambient, 3, (levels[0], levels[0]))
    stepped = run(ambient, 4, levels, (STEP_S,))
    for name in ("skin", "tip"):
        assert moved(stepped[name], steady[name], STEP_S, STEP_S + 2.0) == pytest.approx(0.0, abs=0.01)
        assert moved(stepped[name], steady[name], STEP_S + 8.0, SECONDS) == pytest.approx(0.0, abs=0.01)


def test_without_the_dark_frame_it_moves() -> None:
    """What the test above would miss if nothing was taken off: a tenth of the dye's light, times 1.5."""
    steady, stepped = run(0.1, 3, (1.0, 1.0)), run(0.1, 4, (1.0, 0.4))
    assert moved(stepped["tip"], steady["tip"], STEP_S, STEP_S + 2.0) > 0.2


def test_light_that_changed_between_two_steps_is_followed_to_both() -> None:
    """A lamp that swings by a fifth of the dye's light: what steps made of it is taken off by what was measured at each."""
    renderer = scene(0.4, 0.5)
    assert renderer.optics.ambient_at(STEP_S) != pytest.approx(renderer.optics.ambient_at(STEP_S + 3.0), rel=0.1)
    steady, stepped = run(0.4, 3, (1.0, 1.0), swing=0.5), run(0.4, 4, (1.0, 0.5), (STEP_S, STEP_S + 3.0), swing=0.5)
    for at_s in (STEP_S, STEP_S + 3.0):
        assert moved(stepped["skin"], steady["skin"], at_s + 0.05, at_s + 0.4) == pytest.approx(0.0, abs=0.015)


def test_a_run_of_one_level_stays_as_it_was_seen() -> None:
    """Bit for bit, dark frames or none."""
    dark, plain = run(0.3, 3, (0.7, 0.7), (STEP_S, STEP_S + 1.0)), run(0.3, 3, (0.7, 0.7))
    for name, curve in dark.items():
        assert np.isin(curve.signal, plain[name].signal).all()
        assert curve.by_ambient is None or not curve.by_ambient.size


def test_figures_are_unsure_by_what_the_dark_frame_is_and_hold_the_truth() -> None:
    """Of 30 runs with noise of their own, the normalized errors of a peak scatter by 1: nominal 95 % hold 95.

    Tolerances are the binomial's and chi's own for 30 runs at 3 sigma.
    """
    off, counted, alone = [], [], []
    true = inflow(run(0.3, 999, (1.0, 1.0)))
    for seed in range(30):
        curves = run(0.3, seed, (1.0, 0.4), (STEP_S,))
        found, bare = inflow(curves), inflow(curves, ambient=False)
        off.append((found.value - true.value) / np.hypot(found.u, true.u))
        counted.append(found.u)
        alone.append(bare.u)
    assert np.mean(np.abs(off) < 1.96) > 0.95 - 3 * np.sqrt(0.95 * 0.05 / 30)
    assert np.sqrt(np.mean(np.square(off))) == pytest.approx(1.0, abs=3 / np.sqrt(60))
    assert np.mean(counted) > np.mean(alone)


def inflow(curves: dict[str, RegionCurve], ambient: bool = True):
    """Percent of the second tissue's peak."""
    readings = {name: (read_curve(curve, 2.0), readings_in_other_light(curve, 2.0)) for name, curve in curves.items()}
    figures = inflow_parameters(readings["tip"][0], readings["skin"][0], 2.0)
    if ambient:
        figures = with_ambient(figures, readings["tip"], readings["skin"], 2.0)
    return figures.peak_relative_percent


def test_steps_and_darkness_are_found() -> None:
    levels = np.array([0.0, 0.6, 0.6, 0.0, 0.4, 0.4, 0.405, 0.405, 0.0, 0.405])
    times_s = np.arange(10) / 30
    assert steps(levels).tolist() == [4]
    assert are_measured(times_s, levels)
    assert [spell.tolist() for spell in dark_together(levels)] == [[0], [3], [8]]
    assert not are_measured(times_s, np.full(10, 0.4)), "no step"
    assert not are_measured(times_s, np.where(levels > 0, levels, 0.6)), "no darkness"


@pytest.mark.parametrize(("dark_s", "measured"), [(7.1, True), (6.9, False), (12.9, True), (13.2, False)])
def test_a_dark_frame_far_from_the_step_does_not_tell_its_light(dark_s: float, measured: bool) -> None:
    times_s = np.arange(0.0, 20.0, 0.1)
    levels = np.where(times_s < 10.05, 0.6, 0.4)
    levels[np.argmin(np.abs(times_s - dark_s))] = 0.0
    assert LONGEST_FROM_STEP_S == 3.0
    assert are_measured(times_s, levels) is measured


def test_of_a_long_darkness_only_what_lies_beside_lit_frames_counts() -> None:
    levels = np.concatenate([np.zeros(40), np.ones(5), np.zeros(40), np.ones(5), np.zeros(40)])
    found = [spell.tolist() for spell in dark_together(levels)]
    assert [len(spell) for spell in found] == [EDGE_FRAMES] * 4
    assert [spell[0] for spell in found] == [40 - EDGE_FRAMES, 45, 85 - EDGE_FRAMES, 90]
