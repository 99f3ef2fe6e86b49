"""Ambient light in the live path, taken off by unlit frames; the truth is the scene's."""

from dataclasses import replace

import numpy as np
import pytest

from device.live import LivePath
from shared.ambient import AmbientPlane
from shared.frame import Frame
from shared.fused_picture import FusedPicture
from shared.live_picture import Look, PlainPicture
from shared.region import Region
from shared.scene.description import Scene
from shared.scene.renderer import SceneRenderer
from shared.settings import PictureSettings

FPS = 30.0
TRUTH = 40.0


def renderer(ambient: float) -> SceneRenderer:
    """Two tissues, the second at 40 % of the first; level 1 makes 600 electrons, so that ten times as much still fits."""
    left = [[0, 0], [50, 0], [50, 80], [0, 80]]
    right = [[50, 0], [96, 0], [96, 80], [50, 80]]
    scene = Scene.from_values(
        {
            "camera": {"width": 96, "height": 80, "fps": FPS, "exposure_us": 15_000},
            "optics": {"mm_per_px": 1.0, "ambient": ambient, "leakage": 0.0},
            "light": {"electrons_per_s": 40_000, "pwm_hz": 0},
            "dye": {"injected_at_s": 0.0, "half_life_s": 36_000, "recirculation": 0.0},
            "tissue": [
                {"name": "skin", "polygon_mm": left, "arrival_s": 1, "alpha": 3, "beta": 4, "level": 1.0},
                {"name": "tip", "polygon_mm": right, "arrival_s": 1, "alpha": 3, "beta": 4, "level": TRUTH / 100},
            ],
        },
        "harbour",
    )
    return SceneRenderer(scene, 4)


class Run:
    """A live path that is given frames as the loop gives them; time stands at the dye's peak."""

    def __init__(self, ambient: float) -> None:
        self.renderer, self.number = renderer(ambient), 0
        self.live = LivePath(self.renderer.calibration(), PictureSettings())
        self.live.set_reference(Region.parse("skin:10,10,30,60"))
        self.live.put_region(Region.parse("tip:60,10,25,60"))

    def frame(self, exposure_us: float = 15_000.0, gain: float = 1.0, level: float = 1.0) -> Frame:
        out = np.empty((80, 96), np.uint16)
        self.number += 1
        self.renderer.frame_into(out, self.number, 13.0, exposure_us, gain, level)
        return Frame(out, self.number, round(self.number / FPS * 1e9), exposure_us, gain, level, level > 0)

    def play(self, frames: int, every: int = 8, **setting: float) -> float:
        """So many frames of which every so manieth is unlit; the tip's mean percentage over the last half."""
        found = []
        for _ in range(frames):
            if self.number % every == 0:
                self.live.take_unlit(self.frame(**{**setting, "level": 0.0}))
                continue
            self.live.process(self.frame(**setting))
            (state,) = self.live.region_states()
            found.append(state)
        assert all(state.percent is not None for state in found[-len(found) // 2 :]), found[-1]
        self.u = found[-1].percent_u
        return float(np.mean([state.percent for state in found[len(found) // 2 :]]))


def test_with_ambient_ten_times_the_dye_live_values_are_the_truth_within_three_points() -> None:
    assert Run(ambient=10.0).play(160) == pytest.approx(TRUTH, abs=3.0)


def test_the_promised_uncertainty_holds_for_single_values() -> None:
    errors = []
    for start in range(12):
        run = Run(ambient=10.0)
        run.number = 1000 * start
        run.play(40)
        (state,) = run.live.region_states()
        errors.append((state.percent - TRUTH) / state.percent_u)
    assert np.sqrt(np.mean(np.square(errors))) == pytest.approx(1.0, abs=0.6)


def test_light_exposure_and_gain_may_change_in_between() -> None:
    run = Run(ambient=3.0)
    before = run.play(160)
    for setting in ({"level": 0.5}, {"level": 0.5, "exposure_us": 9_000.0}, {"gain": 1.7, "exposure_us": 9_000.0}):
        assert run.play(240, **setting) == pytest.approx(before, abs=1.0)


def test_a_region_put_later_knows_the_ambient_light_at_once() -> None:
    run = Run(ambient=10.0)
    run.play(40)
    run.live.put_region(Region.parse("late:60,10,25,60"))
    run.live.process(run.frame())
    run.live.process(run.frame())
    tip, late = run.live.region_states()
    assert late.percent == pytest.approx(tip.percent, abs=3 * (tip.percent_u + late.percent_u))


def test_the_picture_is_the_plain_one_of_a_dark_frame_that_holds_the_ambient_light() -> None:
    run = Run(ambient=2.0)
    calibration, settings = run.renderer.calibration(), PictureSettings(steadying=0.0)
    plane = AmbientPlane(calibration)
    for _ in range(30):
        plane.take(run.frame(level=0.0))
    added = plane.counts(15_000.0, 1.0)
    fused, frame = FusedPicture(calibration, settings), run.frame()
    fused.take_ambient_off(added)
    plain = PlainPicture(replace(calibration, dark_counts=calibration.dark_counts + added), settings)
    plain._range_counts = PlainPicture(calibration, settings)._range_counts  # grey goes over the same range as before
    difference = fused.draw(frame, Look("grey")).y.astype(int) - plain.draw(frame, Look("grey")).y
    assert np.abs(difference).max() <= 2
    by_itself = PlainPicture(calibration, settings)
    by_itself.take_ambient_off(added)
    assert np.abs(by_itself.draw(frame, Look("grey")).y.astype(int) - plain.draw(frame, Look("grey")).y).max() <= 1
    foggy = FusedPicture(calibration, settings).draw(frame, Look("grey")).y.astype(int)
    assert (foggy - plain.draw(frame, Look("grey")).y).mean() > 10
