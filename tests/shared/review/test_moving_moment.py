"""Moments of a moved hand in a bright room: the truth is the scene's own, and its displacement the track."""

import json
from dataclasses import replace

import numpy as np
import pytest

from shared.errors import Refused
from shared.frame import Frame
from shared.motion.kept_track import KeptTrack
from shared.motion.pose import Motion
from shared.protocol.review import ReviewRegion
from shared.recording import Recording
from shared.recording.afterwards import write_analysis
from shared.recording.writer import RecordingWriter
from shared.region import Region
from shared.review.moment import ReviewedRun
from shared.scene.description import Scene
from shared.scene.motion import HandMotion
from shared.scene.renderer import SceneRenderer
from shared.settings import PictureSettings

FPS, SECONDS, INJECTED_S, EVERY = 10.0, 22.0, 2.0, 5
LATE_S, LOST = 18.1, 150
TRUTH = 40.0
BRIGHT = 2.0
PLAIN = PictureSettings()
CERTAIN = PictureSettings(widest_u_percent=50.0, least_signal_to_noise=0.5)
"""Nothing is dashed or dotted."""
SKIN, TIP = ReviewRegion("skin:10,15,25,50"), ReviewRegion("tip:54,15,12,50")


def scene(ambient: float) -> Scene:
    """Two tissues side by side, the second at 40 % of the first, drifting to the right by 0.6 pixels a second."""
    wide = {"skin": ([[-30, -30], [50, -30], [50, 110], [-30, 110]], 1.0)}
    wide["tip"] = ([[50, -30], [126, -30], [126, 110], [50, 110]], TRUTH / 100)
    tissues = [
        {"name": name, "polygon_mm": outline, "arrival_s": 3, "alpha": 3, "beta": 4, "level": level}
        for name, (outline, level) in wide.items()
    ]
    values = {
        "camera": {"width": 96, "height": 80, "fps": FPS, "exposure_us": 15_000, "noise": {"hot_pixels": 3}},
        "optics": {
            "mm_per_px": 1.0, "ambient": ambient, "ambient_swing": 0.4, "ambient_period_s": 9.0, "leakage": 0.0
        },
        "light": {"electrons_per_s": 40_000, "pwm_hz": 0},
        "surface": {"texture": 0.0},
        "motion": {"tremor_mm": 0.5, "tremor_hz": 2.0, "drift_mm_s": 0.6, "drift_direction_deg": 0.0},
        "dye": {"injected_at_s": INJECTED_S, "half_life_s": 36_000, "recirculation": 0.0},
        "tissue": tissues,
    }  # fmt: skip
    return Scene.from_values(values, "harbour")


def played(path, ambient: float) -> KeptTrack:
    """A recording of which every fifth frame is unlit; the scene's own displacement is its track, lost in one frame."""
    renderer, hand = SceneRenderer(scene(ambient), 4), HandMotion(scene(ambient), 4)
    camera, motions = renderer.scene.description, []
    out = np.empty(camera.shape, np.uint16)
    with RecordingWriter(path, camera, renderer.calibration(), started_at="") as writer:
        writer.event("injection", round(INJECTED_S * 1e9))
        for number in range(round(SECONDS * FPS)):
            time_s, level = number / FPS, 0.0 if number % EVERY == 0 else 1.0
            renderer.frame_into(out, number, time_s, 15_000.0, 1.0, level)
            writer.append(Frame(out.copy(), number, round(time_s * 1e9), 15_000.0, 1.0, level, level > 0))
            motions.append(Motion(*hand.displacement_px(time_s)) if level and number != LOST + 1 else None)
    return KeptTrack(tuple(motions))


@pytest.fixture(scope="module")
def bright(tmp_path_factory):
    path = tmp_path_factory.mktemp("bright") / "bright.zarr"
    return path, played(path, BRIGHT)


def reviewed(bright, *, followed: bool, settings=PLAIN):
    path, track = bright
    write_analysis(path, {"track": track.as_values() if followed else None})
    return ReviewedRun(Recording.open(path), settings)


def percents(run) -> list[float]:
    numbers = [run.number_at(LATE_S + n / FPS) for n in range(20)]
    return [run.moment(number, SKIN, [TIP]).regions[0].percent for number in numbers]


