"""``tapetum calibrate all``: which steps it takes, and in what order. What a step does is tested with each of them."""

import json
import signal
from dataclasses import replace

import pytest
from click.testing import CliRunner

from device.cli import calibrate, tapetum
from device.commissioning.dye_steps import LeakageStep
from device.commissioning.run import Done
from device.control_server import ControlServer
from shared.commissioning.calibration_folder import Figures, Kept, Taken
from shared.commissioning.leakage import Leakage
from shared.frame import CameraDescription
from tests.device.commissioning.fake_device import STATE

CAMERA_STEPS = ["dark", "defects", "flat", "gain", "scale", "sharpness", "leakage"]
ROW = "0,1,2,3,4,5,6,7"


@pytest.fixture(autouse=True)
def _as_before():
    """A command that lights takes SIGTERM for itself; this process goes on."""
    before = signal.getsignal(signal.SIGTERM)
    yield
    signal.signal(signal.SIGTERM, before)


def taken(monkeypatch, tmp_path, levels, *words):
    """Steps that were taken, and what was printed and said, on a device of those light levels."""
    found = []
    monkeypatch.setattr(calibrate, "_taken", lambda _client, step, _told: found.append(step.name) or {})
    monkeypatch.setattr(calibrate, "_light_taken", lambda _client, _told: found.append("light") or {})
    with ControlServer(tmp_path / "control.sock", lambda _request: replace(STATE, light_levels=levels)):
        done = CliRunner().invoke(
            tapetum, ["calibrate", "all", "--yes", *words, "--run-dir", str(tmp_path)], catch_exceptions=False
        )
    assert done.exit_code == 0
    return found, done


@pytest.mark.parametrize(("words", "row"), [((), []), (("--concentrations", ROW), ["sensitivity"])])
def test_light_comes_last(monkeypatch, tmp_path, words, row):
    found, done = taken(monkeypatch, tmp_path, (0.2, 0.6, 1.0), *words)
    assert found == [*CAMERA_STEPS, *row, "light"]
    assert f"step {len(found)} of {len(found)}: light" in done.output
    assert "left out" not in done.output


@pytest.mark.parametrize(("words", "row"), [((), []), (("--concentrations", ROW), ["sensitivity"])])
def test_a_ring_of_one_level_is_spared_it_and_told_why(monkeypatch, tmp_path, words, row):
    found, done = taken(monkeypatch, tmp_path, (1.0,), *words)
    assert found == [*CAMERA_STEPS, *row]
    assert "light is left out: the ring has one level only, so there is nothing to compare" in done.output
    assert f"step {len(found)} of {len(found)}: {found[-1]}" in done.output


def test_a_step_that_another_has_to_come_before_is_refused_before_anyone_is_asked_for_its_target(tmp_path):
    state = replace(STATE, data_folder=str(tmp_path), sensor="a")
    with ControlServer(tmp_path / "control.sock", lambda _request: state):
        done = CliRunner().invoke(tapetum, ["calibrate", "flat", "--run-dir", str(tmp_path)])
    assert done.exit_code != 0
    assert "step dark comes before this one" in str(done.exception)
    assert "in place" not in done.output


def test_figures_are_read_with_units_limits_and_what_failed(tmp_path):
    leaking = Leakage(55.0, 0.02, 60.0, 61.0, (55.0,) * 35, 20.0)
    kept = Kept("", Figures.empty("a", CameraDescription("a", 64, 64))).with_step(
        "leakage", leaking, {}, Taken("leakage", "2026-11-25T10:00:00Z", "r")
    )
    lines = calibrate._readable(Done(LeakageStep(), kept, tmp_path, "r")).splitlines()
    assert lines[0].endswith("FAIL")
    assert "55.000 ± 0.020 % of the dye card" in lines[0]
    assert "at most 10" in lines[0]
    assert any(line.startswith("NOT PASSED: put that right") for line in lines)


def test_for_machines_what_is_left_out_is_not_in_the_answer(monkeypatch, tmp_path):
    _, done = taken(monkeypatch, tmp_path, (1.0,), "--json")
    assert list(json.loads(done.stdout)) == CAMERA_STEPS
