"""A recording with unlit frames, exported and analysed: they are not shown, and what they tell is taken off."""

from pathlib import Path

import numpy as np
import pytest

from device.analysis import analyse
from device.export.caption import Captioner
from device.export.overlay import Overlay
from shared.calibration import Calibration
from shared.frame import CameraDescription, Frame
from shared.papers.words import words_in
from shared.recording import Recording
from shared.recording.writer import RecordingWriter
from shared.scene.description import Scene
from shared.scene.renderer import SceneRenderer
from shared.settings import PictureSettings

FPS, SECONDS, EVERY, INJECTED_S = 15.0, 40.0, 8, 3.0
SKIN, TIP = "skin:10,10,30,60", "tip:60,10,25,60"


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two tissues, the second at 40 % of the first, under ambient light ten times the first one's; one frame in eight unlit."""
    left, right = [[0, 0], [50, 0], [50, 80], [0, 80]], [[50, 0], [96, 0], [96, 80], [50, 80]]
    shape = {"arrival_s": 4, "alpha": 3, "beta": 4}
    scene = Scene.from_values(
        {
            "camera": {"width": 96, "height": 80, "fps": FPS, "exposure_us": 15_000},
            "optics": {"mm_per_px": 1.0, "ambient": 10.0, "leakage": 0.0},
            "light": {"electrons_per_s": 40_000, "pwm_hz": 0},
            "dye": {"injected_at_s": INJECTED_S, "half_life_s": 36_000, "recirculation": 0.0},
            "tissue": [
                {"name": "skin", "polygon_mm": left, "level": 1.0, **shape},
                {"name": "tip", "polygon_mm": right, "level": 0.4, **shape},
            ],
        },
        "harbour",
    )
    renderer = SceneRenderer(scene, 8)
    path, out = tmp_path_factory.mktemp("ambient") / "quay.zarr", np.empty((80, 96), np.uint16)
    with RecordingWriter(path, scene.description, renderer.calibration(), started_at="") as writer:
        writer.event("reference", 0, region=SKIN)
        writer.event("region", 0, region=TIP)
        writer.event("injection", round(INJECTED_S * 1e9))
        for number in range(round(SECONDS * FPS)):
            level = 0.0 if number % EVERY == 4 else 1.0
            renderer.frame_into(out, number, number / FPS - 0.0075, 15_000.0, 1.0, level)
            writer.append(Frame(out, number, round(number / FPS * 1e9), 15_000.0, 1.0, level, level > 0))
    return path


def test_analysis_takes_the_ambient_light_off_and_says_so(recording: Path) -> None:
    with Recording.open(recording) as opened:
        result = analyse(opened)
    figures = result.parameters["tip"]
    assert figures.relative_percent_at_reference_peak.value == pytest.approx(40.0, abs=3.0)
    assert figures.peak_relative_percent.value == pytest.approx(40.0, abs=3.0)
    assert "ambient light was measured in 75 frames without light, and is taken off" in result.warnings


def test_a_light_that_was_off_for_long_is_seen_to_be_off(tmp_path: Path) -> None:
    """Two dark stretches beside the frames dark on purpose: the picture of each is shown, and its caption says so."""
    camera = CameraDescription("harbour", 64, 48, frame_interval_us=33_333.0)
    off = {*range(60, 90), *range(150, 154)}
    path, pixels = tmp_path / "pier.zarr", np.full((48, 64), 60, np.uint16)
    with RecordingWriter(path, camera, Calibration.assumed(camera), started_at="") as writer:
        for number in range(180):
            level = 0.0 if number % 8 == 4 or number in off else 1.0
            writer.append(Frame(pixels, number, round(number / 30 * 1e9), 15_000.0, 1.0, level, level > 0))
    with Recording.open(path) as opened:
        shown = list(Overlay(opened, PictureSettings()).play())
        caption = Captioner(opened, PictureSettings(), words_in("de"))
        lines = {one.frame.sequence: caption.clock(one) for one in shown}
    assert {one.frame.sequence for one in shown if not one.is_lit} >= set(range(60, 90))
    assert not {one.frame.sequence for one in shown if one.is_lit} & off
    assert all(number % 8 != 4 or number in off for number in lines)
    assert lines[70] == "pier   2,3 s   Licht aus"
    assert lines[30] == "pier   1,0 s"


def test_values_of_many_regions_are_all_in_the_caption(tmp_path: Path) -> None:
    """Names as long as they may be, in the language with the longest words: no picture of the video is taller, none cut off."""
    camera = CameraDescription("harbour", 64, 48, frame_interval_us=33_333.0)
    path, pixels = tmp_path / "pier.zarr", np.full((48, 64), 60, np.uint16)
    with RecordingWriter(path, camera, Calibration.assumed(camera), started_at="") as writer:
        writer.event("reference", 0, region=f"{'Referenz am Stiel' * 2}:2,2,10,10")
        for number in range(8):
            writer.event(
                "region",
                0,
                region=f"Rand am Lappenende oben Stelle {number}:{4 * number},20,6,10",
            )
        for number in range(6):
            writer.append(Frame(pixels, number, round(number / 30 * 1e9), 15_000.0, 1.0, 1.0, True))
    with Recording.open(path) as opened:
        caption = Captioner(opened, PictureSettings(), words_in("es"))
        pictures = [caption.under(one).copy() for one in Overlay(opened, PictureSettings()).play()]
    assert len({picture.shape for picture in pictures}) == 1
    lines = pictures[-1][48 : 48 + 9 * 18]
    written = np.ptp(lines.astype(int), axis=(1, 2)) > 60
    assert written[18:].reshape(-1, 18).any(axis=1).sum() >= 4
    assert np.ptp(lines[:, -9:].astype(int)) < 10


def test_what_is_played_again_shows_lit_frames_only_and_the_scene_s_values(recording: Path) -> None:
    with Recording.open(recording) as opened:
        overlay = Overlay(opened, PictureSettings())
        percents, shown = [], []
        for one in overlay.play():
            shown.append(one)
            (value,) = one.picture.header["values"]
            if one.since_injection_s is not None and 12 < one.since_injection_s < 22:
                percents.append(value["percent"])
    assert overlay.notes == []
    assert all(one.frame.lit for one in shown)
    assert len(shown) == round(SECONDS * FPS) - 75
    assert [one.is_last for one in shown] == [False] * (len(shown) - 1) + [True]
    assert shown[-1].done == pytest.approx(1.0, abs=0.01)
    assert np.mean(percents) == pytest.approx(40.0, abs=3.0)
