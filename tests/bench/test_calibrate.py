"""Commissioning on a running simulated device whose sensor, lens and ring are known: what is found is what the scene says."""

import json
import signal
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from playwright.sync_api import Page, expect

from device.cli import tapetum
from device.commissioning.kept_checks import newest
from shared.commissioning.calibration_folder import listed, load
from shared.commissioning.proposal import light_proposal
from shared.errors import Refused
from shared.optics.light_output import newest as newest_light
from shared.protocol.commissioning import PutInForce, StartWalk, StopWalk, WatchWalk
from shared.protocol.control import Light, Record
from shared.protocol.control_client import ControlClient, DeviceGone
from shared.protocol.device_facts import DeviceFacts, GetDevice, Trip
from shared.scene.description import Scene
from shared.scene.renderer import SceneRenderer
from shared.scene.targets import DILUTIONS
from tests.bench.bare_device import BareDevice
from tests.bench.running_demo import START_S, Demo, running_demo, wait_for
from tests.web_ui.browser.conftest import WORK_MS, expect_live

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
lease_ms = 400
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
def demo(folder: Path) -> Iterator[Demo]:
    options = ("--scene", str(folder / "scene.toml"), "--settings", str(folder / "settings.toml"))
    with running_demo(folder, *options) as running:
        yield running


@pytest.fixture(scope="module")
def device(demo: Demo) -> BareDevice:
    return BareDevice(demo.run_folder, demo.data)


def answered(device: BareDevice, *words: str) -> dict:
    """What a command prints; run in this process, which has loaded everything already."""
    before = signal.getsignal(signal.SIGTERM)
    done = CliRunner().invoke(tapetum, [*words, "--json", "--run-dir", str(device.run_folder)])
    signal.signal(signal.SIGTERM, before)
    assert done.exit_code == 0, done.stderr + repr(done.exception)
    assert device.ring_level() == 0.0
    return json.loads(done.stdout)


def test_a_step_is_refused_while_one_it_leans_on_is_missing(device: BareDevice) -> None:
    done = device.tapetum("calibrate", "flat", "--yes")
    assert done.returncode == 2
    assert done.stderr == "tapetum: step dark comes before this one; start with: tapetum calibrate dark\n"
    assert listed(device.data, device.state().sensor) == []


def test_every_step_finds_what_the_scene_says(device: BareDevice, folder: Path) -> None:
    before = wait_for(lambda: (it := device.state()).camera.sequence >= 0 and it, "the first frame")
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
    clipping = (1023 - truth.dark_counts.mean()) / 0.2
    assert 0.92 * clipping < gain["full_well_electrons"] < clipping, "where the variance is greatest (EMVA 1288)"

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

    half, full = found["light"]["levels"]
    assert half["output"] == pytest.approx(0.5, abs=5 * half["u"] + 1e-3), "this ring loses nothing to heat"
    assert full["output"] == 1.0

    after = device.state()
    assert after.camera.exposure_us == before.camera.exposure_us
    assert after.light.wanted_level == before.light.wanted_level
    assert not after.light.wanted_on


@pytest.fixture(scope="module")
def commissioned(device: BareDevice) -> BareDevice:
    """The same device with everything in force: all steps (the test before made them), and a new start."""
    assert device.state().calibration == "scene truth", "not before the next start"
    device.ask(PutInForce())
    wait_for(lambda: calibration_of(device) == "commissioned", "the imager started again", START_S)
    return device


def calibration_of(device: BareDevice) -> str:
    try:
        return device.state().calibration
    except (DeviceGone, Refused):
        return "nobody answers"


def test_it_is_in_force_from_the_next_start(commissioned: BareDevice) -> None:
    state = commissioned.state()
    told = "the newest calibration is in force: the camera's program was started again for it"
    assert [one for one in state.warnings if "calibration" in one] == [told]
    name, figures = listed(commissioned.data, state.sensor)[0]
    assert state.calibrated_at.replace(":", "-") == name
    assert figures.missing == ()


def test_the_check_passes_on_a_commissioned_device(commissioned: BareDevice) -> None:
    found = answered(commissioned, "check", "--yes")
    assert found["passed"], found
    assert {one["name"] for one in found["items"]} == {
        "dark level", "new defects", "leakage", "light answers", "light trips", "storage", "supply", "light conditions",
        "clock", "calibration",
    }  # fmt: skip
    assert found["seconds"] < 60
    assert newest(commissioned.data)[0].passed
    assert not list((commissioned.data / "recordings").glob("*_check.zarr")), "frames are kept where something failed"


