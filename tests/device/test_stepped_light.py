"""A recording whose light was stepped, in a room with infrared of its own, seen in every way there is: each is of one run.

The truth is the scene's own. The step is written as the device does it, with one dark frame; half the dye's light is the room's, so
that a tissue of 40 % would read 115 % after the step if it was not taken off.
"""

from pathlib import Path

import numpy as np
import pytest

from device.comparison import compare
from device.export.overlay import Overlay
from device.late_pictures import late_pictures
from shared.frame import Frame
from shared.inflow.map_values import MEASURED
from shared.protocol.review import ReviewRegion
from shared.recording import Recording
from shared.recording.afterwards import write_analysis
from shared.recording.writer import RecordingWriter
from shared.review.moment import ReviewedRun
from shared.scene.description import Scene
from shared.scene.renderer import SceneRenderer
from shared.settings import PictureSettings

FPS, SECONDS, INJECTED_S, STEP_S = 10.0, 40.0, 3.0, 20.0
SKIN, TIP = "skin:10,15,28,50", "tip:58,15,28,50"
TRUTH = 40.0


def recorded(path: Path, after: float) -> Path:
    """With the light at 1 and then at ``after``."""
    left, right = [[0, 0], [50, 0], [50, 80], [0, 80]], [[50, 0], [96, 0], [96, 80], [50, 80]]
    shape = {"arrival_s": 4, "alpha": 3, "beta": 6}
    scene = Scene.from_values(
        {
            "camera": {"width": 96, "height": 80, "fps": FPS, "exposure_us": 15_000},
            "optics": {"mm_per_px": 1.0, "ambient": 0.5, "leakage": 0.0},
            "light": {"electrons_per_s": 400_000, "pwm_hz": 0},
            "dye": {"injected_at_s": INJECTED_S, "half_life_s": 36_000, "recirculation": 0.0},
            "surface": {"texture": 0.0},
            "tissue": [
                {"name": "skin", "polygon_mm": left, "level": 1.0, **shape},
                {"name": "tip", "polygon_mm": right, "level": TRUTH / 100, **shape},
            ],
        },
        "harbour",
    )
    renderer, out = SceneRenderer(scene, 8), np.empty((80, 96), np.uint16)
    with RecordingWriter(path, scene.description, renderer.calibration(), started_at="") as writer:
        writer.event("reference", 0, region=SKIN)
        writer.event("region", 0, region=TIP)
        writer.event("injection", round(INJECTED_S * 1e9))
        for number in range(round(SECONDS * FPS)):
            time_s = number / FPS
            level = 0.0 if number == round(STEP_S * FPS) else 1.0 if time_s < STEP_S else after
            renderer.frame_into(out, number, time_s - 0.0075, 15_000.0, 1.0, level)
            writer.append(Frame(out, number, round(time_s * 1e9), 15_000.0, 1.0, level, level > 0))
    return path


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """At one level, and stepped."""
    folder = tmp_path_factory.mktemp("stepped")
    return recorded(folder / "steady.zarr", 1.0), recorded(folder / "stepped.zarr", 0.4)


@pytest.mark.parametrize("at_s", [STEP_S - 2.0, STEP_S + 2.0, SECONDS - 2.0])
def test_review_shows_the_same_percent_before_and_after(runs: tuple[Path, Path], at_s: float) -> None:
    write_analysis(runs[1], {"track": None})
    with Recording.open(runs[1]) as recording:
        run = ReviewedRun(recording, PictureSettings())
        percents, us = [], []
        for number in range(run.number_at(at_s), run.number_at(at_s) + 10):
            (region,) = run.moment(number, ReviewRegion(SKIN), [ReviewRegion(TIP)]).regions
            percents.append(region.percent)
            us.append(region.percent_u)
        assert not run.takes_ambient_off, "all of it, as where unlit frames follow it"
    assert np.mean(percents) == pytest.approx(TRUTH, abs=1.0)
    assert np.abs(np.array(percents) - TRUTH).max() < 5 * max(us)


@pytest.mark.parametrize("reduced", [False, True])
def test_the_picture_of_review_does_too(runs: tuple[Path, Path], reduced: bool) -> None:
    """Its colour just before and just after; grey beneath is what the camera saw."""
    with Recording.open(runs[1]) as recording:
        run = ReviewedRun(recording, PictureSettings(widest_u_percent=50.0))
        look = run.look("relative", ())
        before, after = (
            run.picture(run.number_at(at_s), ReviewRegion(SKIN), look, reduced=reduced) for at_s in (19.8, 20.4)
        )
    tip = np.s_[5:15, 15:20] if reduced else np.s_[10:30, 30:40]
    for one, other in ((before.u, after.u), (before.v, after.v)):
        assert other[tip].mean() == pytest.approx(one[tip].mean(), abs=3.0)
        assert abs(one[tip].mean() - 128.0) > 10.0, "there is a colour to be compared"


def test_an_exported_film_shows_the_same_and_no_dark_frame(runs: tuple[Path, Path]) -> None:
    with Recording.open(runs[1]) as recording:
        percents, numbers = {}, []
        overlay = Overlay(recording, PictureSettings())
        for shown in overlay.play():
            numbers.append(shown.frame.sequence)
            (state,) = overlay.live.region_states()
            percents[shown.time_s] = state.percent
    assert round(STEP_S * FPS) not in numbers
    assert len(numbers) == recording.frames - 1
    late = [percent for time_s, percent in percents.items() if time_s > 12.0]
    assert None not in late
    assert np.array(late, np.float64) == pytest.approx(np.full(len(late), TRUTH), abs=3.0)
    after = np.array([percent for time_s, percent in percents.items() if time_s > STEP_S])
    assert after.mean() == pytest.approx(TRUTH, abs=1.0)


def test_compared_with_the_run_at_one_level_nothing_has_changed(runs: tuple[Path, Path]) -> None:
    """Figures and pictures of both ends."""
    with Recording.open(runs[0]) as steady, Recording.open(runs[1]) as stepped:
        found = compare(steady, stepped, between_s=0.0, same_view=True)
        pictures = late_pictures(found)
    tip = found.regions["tip"]
    for side in (tip.first, tip.second):
        assert side.late.value == pytest.approx(TRUTH, abs=1.0)
    assert pictures is not None
    inside = np.s_[12:30, 31:40]
    assert (pictures.second.classes[inside] == MEASURED).mean() > 0.9
    assert np.nanmean(pictures.second.percent[inside]) == pytest.approx(TRUTH, abs=1.5)
    assert np.nanmean(pictures.difference.percent[inside]) == pytest.approx(0.0, abs=1.5)
