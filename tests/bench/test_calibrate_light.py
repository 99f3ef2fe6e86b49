"""Light output measured on a running device whose ring loses 15 % at full level, and what that does to a change of level."""

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from statistics import median

import pytest

from device.light.simulated_ring import RING_NAME, SimulatedRingReader
from tests.bench.running_demo import Demo, running_demo, wait_for

SCENE = """
title = "Matt card on the harbour-town clinic's bench"
[camera]
width = 364
height = 272
fps = 60.0
[optics]
leakage = 0.5
ambient = 0.0
[light]
droop = 0.15
"""
SETTINGS = """
[light]
levels = [0.5, 1.0]
lease_ms = 400
[picture]
steadying = 0.0
[recording]
least_free_mb = 50
"""
HALF_OF_FULL = 0.5 * (1 - 0.15 * 0.5) / 0.85
"""Worked: output(l) = l (1 - .15 l) / (1 - .15)."""


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Demo]:
    folder = tmp_path_factory.mktemp("calibrate")
    (folder / "card.toml").write_text(SCENE)
    (folder / "settings.toml").write_text(SETTINGS)
    options = ("--scene", str(folder / "card.toml"), "--settings", str(folder / "settings.toml"))
    with running_demo(folder, *options) as running:
        running.ask("PUT", "reference", {"region": "card:130,100,100,70"})
        yield running


def tapetum(demo: Demo, *words: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "device", *words, "--run-dir", str(demo.run_folder)]
    return subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)


def ring_level(demo: Demo) -> float:
    """What the ring does now, by its own record."""
    ring = SimulatedRingReader(demo.run_folder / RING_NAME)
    record = ring.record()
    ring.close()
    assert record is not None
    return record.changes[-1].level


def signal_at(demo: Demo, level: float) -> float:
    """Signal of the card in settled frames at one level, the light held."""
    with demo.stream() as stream:
        seen: list[float] = []
        while len(seen) < 8:
            header = stream.picture().header
            settled = header["lit"] and abs(header["light_level"] - level) < 1e-6
            seen = [*seen, header["reference"]["signal"]] if settled else []
    return median(seen)


def moved_by_dimming(demo: Demo) -> float:
    """Relative change of the card's signal when the light is dimmed to half while it is on."""
    demo.full_light()
    with demo.held_light():
        full = signal_at(demo, 1.0)
        demo.light("dimmer")
        return signal_at(demo, 0.5) / full - 1


def test_dimming_moves_results_by_percents_until_the_output_is_measured_and_then_by_less_than_one(demo: Demo) -> None:
    assert "light output assumed linear" in tapetum(demo, "status").stdout
    assert moved_by_dimming(demo) == pytest.approx(2 * HALF_OF_FULL - 1, abs=0.01)
    assert 2 * HALF_OF_FULL - 1 > 0.08

    done = tapetum(demo, "calibrate", "light", "--yes", "--json")
    assert done.returncode == 0, done.stderr
    assert ring_level(demo) == 0.0, "nobody's light outlives the one who asked"
    found = json.loads(done.stdout)
    half, full = found["levels"]
    assert half["output"] == pytest.approx(HALF_OF_FULL, abs=5 * half["u"] + 5e-4)
    assert (half["level"], full["level"], full["output"]) == pytest.approx((0.5, 1.0, 1.0))
    file = Path(found["file"])
    assert file.parent == demo.data / "calibration" / "light_output"
    assert file.with_suffix(".csv").read_text().startswith("sequence,")
    assert (demo.data / "recordings" / f"{found['recording']}.zarr").is_dir()

    imager = demo.child("imager")
    imager.kill()
    wait_for(lambda: (child := demo._child("imager")) is not None and child.pid != imager.pid, "imager started again")
    state = wait_for(lambda: demo.answering("GET", "state"), "the page answers")
    assert state["light_measured_at"] == found["made_at"]
    assert f"light output measured {found['made_at']}" in tapetum(demo, "status").stdout
    demo.light("off")
    assert abs(moved_by_dimming(demo)) < 0.01


def test_ripple_is_shown_while_the_ring_pulses(demo: Demo) -> None:
    demo.light("dimmer")
    with demo.held_light():
        light = demo.state()["light"]
        assert (light["pwm"], light["level"]) == ("hardware", 0.5)
        assert 0 < light["ripple"] < 1e-3
        assert "PWM 20.00 kHz, ripple 0.01% at 15.0 ms" in tapetum(demo, "status").stdout
        refused = tapetum(demo, "calibrate", "light", "--yes")
        assert refused.returncode == 2
        assert "someone is using the light" in refused.stderr