@pytest.mark.browser
def test_a_check_and_a_step_from_the_page(commissioned: BareDevice, demo: Demo, opened: Callable[..., Page]) -> None:
    """A whole check, and the dark step with its result kept, on the real device through a real browser."""
    page = opened(f"{demo.url}/#pair={demo.word}")
    expect_live(page)
    page.evaluate("() => { location.hash = '#commissioning/check'; }")
    page.get_by_role("button", name="Check again").click()
    page.locator(".caution-box input").check()
    page.get_by_role("button", name="Start: the ring lights").click()
    expect(page.locator(".check-item").first).to_be_visible(timeout=WORK_MS)
    expect(page.locator(".verdict")).to_contain_text("PASSED", timeout=WORK_MS)
    expect(page.locator(".check-item")).to_have_count(10)
    assert len(newest(commissioned.data)) == 2, "both are kept"
    assert commissioned.ring_level() == 0
    assert commissioned.state().light.state in ("off", "ready"), "armed again after the trip on purpose"

    before = [name for name, _ in listed(commissioned.data, commissioned.state().sensor)]
    page.locator("#commissioning-list").get_by_role("link", name="Dark").click()
    page.get_by_role("button", name="Take it again").click()
    expect(page.locator(".guide")).to_contain_text("The ring stays dark")
    page.get_by_role("button", name="Start", exact=True).click()
    expect(page.locator(".decide")).to_be_visible(timeout=WORK_MS)
    expect(page.locator(".figures")).to_contain_text("DSNU")
    assert [name for name, _ in listed(commissioned.data, commissioned.state().sensor)] == before, "not kept yet"
    page.get_by_role("button", name="Keep", exact=True).click()
    expect(page.locator("#commissioning-next")).to_contain_text(
        "Dark is outside its limit"
    )  # so warm is this scene's sensor
    kept, figures = listed(commissioned.data, commissioned.state().sensor)[0]
    assert kept not in before
    assert figures.missing == ()
    assert {one.at for one in trips(commissioned)} != set(), "the trip on purpose is in the device's log"


@pytest.mark.browser
def test_the_levels_of_the_ring_are_measured_from_the_page_and_discarded(
    commissioned: BareDevice, demo: Demo, opened: Callable[..., Page]
) -> None:
    """A step that lights, with its own file and its own tray; what was in force before is so afterwards."""
    state = commissioned.state()
    before = newest_light(commissioned.data, state.ring)
    assert before is not None, "measured from the command line"
    page = opened(f"{demo.url}/#pair={demo.word}")
    expect_live(page)
    page.evaluate("() => { location.hash = '#commissioning/light'; }")
    page.get_by_role("button", name="Take it again").click()
    page.locator(".caution-box input").check()
    page.get_by_role("button", name="Start: the ring lights").click()
    expect(page.locator(".decide")).to_be_visible(timeout=WORK_MS)
    waits = light_proposal(commissioned.data, state.ring)
    assert waits is not None
    half, _ = waits.levels
    assert half.output == pytest.approx(0.5, abs=5 * half.u + 1e-3)
    expect(page.locator(".figures")).to_contain_text(f"{half.output:.4f}")
    expect(page.locator(".figures")).to_contain_text("1.0000")
    page.locator(".decide").get_by_role("button", name="Discard").click()
    page.locator("#line").get_by_role("button", name="Discard").click()
    expect(page.locator("#line-text")).to_contain_text("Discarded")
    assert light_proposal(commissioned.data, state.ring) is None
    assert newest_light(commissioned.data, state.ring) == before
    after = commissioned.state()
    assert after.camera.exposure_us == state.camera.exposure_us
    assert not after.light.wanted_on
    assert commissioned.ring_level() == 0


def trips(device: BareDevice) -> tuple[Trip, ...]:
    with ControlClient(device.run_folder / "control.sock") as client:
        found = client.ask_for(DeviceFacts, GetDevice()).trips
    assert all(one.tried for one in found), found
    return found


def test_a_walk_that_is_stopped_while_lit_leaves_no_light_and_everything_as_it_was(commissioned: BareDevice) -> None:
    before = commissioned.state().camera.exposure_us
    commissioned.ask(StartWalk("flat"))
    wait_for(lambda: commissioned.ask(WatchWalk()) and commissioned.ring_level() > 0, "lit", 60)
    commissioned.ask(StopWalk())
    wait_for(lambda: commissioned.ring_level() == 0, "dark", 1.0)
    ended = wait_for(lambda: (it := commissioned.state().walk) and not it.running and it, "the walk ended")
    assert ended.error == "it was stopped"
    state = wait_for(lambda: (it := commissioned.state()).recording.name is None and it, "recording written")
    assert state.camera.exposure_us == before
    assert commissioned.ring_level() == 0


def test_a_check_that_is_killed_leaves_no_light(commissioned: BareDevice) -> None:
    with commissioned.started("check", "--yes") as process:
        wait_for(lambda: commissioned.ring_level() > 0, "lit", 60)
        process.kill()
        process.wait(20)
    wait_for(lambda: commissioned.ring_level() == 0, "dark", 2.0)
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
