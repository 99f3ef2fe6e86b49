"""``tapetum calibrate all``: which steps it takes, and in what order. What a step does is tested with each of them."""

import json
import signal
from dataclasses import replace

import pytest
from click.testing import CliRunner

from device.cli import calibrate, tapetum
from device.control_server import ControlServer
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


def test_for_machines_what_is_left_out_is_not_in_the_answer(monkeypatch, tmp_path):
    _, done = taken(monkeypatch, tmp_path, (1.0,), "--json")
    assert list(json.loads(done.stdout)) == CAMERA_STEPS
