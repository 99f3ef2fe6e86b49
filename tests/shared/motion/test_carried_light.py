"""Curves of regions under a hand that trembles and drifts in a room whose light nothing measures, beside the scene's own truth."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from shared.calibration import Calibration
from shared.frame import CameraDescription, Frame
from shared.inflow.before_dye import BeforeDye
from shared.inflow.curves import RegionCurve
from shared.inflow.parameters import Estimate, InflowParameters, inflow_parameters
from shared.inflow.place_doubt import readings_beside, with_place
from shared.inflow.reading import read_curve
from shared.motion.curves import MovingCurves, _like
from shared.motion.pose import Motion
from shared.motion.track import Track
from shared.region import Region
from shared.scene.description import MotionScene
from shared.scene.renderer import SceneRenderer
from tests.device.comparison_coverage import Drawn, renderer_of
from tests.shared.inflow.motion_accuracy import BRIGHTER, FIRST_TISSUE, STILL, TREMOR, Hand, Room
from tests.shared.inflow.test_moving_hand import BENCH

F64 = NDArray[np.float64]

REFERENCE = Region("base", "rectangle", (60, 80, 60, 80))
REGIONS = (
    REFERENCE,
    *(Region(f"{x} {y}", "rectangle", (x, y, 24, 24)) for x in (40, 100, 190, 250) for y in (60, 105, 150)),
)
ROOM = Room("a tenth of the reference's peak", 0.1)
FIGURES = ("baseline_counts_per_ms", "arrival_s", "tenth_of_peak_s", "mean_ingress_slope_percent_per_s", "half_rise_s")


def curves(
    motion: MotionScene, drift_mm_s: float, seed: int, regions: Sequence[Region] = REGIONS
) -> tuple[MovingCurves, float]:
    """Followed as a recording is; and when the dye was given."""
    scene = BENCH._in(ROOM)
    renderer = SceneRenderer(scene, FIRST_TISSUE)
    renderer.seed = seed
    renderer._motion = Hand(scene, motion, drift_mm_s, seed, renderer._motion.margin_px)  # type: ignore[assignment]
    known = renderer.calibration()
    made, track = MovingCurves(known, dict.fromkeys(regions, Motion())), Track(known)
    for frame in BENCH._frames(renderer, 0):
        made.add(frame, track.take(frame))
    return made, scene.dye.injected_at_s


def figures(made: Mapping[str, RegionCurve], since_s: float) -> dict[str, InflowParameters]:
    """As an analysis has them."""
    readings = {name: read_curve(curve, since_s) for name, curve in made.items()}
    beside = {name: readings_beside(curve, since_s) for name, curve in made.items()}
    plain = {name: inflow_parameters(one, readings["base"], since_s) for name, one in readings.items()}
    return {name: with_place(one, beside[name], beside["base"], since_s) for name, one in plain.items()}


@pytest.fixture(scope="module")
def truth() -> dict[str, InflowParameters]:
    renderer, known = BENCH.noiseless(ROOM)
    made = MovingCurves(known, dict.fromkeys(REGIONS, Motion()))
    for frame in BENCH._frames(renderer, 0):
        made.add(frame, Motion())
    found = figures(made.curves(), renderer.scene.dye.injected_at_s)
    return {
        name: replace(one, baseline_counts_per_ms=dimmer(one.baseline_counts_per_ms)) for name, one in found.items()
    }


def dimmer(baseline: Estimate) -> Estimate:
    assert baseline.value is not None
    return replace(baseline, value=baseline.value / BRIGHTER)


@pytest.fixture(scope="module")
def moved() -> tuple[MovingCurves, float]:
    return curves(TREMOR, 5.0, 1)


def off(found: Mapping[str, InflowParameters], truth: Mapping[str, InflowParameters], name: str) -> np.ndarray:
    """Errors of all regions, in standard uncertainties."""
    errors = []
    for region, wanted in truth.items():
        one: Estimate = getattr(found[region], name)
        true: Estimate = getattr(wanted, name)
        if true.value is not None and one.value is not None and one.u:
            errors.append((one.value - true.value) / one.u)
    assert len(errors) > 10
    return np.array(errors)


def test_figures_are_as_unsure_as_they_are_said_to_be(
    moved: tuple[MovingCurves, float], truth: Mapping[str, InflowParameters]
) -> None:
    """13 regions under twelve hands: 93 to 97 % of the 95 % intervals hold; not corrected, some are off by over 4 uncertainties."""
    made, since_s = moved
    runs = [figures(one.curves(), since_s) for one, _ in (moved, *(curves(TREMOR, 5.0, seed) for seed in range(2, 13)))]
    errors = {name: np.concatenate([off(found, truth, name) for found in runs]) for name in FIGURES}
    for name, each in errors.items():
        assert np.mean(np.abs(each) < 1.96) > 0.9, name
        assert np.sqrt(np.mean(each**2)) < 1.3, name
        # by chance the greatest of 65 normal errors is beyond 2.5 in every other run, and beyond 3 in one of six
        assert np.abs(off(runs[0], truth, name)).max() < 3.0, name
    assert 0.93 <= np.mean(np.abs(np.concatenate(list(errors.values()))) < 1.96) <= 0.97
    assert "the room's light is at least" in made.ambient_note
    raw = {
        name: replace(curve, signal=np.array([row[1] for row in made._rows[name]]))
        for name, curve in made.curves().items()
    }
    plain = figures(raw, since_s)
    for name in FIGURES[:3]:
        assert np.abs(off(plain, truth, name)).max() > 4.0, name


def test_all_regions_are_unsure_of_the_same_ways_in_the_same_order() -> None:
    """What is told otherwise moves a region, and what of it is not its rim, alike in each way."""
    made, _ = curves(TREMOR, 5.0, 1, [REFERENCE, Region("within", "rectangle", (62, 82, 56, 76))])
    rows = {name: curve.by_place for name, curve in made.curves().items()}
    ways = len(made._before.told().doubts)
    assert ways == 4
    whole, within = rows["base"], rows["within"]
    assert whole is not None
    assert within is not None
    assert len(whole) == len(within) == 2 + ways
    for one, other in zip(whole[2:], within[2:], strict=True):
        assert np.corrcoef(one, other)[0, 1] > 0.5


@pytest.mark.parametrize(
    "text", ["a:60,80,60,80", "a:30,20,30,35", "a:110,15,35,40", "a:7,9,1,1", "a:polygon:50,60,71,63,58,90"]
)
def test_four_points_have_a_regions_means_of_all_that_is_quadratic(text: str) -> None:
    """Every n-th pixel of the first three, 25 of each, lies 5.5, 2.5 and 3 px to the left of their middles."""
    y, x = np.divmod(Region.parse(text).indices((240, 320)), 320)
    points = _like(np.stack([x, y], axis=1))
    for one, other in ((points[:, 0], x), (points[:, 1], y)):
        assert one.mean() == pytest.approx(other.mean())
        assert np.mean(one**2) == pytest.approx(np.mean(other.astype(float) ** 2))
    assert np.mean(points.prod(axis=1)) == pytest.approx(np.mean(x.astype(float) * y))


def test_frames_count_until_dye_shows_anywhere(moved: tuple[MovingCurves, float]) -> None:
    """It comes into the base 6 s after it was given, and a quarter brighter than before at most 3 s later."""
    made, since_s = moved
    assert since_s + 6.0 - 2.0 < made._before.until_s < since_s + 6.0 + 3.0


def fading(falls_per_s: float) -> BeforeDye:
    """Half a minute of a dark room in which what is left of a dye falls, under a tremor of 4 pixels that drifts away."""
    scene = BENCH._in(Room("dark", 0.0))
    renderer = SceneRenderer(scene, FIRST_TISSUE)
    renderer._motion = Hand(scene, STILL, 0.0, 1, renderer._motion.margin_px)  # type: ignore[assignment]
    known = renderer.calibration()
    before, rng = BeforeDye(known), np.random.default_rng(3)
    pixels = np.empty(known.camera.shape, np.uint16)
    renderer.frame_into(pixels, 0, 0.0, scene.camera.set_exposure_us, scene.camera.gain)
    for number in range(240):
        right, down = rng.normal(0.0, 4.0, 2)
        before.take(pixels, Motion(right + 0.2 * number, down), 1.0 - falls_per_s * number / 8.0, number / 8.0)
    return before


def test_a_tremor_of_a_pixel_over_two_tissues_that_fade_is_no_ambient_light() -> None:
    """A dark room, 2 frames a second: whole pixels follow too little, and what two tissues lose differs. It was told as a tenth of
    the signal in the mean, and up to a half.
    """
    shares, u = told_of_two_tissues_that_fade(20, 0.0)
    assert shares.mean() < 0.02
    assert np.median(u) < 0.03
    assert np.sqrt(np.mean((shares / u) ** 2)) < 1.3


def test_a_drift_over_two_tissues_that_fade_is_none_either() -> None:
    """Two pixels in 40 s. Lines through all frames told 1.2 ± 0.1 of the signal, surer than those of some frames by themselves."""
    shares, u = told_of_two_tissues_that_fade(10, 2.0)
    assert shares.mean() < 0.05
    assert np.sqrt(np.mean((shares / u) ** 2)) < 1.3


def told_of_two_tissues_that_fade(hands: int, drift_px: float) -> tuple[F64, F64]:
    """Shares and their standard uncertainties in a dark room, 40 s at 2 frames a second, by hands with a tremor of 1 px that drift
    to the right.
    """
    said = []
    for seed in range(hands):
        renderer = renderer_of(Drawn(), 0.18, np.random.default_rng([seed, 1]), 10.0)
        camera, before, track = renderer.scene.camera, BeforeDye(renderer.calibration()), Track(renderer.calibration())
        hand: Any = renderer._motion
        tremor = hand.displacement_px
        hand.displacement_px = lambda t, tremor=tremor: (tremor(t)[0] + drift_px * (t - 170.0) / 40.0, tremor(t)[1])
        for number in range(80):
            pixels, at_s = np.empty(renderer.scene.description.shape, np.uint16), 150.0 + number / 2.0
            renderer.frame_into(pixels, number, at_s, camera.set_exposure_us, camera.gain)
            found = track.take(Frame(pixels, number, number * 500_000_000, camera.set_exposure_us, camera.gain))
            if found is not None and found.locked:
                before.take(pixels, found, 1.0, number / 2.0)
        said.append((before.told().share, before.told().share_u))
    shares, u = np.array(said).T
    return shares, u


@pytest.mark.parametrize(("width", "height"), [(40, 2), (2, 40), (3, 3)])
def test_the_smallest_pictures_tell_nothing_of_it_and_have_curves(width: int, height: int) -> None:
    known = Calibration.assumed(CameraDescription("strip", width, height))
    region = Region("all", "rectangle", (0, 0, 2, 2))
    made = MovingCurves(known, {region: Motion()})
    for number in range(20):
        made.add(Frame(np.full((height, width), 100, np.uint16), number, number * 500_000_000, 10_000.0), Motion())
    assert made.curves()["all"].times_s.size == 20
    assert made.ambient_note == ""


def test_what_is_left_of_another_dye_is_not_taken_for_light_that_the_hand_carried() -> None:
    """A fall of 1 % a second: between slots it goes with the drift, within them it does not."""
    steady, falling = fading(0.0).told(), fading(0.01).told()
    assert falling.share < steady.share + 2.0 * np.hypot(steady.share_u, falling.share_u)
    assert falling.share_u < 0.2
