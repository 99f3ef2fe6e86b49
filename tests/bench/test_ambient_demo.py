"""The whole device in a room with infrared of its own, and light, exposure and gain changed meanwhile.

Truth is the scene's own: two tissues that glow all the time, the second at 40 % of the first. Once under ambient light ten times
the first one's, with one frame in nine unlit; once as shipped, under a quarter of it, which is measured at each step only.
"""

import itertools
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from device.commissioning.cases import case_of
from shared.inflow.curves import CurveGatherer, RegionCurve
from shared.protocol import control as c
from shared.protocol.control_client import ControlClient
from shared.recording import Recording
from shared.region import Region
from tests.bench.running_demo import Demo, running_demo, wait_for

SCENE = """
title = "Noon on the quay"
[camera]
width = 364
height = 272
fps = 30.0
exposure_us = 15000.0
[optics]
mm_per_px = 0.5
leakage = 0.0
ambient = {ambient}
[light]
electrons_per_s = 40000.0
pwm_hz = 0.0
[surface]
texture = 0.0
[[tissue]]
name = "skin"
polygon_mm = [[0, 0], [91, 0], [91, 136], [0, 136]]
steady = true
[[tissue]]
name = "tip"
polygon_mm = [[91, 0], [182, 0], [182, 136], [91, 136]]
level = 0.4
steady = true
"""
SETTINGS = "[recording]\nleast_free_mb = 50\n"
FOLLOWED = SCENE.replace("{ambient}", "10.0"), SETTINGS + "[picture]\nunlit_every = 8\n"
AT_STEPS = SCENE.replace("{ambient}", "0.25"), SETTINGS
SKIN, TIP = "skin:20,40,140,190", "tip:200,40,140,190"
LEFT_OUT_S = 0.5


@pytest.fixture(scope="module", params=[FOLLOWED, AT_STEPS], ids=["followed", "at steps"])
def ambient(request: pytest.FixtureRequest) -> tuple[str, str]:
    """Scene and settings."""
    return tuple(request.param)


@pytest.fixture(scope="module")
def demo(ambient: tuple[str, str], tmp_path_factory: pytest.TempPathFactory) -> Iterator[Demo]:
    folder = tmp_path_factory.mktemp("ambient")
    (folder / "quay.toml").write_text(ambient[0])
    (folder / "settings.toml").write_text(ambient[1])
    options = ("--scene", str(folder / "quay.toml"), "--settings", str(folder / "settings.toml"))
    with running_demo(folder, *options) as running:
        yield running


@pytest.fixture(scope="module")
def run(demo: Demo) -> tuple[Path, list[float], set[str]]:
    """A recording in which light, exposure and gain change; live percentages and the words for the light seen meanwhile."""
    demo.full_light()
    demo.ask("PUT", "reference", {"region": SKIN})
    demo.ask("PUT", "regions", {"region": TIP})
    percents: list[float] = []
    words: set[str] = set()

    def watch(frames: int) -> None:
        started = demo.state()["recording"]["frames"]

        def enough() -> bool:
            state = demo.state()
            words.add(state["light"]["state"])
            (region,) = state["regions"]
            if region["percent"] is not None:
                percents.append(region["percent"])
            return bool(state["recording"]["frames"] - started > frames)

        wait_for(enough, f"{frames} more frames")

    with demo.held_light(), ControlClient(demo.run_folder / "control.sock") as client:
        wait_for(lambda: demo.state()["regions"][0]["percent"] is not None, "a value")
        # one of commissioning's own: the exposure of a patient's recording is locked against every request
        demo.ask("POST", "recording", {"act": "start", "case": case_of("ambient")})
        watch(75)
        demo.light("dimmer")
        demo.light("dimmer")
        watch(75)
        while_lit = set(words)
        client.ask(c.StepExposure(10_000.0, 1.0))  # the guard keeps it dark until it knows the new exposure
        watch(75)
        client.ask(c.StepExposure(10_000.0, 1.4))
        watch(75)
        demo.ask("POST", "recording", {"act": "stop"})
    demo.recording_written()
    (path,) = (demo.data / "recordings").glob("*.zarr")
    return path, percents, while_lit


@pytest.fixture(scope="module")
def curves(ambient: tuple[str, str], run: tuple[Path, list[float], set[str]]) -> dict[str, RegionCurve]:
    with Recording.open(run[0]) as recording:
        gatherer = CurveGatherer(recording.calibration, [Region.parse(SKIN), Region.parse(TIP)])
        for number in range(recording.frames):
            gatherer.add(recording.frame(number))
    assert gatherer.takes_ambient_off == (ambient == FOLLOWED)
    return gatherer.curves()


def truth(ambient: tuple[str, str]) -> float:
    """Percent of the second tissue: with no baseline, what steps leave of the ambient light, that of full light, is in both."""
    return 40.0 if ambient == FOLLOWED else 100.0 * (0.4 + 0.25) / (1.0 + 0.25)


def test_live_values_are_the_scene_s(ambient: tuple[str, str], run: tuple[Path, list[float], set[str]]) -> None:
    percents = run[1]
    assert len(percents) > 20
    assert np.median(percents) == pytest.approx(truth(ambient), abs=1.0)
    assert np.abs(np.array(percents) - truth(ambient)).max() < 6.0, "from the first one on"


def test_whoever_holds_the_light_sees_it_on(run: tuple[Path, list[float], set[str]]) -> None:
    assert run[2] <= {"lit", "tripped"}, "a machine that is too busy for a lease trips it; a dark frame is no word"


def test_the_recording_has_its_unlit_frames_and_says_no_more_of_them(
    ambient: tuple[str, str], run: tuple[Path, list[float], set[str]]
) -> None:
    with Recording.open(run[0]) as recording:
        unlit = ~recording.frame_table.lit
        light = [event for event in recording.events if event.kind == "light"]
    if ambient == FOLLOWED:
        assert 0.05 < unlit.mean() < 0.2
    else:
        assert 2 <= np.count_nonzero(unlit) < 0.2 * unlit.size, "one for each step at least"
    assert len(light) < 12, "the changes, and not each dark frame"


def test_no_curve_moves_by_more_than_a_hundredth(
    ambient: tuple[str, str], run: tuple[Path, list[float], set[str]], curves: dict[str, RegionCurve]
) -> None:
    """Means of the stretches between changes, against the first; ``LEFT_OUT_S`` about each, where settings pass over."""
    with Recording.open(run[0]) as recording:
        table = recording.frame_table
        middle_s = (table.sensor_time_ns - table.sensor_time_ns[0]) / 1e9 - table.exposure_us / 2e6
        settings = np.round(np.stack([table.exposure_us, table.gain * 1000, table.light_level * 1000], axis=1))
    lit = table.light_level > 0.3
    changes = np.flatnonzero((np.diff(settings[lit], axis=0) != 0).any(axis=1))
    edges = [0.0, *(middle_s[lit][number] for number in changes), np.inf]
    stretches = [(a, b) for a, b in itertools.pairwise(edges) if b - a > 1.5]
    assert len(stretches) >= 4
    for name in ("skin", "tip"):
        curve = curves[name]
        means = [
            curve.signal[(curve.times_s > a + LEFT_OUT_S / 2) & (curve.times_s < b - LEFT_OUT_S / 2)].mean()
            for a, b in stretches
        ]
        assert means == pytest.approx([means[0]] * len(means), rel=0.01)
    ratio = curves["tip"].signal.mean() / curves["skin"].signal.mean()
    assert 100 * ratio == pytest.approx(truth(ambient), abs=3.0)
