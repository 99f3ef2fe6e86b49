"""Ambient light measured in unlit frames and taken off. Frames come from the scene's physics, whose numbers are the truth."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.ambient import (
    LEAST_SPELLS,
    LONGEST_BETWEEN_S,
    MOST_UNMEASURED_SHARE,
    AmbientPlane,
    RunningRate,
    as_rate,
    between,
    is_followed,
    unmeasured,
)
from shared.calibration import Calibration
from shared.frame import CameraDescription, Frame
from shared.inflow.curves import CurveGatherer
from shared.region import Region
from shared.scene.description import Scene
from shared.scene.renderer import SceneRenderer
from shared.signal import RegionPixels, region_signal

FPS, SECONDS = 30.0, 40.0
SKIN, TIP = Region.parse("skin:10,10,30,60"), Region.parse("tip:60,10,25,60")


def scene(ambient: float, swing: float = 0.0) -> Scene:
    """Two tissues, the second at 40 % of the first; level 1 makes 600 electrons, so that ten times as much still fits."""
    left = [[0, 0], [50, 0], [50, 80], [0, 80]]
    right = [[50, 0], [96, 0], [96, 80], [50, 80]]
    return Scene.from_values(
        {
            "camera": {"width": 96, "height": 80, "fps": FPS, "exposure_us": 15_000, "noise": {"hot_pixels": 0}},
            "optics": {
                "mm_per_px": 1.0,
                "ambient": ambient,
                "ambient_swing": swing,
                "ambient_period_s": 7.0,
                "leakage": 0.0,
            },
            "light": {"electrons_per_s": 40_000, "pwm_hz": 0},
            "surface": {"texture": 0.0},
            "dye": {"injected_at_s": 2.0, "half_life_s": 36_000, "recirculation": 0.0},
            "tissue": [
                {"name": "skin", "polygon_mm": left, "arrival_s": 4, "alpha": 3, "beta": 4, "level": 1.0},
                {"name": "tip", "polygon_mm": right, "arrival_s": 4, "alpha": 3, "beta": 4, "level": 0.4},
            ],
        },
        "harbour",
    )


def played(renderer: SceneRenderer, every: int, setting=lambda time_s: (15_000.0, 1.0, 1.0), half: float = 1.0):
    """Frames, every n-th unlit, and the one behind it lit for the share ``half`` of its exposure."""
    out = np.empty(renderer.scene.description.shape, np.uint16)
    for index in range(round(SECONDS * FPS)):
        time_s = index / FPS
        exposure_us, gain, level = setting(time_s)
        level *= 0.0 if index % every == 0 else half if index % every == 1 else 1.0
        renderer.frame_into(out, index, time_s - exposure_us / 2e6, exposure_us, gain, level)
        yield Frame(out.copy(), index, round(time_s * 1e9), exposure_us, gain, level, level > 0)


def gathered(renderer: SceneRenderer, every: int, **more):
    gatherer = CurveGatherer(renderer.calibration(), [SKIN, TIP])
    for frame in played(renderer, every, **more):
        gatherer.add(frame)
    return gatherer, gatherer.curves()


def percent_at_peak(curves) -> float:
    """Mean of the second about the peak over that of the reference, in percent, what was there before the dye taken off."""
    means = []
    for name in ("tip", "skin"):
        curve = curves[name]
        before, peak = curve.times_s < 5.0, np.abs(curve.times_s - 18.0) < 0.5
        means.append(curve.signal[peak].mean() - curve.signal[before].mean())
    return 100.0 * means[0] / means[1]


def test_with_ambient_ten_times_the_dye_relative_values_are_the_truth_within_three_points() -> None:
    renderer = SceneRenderer(scene(ambient=10.0), 3)
    gatherer, curves = gathered(renderer, every=8, half=0.4)
    assert gatherer.takes_ambient_off
    assert percent_at_peak(curves) == pytest.approx(40.0, abs=3.0)
    # without the baseline too, which hides an ambient light that stays the same
    skin, tip = curves["skin"], curves["tip"]
    peak = np.abs(skin.times_s - 18.0) < 0.5
    assert 100.0 * tip.signal[peak].mean() / skin.signal[peak].mean() == pytest.approx(40.0, abs=3.0)
    frames = round(SECONDS * FPS)
    assert skin.times_s.size == frames - 2 * frames // 8, "unlit and half lit ones are no part of the curve"


def test_ambient_light_that_comes_and_goes_is_followed() -> None:
    """A swing by three times the dye every seven seconds: at the peak, what is left of it is less than three points."""
    curves = gathered(SceneRenderer(scene(ambient=6.0, swing=0.5), 3), every=8)[1]
    before = {name: curve.signal[curve.times_s < 5.0] for name, curve in curves.items()}
    peak = {name: curve.signal[np.abs(curve.times_s - 18.0) < 0.5].mean() for name, curve in curves.items()}
    assert 100 * peak["tip"] / peak["skin"] == pytest.approx(40.0, abs=3.0)
    for signal in before.values():
        assert np.abs(signal).max() < 0.15 * peak["skin"]


def test_a_change_of_light_exposure_and_gain_moves_no_curve_by_more_than_a_hundredth() -> None:
    """Against the same run without a change; ambient five times the dye, which would move it by hundreds of percent."""

    def setting(time_s: float) -> tuple[float, float, float]:
        if time_s < 16:
            return 15_000.0, 1.0, 1.0
        return (15_000.0, 1.0, 0.5) if time_s < 18 else (10_000.0, 1.0, 0.5) if time_s < 20 else (10_000.0, 1.4, 0.5)

    steady = gathered(SceneRenderer(scene(ambient=5.0), 3), every=8)[1]["skin"]
    changed = gathered(SceneRenderer(scene(ambient=5.0), 4), every=8, setting=setting)[1]["skin"]
    for start_s in (16.2, 18.2, 20.2):
        spans = [np.abs(curve.times_s - start_s - 0.8) < 0.8 for curve in (steady, changed)]
        expected, found = (curve.signal[span].mean() for curve, span in zip((steady, changed), spans, strict=True))
        assert found == pytest.approx(expected, rel=0.01)


def test_the_uncertainty_of_a_corrected_curve_is_its_scatter() -> None:
    """Before the dye arrives the truth stands still: scatter about it, unit by unit, is what was promised (within a fifth)."""
    curves = gathered(SceneRenderer(scene(ambient=10.0), 5), every=8)[1]
    for curve in curves.values():
        before = curve.times_s < 5.0
        within = (curve.signal[before] - curve.signal[before].mean()) / curve.signal_u[before]
        assert within.std() == pytest.approx(1.0, abs=0.2)


def test_frames_long_after_an_unlit_one_are_left_out_and_the_rest_is_as_it_was() -> None:
    """Unlit frames stop for eight seconds: two seconds of the curve have no ambient light to take off, and are not guessed."""
    renderer = SceneRenderer(scene(ambient=5.0), 3)
    frames = list(played(renderer, every=8))
    stalled = [frame for frame in frames if frame.lit or not 20.0 < frame.sensor_time_ns / 1e9 < 28.0]
    whole, cut = (CurveGatherer(renderer.calibration(), [SKIN]) for _ in range(2))
    for gatherer, shown in ((whole, frames), (cut, stalled)):
        for frame in shown:
            gatherer.add(frame)
    expected, found = whole.curves()["skin"], cut.curves()["skin"]
    gone = ~np.isin(expected.times_s, found.times_s)
    assert cut.takes_ambient_off
    assert 22.5 < expected.times_s[gone].min() < expected.times_s[gone].max() < 25.5
    assert gone.sum() == pytest.approx(2.0 * FPS * 7 / 8, abs=9)
    assert found.signal == pytest.approx(expected.signal[~gone], rel=0.01, abs=0.02 * expected.signal.max())


def test_without_unlit_frames_nothing_is_taken_off() -> None:
    renderer = SceneRenderer(scene(ambient=2.0), 3)
    gatherer, curves = gathered(renderer, every=10_000)
    assert not gatherer.takes_ambient_off
    signal = curves["skin"].signal[curves["skin"].times_s < 4]
    assert signal.mean() > 1.5 * (curves["skin"].signal.max() - signal.mean())


@given(
    times=st.lists(st.floats(0.01, 1.5), min_size=2, max_size=60),
    lit=st.data(),
)
def test_ambient_is_followed_where_few_lit_frames_are_far_from_an_unlit_one(times, lit) -> None:
    times_s = np.cumsum(times)
    state = np.array(lit.draw(st.lists(st.booleans(), min_size=len(times), max_size=len(times))))
    nearest = [min((abs(t - d) for d in times_s[~state]), default=np.inf) for t in times_s[state]]
    spells = [len(spell) for spell in "".join("1" if on else "0" for on in state).strip("0").split("1") if spell]
    far = [distance > LONGEST_BETWEEN_S for distance in nearest]
    assert unmeasured(times_s, state)[state].tolist() == far
    expected = len(spells) >= LEAST_SPELLS and sum(far) <= MOST_UNMEASURED_SHARE * len(far)
    assert is_followed(times_s, state) == expected


@given(
    dark=st.lists(st.floats(0.1, 5), min_size=1, max_size=8),
    slope=st.floats(-3, 3),
    at=st.lists(st.floats(-5, 50), min_size=1, max_size=8),
)
def test_a_straight_line_is_found_between_unlit_frames(dark, slope, at) -> None:
    dark_s, times_s = np.cumsum(dark), np.array(at)
    values, u = between(times_s, dark_s, 7 + slope * dark_s, np.full(dark_s.size, 0.5))
    held = np.clip(times_s, dark_s[0], dark_s[-1])
    assert values == pytest.approx(7 + slope * held, abs=1e-9)
    assert (u <= 0.5 + 1e-12).all()
    assert (u >= 0.5 / np.sqrt(2) - 1e-12).all()


class TestPlane:
    camera = CameraDescription("c", 80, 64, bit_depth=12, black_level=100.0)
    calibration = Calibration.assumed(camera)

    def frame(self, rng, counts: float, exposure_us: float = 10_000.0, gain: float = 1.0) -> Frame:
        electrons = rng.poisson(counts / 0.1 * exposure_us / 10_000.0, self.camera.shape)
        pixels = np.rint(100 + 0.1 * gain * (electrons + rng.normal(0, 3, self.camera.shape)))
        return Frame(pixels.astype(np.uint16), 0, 0, exposure_us, gain, 0.0, False)

    def test_the_running_mean_and_its_promise(self) -> None:
        rng, region = (
            np.random.default_rng(1),
            RegionPixels.gathered(Region.parse("r:8,8,12,12").indices(self.camera.shape), self.calibration),
        )
        errors = []
        for _ in range(60):
            plane = AmbientPlane(self.calibration)
            for _ in range(12):
                plane.take(self.frame(rng, 500.0))
            found = plane.region_rate(region)
            errors.append((found.value - 50.0) / found.u)
        assert np.std(errors) == pytest.approx(1.0, abs=0.3)
        single = region_signal(as_rate(self.frame(rng, 500.0)), region, self.calibration).signal.u
        assert found.u < 0.5 * single

    def test_it_goes_with_exposure_and_gain(self) -> None:
        plane = AmbientPlane(self.calibration)
        plane.take(self.frame(np.random.default_rng(2), 300.0, exposure_us=20_000.0, gain=2.0))
        assert plane.counts(20_000.0, 2.0).mean() == pytest.approx(1200, rel=0.01)
        assert plane.counts(5_000.0, 1.0).mean() == pytest.approx(150, rel=0.01)

    def test_a_lamp_that_is_switched_starts_it_anew(self) -> None:
        rng, plane = np.random.default_rng(3), AmbientPlane(self.calibration)
        for _ in range(6):
            plane.take(self.frame(rng, 300.0))
        assert plane.frames == 6
        plane.take(self.frame(rng, 30.0))
        assert plane.frames == 1
        assert plane.counts(10_000.0, 1.0).mean() == pytest.approx(30, rel=0.02)


def test_a_running_mean_knows_its_noise_and_what_it_keeps_of_an_earlier_one() -> None:
    """Every frame puts 1 where the others have 0, so that the mean holds its own weights: variances and covariances of white noise
    are their products. The lamp changes before the 13th.
    """
    running, weights, known = RunningRate((20, 1)), [], []
    for number, frame in enumerate(np.eye(20, dtype=np.float32)):
        running.mix(frame[:, None], 1.0 if number < 12 else 5.0, 1e-3)
        weights.append(running.rate[:, 0].astype(float))
        known.append((running.noise_share, running.age))
    for later, (share, age) in enumerate(known):
        np.testing.assert_allclose(share, weights[later] @ weights[later], rtol=1e-5)
        for earlier in range(later):
            kept = known[earlier][0] * np.exp(known[earlier][1] - age)
            np.testing.assert_allclose(kept, weights[later] @ weights[earlier], rtol=1e-5, atol=1e-8)
