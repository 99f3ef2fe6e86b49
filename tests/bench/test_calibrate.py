"""Commissioning on a running simulated device whose sensor, lens and ring are known: what is found is what the scene says."""

import json
import signal
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from device.commissioning.kept_checks import newest
from shared.commissioning.calibration_folder import listed, load
from shared.protocol.commissioning import StartWalk, WatchWalk
from shared.protocol.control import Light, Record
from shared.scene.description import Scene
from shared.scene.renderer import SceneRenderer
from shared.scene.targets import DILUTIONS
from tests.bench.bare_device import BareDevice, bare_device
from tests.bench.running_demo import wait_for

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
    assert listed(device.data, device.state().sensor) == []


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

    assert found["scale"]["mm_per_px"] == pytest.approx(0.4, rel=5e-4)
    assert found["scale"]["distortion_percent"] == pytest.approx(-3, abs=0.1)
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


@pytest.fixture(scope="module")
def commissioned(device: BareDevice, folder: Path) -> Iterator[BareDevice]:
    """The same device, started again after all steps (the tests before made them, but for light)."""
    answered(device, "calibrate", "light", "--yes")
    with bare_device(folder / "run2", device.data, folder / "scene.toml", folder / "settings.toml") as again:
        yield again


def test_it_is_in_force_from_the_next_start(device: BareDevice, commissioned: BareDevice) -> None:
    assert device.state().calibration == "scene truth", "not before the next start"
    state = commissioned.state()
    assert (state.calibration, state.warnings) == ("commissioned", ())
    name, figures = listed(commissioned.data, state.sensor)[0]
    assert state.calibrated_at.replace(":", "-") == name
    assert figures.missing == ()


def test_the_check_passes_on_a_commissioned_device_from_shell_and_page(commissioned: BareDevice) -> None:
    found = answered(commissioned, "check", "--yes")
    assert found["passed"], found
    assert {one["name"] for one in found["items"]} == {
        "dark level", "new defects", "leakage", "light answers", "light trips", "storage", "supply", "light conditions",
        "clock", "calibration",
    }  # fmt: skip
    assert found["seconds"] < 60
    assert not list((commissioned.data / "recordings").glob("*_check.zarr")), "frames are kept where something failed"
    assert newest(commissioned.data)[0].passed
    state = commissioned.ask(StartWalk("check"))
    assert state.walk is not None
    assert state.walk.running
    ended = wait_for(lambda: (it := commissioned.ask(WatchWalk()).walk) and not it.running and it, "check ended", 60)
    assert (ended.passed, ended.error) == (True, "")
    assert len(newest(commissioned.data)) == 2, "both are kept"
    assert commissioned.state().light.state in ("off", "ready"), "armed again after the trip on purpose"


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM])
def test_a_check_that_is_killed_leaves_no_light(commissioned: BareDevice, number: int) -> None:
    before = commissioned.state().camera.exposure_us
    with commissioned.started("check", "--yes") as process:
        wait_for(lambda: commissioned.ring_level() > 0, "lit", 60)
        process.send_signal(number)
        process.wait(20)
    wait_for(lambda: commissioned.ring_level() == 0, "dark", 2.0)
    if number == signal.SIGTERM:
        assert commissioned.state().camera.exposure_us == before
    commissioned.ask(Light("off"))
    commissioned.ask(Light("rearm"))
    if commissioned.state().recording.name is not None:
        commissioned.ask(Record("stop"))
        wait_for(lambda: commissioned.state().recording.name is None, "recording written")
    wait_for(lambda: commissioned.state().light.state != "tripped", "armed")


def test_the_check_fails_and_says_what_to_do(commissioned: BareDevice) -> None:
    supply = commissioned.run_folder / "simulated_sensors" / "supply"
    supply.parent.mkdir(exist_ok=True)
    supply.write_text("4.1")
    wait_for(
        lambda: any(one.name == "supply" and one.state == "missing" for one in commissioned.state().light.conditions),
        "the supply sags",
    )
    done = commissioned.tapetum("check", "--yes")
    supply.unlink()
    assert done.returncode == 1
    (line,) = [line for line in done.stdout.splitlines() if line.startswith("FAIL  supply ")]
    assert "charge or change the battery" in line
    assert "FAIL  light answers" in done.stdout
    assert "FAIL  light trips      not tried" in done.stdout, "what cannot be tried has not passed"
    assert commissioned.ring_level() == 0


def test_an_older_calibration_can_be_taken_up_again(commissioned: BareDevice) -> None:
    sensor = commissioned.state().sensor
    names = [name for name, _ in listed(commissioned.data, sensor)]
    assert answered(commissioned, "calibrate", "use", names[-1])["again_from"] == names[-1]
    now = answered(commissioned, "calibrate", "list")["calibrations"]
    assert [one["name"] for one in now[1:]] == names, "nothing is lost"
    assert (now[0]["steps"], now[0]["again_from"]) == (["dark"], names[-1])
