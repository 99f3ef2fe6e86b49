"""One moment of a recording: the picture is the plain live picture of that frame alone, in signal units of its own baseline."""

import numpy as np
import pytest

from shared.errors import Refused
from shared.live_picture import Look, PlainPicture, smoothed
from shared.picture_noise import frame_noise
from shared.protocol.review import ReviewRegion
from shared.recording import Recording
from shared.region import Region
from shared.review.moment import ReviewedRun
from shared.settings import PictureSettings
from shared.signal import DefectSources, signal
from tests.web_ui.reviewed import BASE, FPS, INJECTED_S, made

SETTINGS = PictureSettings(steadying=0.0)


@pytest.fixture
def run():
    with Recording.open(made()) as recording:
        yield ReviewedRun(recording, PictureSettings())


def test_the_picture_is_the_plain_one_of_that_frame(run):
    recording, reference, marked = run.recording, Region.parse(BASE), ReviewRegion(BASE)
    calibration = recording.calibration
    sources = DefectSources.around(calibration.defects)
    before = [n for n in range(recording.frames) if INJECTED_S - 1 <= run.times_s[n] < INJECTED_S]
    mean = np.mean([signal(recording.frame(n), calibration, sources) for n in before], axis=0)
    good = reference.indices(calibration.camera.shape)
    good = good[~calibration.defects.reshape(-1)[good]]
    frame = recording.frame(200)
    above = signal(frame, calibration, sources).reshape(-1)[good].mean() - mean.reshape(-1)[good].mean()
    factor = calibration.counts_to_signal(frame.exposure_us, frame.gain, frame.light_level)
    noise = frame_noise(calibration, frame.gain, factor) * (1 / len(before))
    look = Look("relative", (20.0, 40.0), above, smoothed(mean).astype(np.float32), baseline_noise=noise)
    expected = PlainPicture(calibration, SETTINGS).draw(recording.frame(200), look)
    for _ in range(2):  # nothing is carried over from one moment to the next
        drawn = run.picture(200, marked, run.look("relative", (20.0, 40.0)), reduced=False)
        np.testing.assert_allclose(drawn.y.astype(int), expected.y, atol=1)
        np.testing.assert_allclose(drawn.u.astype(int), expected.u, atol=1)
        run.picture(150, marked, run.look("relative", (20.0, 40.0)), reduced=False)


def test_a_moment_is_the_nearest_frame_with_light(run):
    assert run.number_at(-5.0) == 0
    assert run.number_at(7.04) == 70
    assert run.number_at(1e6) == run.recording.frames - 1
    lit = run.recording.frame_table.lit.copy()
    lit[70] = False
    run._is_lit = run._is_whole = lit
    del run._lit_numbers
    assert run.number_at(7.0) in (69, 71)
    lit[: int(15 * FPS)] = False
    del run._lit_numbers
    assert run.number_at(7.0) == 70
    assert run.moment(70, ReviewRegion(BASE), []).reference.flag == "unlit"


def test_without_a_reference_the_picture_is_grey_and_the_values_say_why(run):
    planes = run.picture(200, None, run.look("relative", ()), reduced=False)
    assert (planes.u == 128).all()
    assert run.moment(200, None, [ReviewRegion(BASE)]).regions[0].flag == "no reference"


def test_contours_must_rise(run):
    with pytest.raises(Refused, match="contour percentages must rise"):
        run.look("relative", (40.0, 20.0))
