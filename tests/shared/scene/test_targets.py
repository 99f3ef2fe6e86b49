"""Targets before a scene's camera: what they are is what the measuring steps find in noise-free pictures of them."""

import numpy as np
import pytest

from shared.commissioning.grid_scale import grid_scale
from shared.commissioning.sheet import WELL_MM, well_places_mm
from shared.commissioning.slanted_edge import sharpness
from shared.scene.description import Scene
from shared.scene.renderer import SceneRenderer
from shared.scene.targets import DILUTIONS, with_target

SCENE = Scene.from_values(
    {
        "camera": {"width": 320, "height": 240},
        "optics": {"mm_per_px": 0.4, "distortion": 0.04, "leakage": 0.06, "ambient": 0.01},
        "tissue": [{"name": "base", "polygon_mm": [[0, 0], [90, 0], [90, 90]], "level": 2.0}],
        "motion": {"tremor_mm": 1.0},
    },
    "test",
)
EXPOSURE_US = 15_000.0


def drawn(target):
    """Mean counts of the target at full light, and of the same in the dark."""
    truth = SceneRenderer(with_target(SCENE, target), 3).truth
    return [truth.counts(1.0, EXPOSURE_US, light_level=level) for level in (1.0, 0.0)]


FLAT = SceneRenderer(SCENE, 3).calibration().flat


def test_the_patient_is_the_scene_itself():
    assert with_target(SCENE, "patient") is SCENE


def test_sensor_and_light_stay_what_they_were():
    for target in ("cap", "dye card", "plain card", "check box", "dot grid", "slanted edge", "dilution row"):
        scene = with_target(SCENE, target)
        assert scene.camera == SCENE.camera
        assert scene.electrons_per_s == SCENE.electrons_per_s, "level 1 is as bright as before"
        assert (SceneRenderer(scene, 3).calibration().flat == FLAT).all(), "the same pixels, lens and ring"


def test_under_the_cap_light_makes_no_difference():
    lit, dark = drawn("cap")
    assert (lit == dark).all()


@pytest.mark.parametrize(("target", "level"), [("dye card", 1.06), ("plain card", 0.06), ("check box", 0.06)])
def test_cards_are_even(target, level):
    lit, dark = drawn(target)
    electrons = (lit - dark) / FLAT / SCENE.camera.counts_per_electron / (EXPOSURE_US / 1e6)
    assert np.ptp(electrons) < 0.02 * electrons.mean()
    peak = SceneRenderer(SCENE, 3)._sensor.lit.max() / 60_000
    assert electrons.mean() == pytest.approx(level * SCENE.electrons_per_s * peak, rel=0.01)


def test_only_the_check_box_shuts_lamps_out():
    capped = drawn("cap")[1]
    assert np.abs(drawn("check box")[1] - capped).max() < 1e-9
    assert (drawn("plain card")[1] - capped).min() > 1


def test_the_grid_has_the_scenes_scale_and_distortion():
    found = grid_scale(drawn("dot grid")[0] - 60, 10.0, 250.0)
    assert found.mm_per_px == pytest.approx(0.4, rel=2e-3)
    assert found.distortion_percent == pytest.approx(4, abs=0.05)


def test_the_edge_is_as_blurred_as_is_said():
    plane = drawn("slanted edge")[0][40:200, 90:230] - 60
    assert sharpness(plane).mtf50_cycles_per_px == pytest.approx(0.220124, abs=0.01)


def test_wells_glow_in_proportion():
    lit, dark = drawn("dilution row")
    signal = (lit - dark) / FLAT
    levels = []
    for x_mm, y_mm in well_places_mm():
        x, y, reach = round(160 + x_mm / 0.4), round(120 + y_mm / 0.4), round(0.25 * WELL_MM / 0.4)
        levels.append(signal[y - reach : y + reach, x - reach : x + reach].mean())
    above = np.array(levels) - levels[0]
    assert above / above[-1] == pytest.approx(np.array(DILUTIONS), abs=0.01)