def test_values_are_the_truth_although_the_room_is_bright_and_the_hand_drifts(bright) -> None:
    """A room twice as bright as the dye, swinging by 40 %: the tip within three points of its 40 %, and within its uncertainty."""
    run = reviewed(bright, followed=True)
    assert run.takes_ambient_off
    moment = run.moment(run.number_at(LATE_S), SKIN, [TIP])
    assert (moment.place, moment.lit) == ("followed", True)
    assert np.mean(percents(run)) == pytest.approx(TRUTH, abs=3.0)
    assert moment.regions[0].percent == pytest.approx(TRUTH, abs=4 * moment.regions[0].percent_u)
    drift = HandMotion(scene(BRIGHT), 4).displacement_px(moment.time_s)[0]
    assert Region.parse(moment.regions[0].region).bounds[0] - 54 == pytest.approx(drift, abs=2.0)
    run.recording.close()


def test_where_they_do_not_follow_the_values_are_wrong_and_the_place_is_said_to_be_still(bright) -> None:
    run = reviewed(bright, followed=False)
    assert run.place(run.number_at(LATE_S)) == "still"
    assert abs(np.mean(percents(run)) - TRUTH) > 10
    run.recording.close()


def test_where_the_tissue_is_lost_there_is_no_value_and_the_picture_is_grey(bright) -> None:
    run = reviewed(bright, followed=True)
    moment = run.moment(LOST + 1, SKIN, [TIP])
    assert (moment.place, moment.regions[0].percent, moment.regions[0].flag) == ("lost", None, "place not known")
    assert moment.regions[0].region == str(run.regions_at(LOST - 1, [TIP])[0]), "where it was last seen"
    assert (run.picture(LOST + 1, SKIN, run.look("relative", ()), reduced=False).u == 128).all()
    assert (run.picture(LOST + 2, SKIN, run.look("relative", ()), reduced=False).u != 128).any()
    run.recording.close()


def test_a_region_that_leaves_the_picture_has_no_value(bright) -> None:
    run = reviewed(bright, followed=True)
    edge = ReviewRegion("edge:84,15,12,50")
    assert run.moment(run.number_at(LATE_S), SKIN, [edge]).regions[0].flag == "out of the picture"
    run.recording.close()


@pytest.mark.parametrize("reduced", [False, True])
def test_the_picture_is_that_of_a_dark_room(bright, tmp_path, reduced: bool) -> None:
    """Grey and percent of the same moment, drawn with the room dark: within the noise that taking off leaves."""
    played(tmp_path / "dark.zarr", 0.0)
    run = reviewed(bright, followed=True, settings=CERTAIN)
    dark = ReviewedRun(Recording.open(tmp_path / "dark.zarr"), CERTAIN)
    dark._places, number = run._places, dark.number_at(LATE_S)
    for view in ("grey", "relative"):
        pictures = [one.picture(number, SKIN, one.look(view, ()), reduced=reduced) for one in (run, dark)]
        means = [[part.mean() for part in np.array_split(picture.y.astype(float), 4, axis=1)] for picture in pictures]
        assert np.abs(np.subtract(*means)).max() < 6, view
    raw = ReviewedRun(run.recording, PictureSettings())
    raw._ambient.way = "nothing"
    foggy = raw.picture(number, SKIN, raw.look("grey", ()), reduced=reduced)
    assert foggy.y.mean() - dark.picture(number, SKIN, dark.look("grey", ()), reduced=reduced).y.mean() > 20
    run.recording.close()
    dark.recording.close()


def test_a_kept_track_comes_back_to_a_thousandth_and_damage_is_refused() -> None:
    track = KeptTrack((Motion(1.23456, -2.0, 0.5), None))
    again = KeptTrack.from_values(json.loads(json.dumps(track.as_values())))
    assert again.motions[1] is None
    assert replace(again.motions[0], dx_px=1.23456) == track.motions[0]
    assert again.motions[0].dx_px == pytest.approx(1.23456, abs=5e-4)
    with pytest.raises(Refused, match="no track of the hand"):
        KeptTrack.from_values({"dx_px": [1.0]})
