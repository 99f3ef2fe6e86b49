"""Commissioning on a running simulated device whose sensor, lens and ring are known: what is found is what the scene says."""

import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from shared.commissioning.calibration_folder import load
from shared.scene.description import Scene
from shared.scene.renderer import SceneRenderer
from shared.scene.targets import DILUTIONS
from tests.bench.bare_device import BareDevice, bare_device

SCENE = """
title = "Commissioning on the harbour-town clinic's bench"
[camera]
width = 364
height = 272
fps = 60.0
exposure_us = 8000.0
[camera.noise]
counts_per_electron = 0.2
dark_current_electrons_per_s = 400.0
[optics]
mm_per_px = 0.4
vignetting = 0.2
leakage = 0.06
ambient = 0.01
distortion = -0.03
"""
SETTINGS = """
[light]
levels = [0.5, 1.0]
lease_ms = 300
[recording]
least_free_mb = 50
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("commissioning")
    (made / "scene.toml").write_text(SCENE)
    (made / "settings.toml").write_text(SETTINGS)
    return made


@pytest.fixture(scope="module")
def device(folder: Path) -> Iterator[BareDevice]:
    with bare_device(folder / "run", folder / "data", folder / "scene.toml", folder / "settings.toml") as running:
        yield running


def answered(device: BareDevice, *words: str) -> dict:
    done = device.tapetum(*words, "--json")
    assert done.returncode == 0, done.stderr
    assert device.ring_level() == 0.0
    return json.loads(done.stdout)


def test_a_step_is_refused_while_one_it_leans_on_is_missing(device: BareDevice) -> None:
    done = device.tapetum("calibrate", "flat", "--yes")
    assert done.returncode == 2
    assert done.stderr == "tapetum: step dark comes before this one; start with: tapetum calibrate dark\n"
    assert answered(device, "calibrate", "list") == {"calibrations": []}


def test_every_step_finds_what_the_scene_says(device: BareDevice, folder: Path) -> None:
    before = device.state()
    found = answered(device, "calibrate", "all", "--yes", "--concentrations", ",".join(map(str, DILUTIONS)))
    scene = Scene.load(folder / "scene.toml")
    truth = SceneRenderer(scene, 0).calibration()
    planes = load(device.data, Path(found["gain"]["calibration"]).name).planes
    good = ~truth.defects

    assert np.median(planes["dark_counts"][good] - truth.dark_counts[good]) == pytest.approx(0, abs=0.1)
    assert found["dark"]["current_counts_per_s"] == pytest.approx(0.2 * 400, rel=0.1)
    assert planes["defects"].tolist() == truth.defects.tolist(), "exactly the scene's hot pixels"
    flat = planes["flat"][good] / truth.flat[good]
    assert np.std(flat) / np.mean(flat) == pytest.approx(found["flat"]["noise_percent"] / 100, rel=0.25)
    assert found["flat"]["noise_percent"] < 1
    gain = found["gain"]
    assert gain["counts_per_electron"] == pytest.approx(0.2, rel=0.015)
    assert gain["read_noise_electrons"] == pytest.approx(3.0, rel=0.05)
    assert gain["prnu_percent"] == pytest.approx(0.6, rel=0.05)
    assert (gain["saturates_at_counts"], gain["reached_saturation"]) == (1023, True)

    assert found["scale"]["mm_per_px"] == pytest.approx(0.4, rel=2e-3)
    assert found["scale"]["distortion_percent"] == pytest.approx(-3, abs=0.3)
    assert found["sharpness"]["mtf50_cycles_per_px"] == pytest.approx(0.220124, abs=0.01), (
        "sigma 0.8 and the pixel's box"
    )
    assert found["leakage"]["middle_percent"] == pytest.approx(100 * 0.06 / 1.06, rel=0.02), "the dye card leaks too"
    assert found["leakage"]["corner_percent"] == pytest.approx(100 * 0.06 / 1.06, rel=0.03)
    row = found["sensitivity"]
    assert row["linear_to"] == 1.0
    assert row["slope"] == pytest.approx(0.9 * found["flat"]["full_signal"] / 1.06, rel=0.02)
    assert 0 < row["detection_limit"] < 0.05

    after = device.state()
    assert after.camera.exposure_us == before.camera.exposure_us
    assert after.light.wanted_level == before.light.wanted_level
    assert not after.light.wanted_on


def test_it_is_in_force_from_the_next_start_and_an_older_one_can_be_taken_up_again(
    device: BareDevice, folder: Path
) -> None:
    assert device.state().calibration == "scene truth", "not before the next start"
    names = [one["name"] for one in answered(device, "calibrate", "list")["calibrations"]]
    with bare_device(folder / "run2", device.data, folder / "scene.toml", folder / "settings.toml") as again:
        state = again.state()
        assert (state.calibration, state.warnings) == ("commissioned", ())
        assert state.calibrated_at.replace(":", "-") == names[0]
        assert f"calibration  commissioned, {state.calibrated_at}" in again.tapetum("status").stdout
        assert answered(again, "calibrate", "use", names[-1])["again_from"] == names[-1]
        now = answered(again, "calibrate", "list")["calibrations"]
        assert [one["name"] for one in now[1:]] == names, "nothing is lost"
        assert (now[0]["steps"], now[0]["again_from"]) == (["dark"], names[-1])
