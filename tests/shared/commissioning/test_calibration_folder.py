"""Calibrations on disk: what was kept comes back, the newest of a sensor is in force, and damage is named."""

import json
from dataclasses import replace

import numpy as np
import pytest

from shared.calibration import Calibration
from shared.commissioning.calibration_folder import FOLDER, Figures, Kept, Taken, keep, listed, load, newest
from shared.commissioning.defects import Defects
from shared.commissioning.gain import Gain
from shared.errors import Refused
from shared.frame import CameraDescription

CAMERA = CameraDescription("fake", 24, 16, bit_depth=10, black_level=60.0)
GAIN = Gain(0.1, 0.001, 2.8, 0.05, False, 9000.0, True, -0.4, 0.3, 2.0, 0.6, 1023, 12)
DEFECTS = Defects(1, 0, 0, 1, 1 / 384)
DAY = "2026-11-{:02d}T10:00:00Z"


def taken(step, day):
    return Taken(step, DAY.format(day), f"{step}-{day}")


def with_gain(day=1, sensor="A"):
    return Kept("", Figures.empty(sensor, CAMERA)).with_step("gain", GAIN, {}, taken("gain", day))


def with_defects(kept, day):
    mask = np.zeros(CAMERA.shape, np.bool_)
    mask[3, 4] = True
    return kept.with_step("defects", DEFECTS, {"defects": mask}, taken("defects", day))


def test_what_was_kept_comes_back_with_planes_and_evidence(tmp_path):
    kept = with_defects(with_gain(), 2)
    path = keep(tmp_path, kept, {"defects.csv": b"x,y\n4,3\n"})
    assert path == tmp_path / FOLDER / "2026-11-02T10-00-00Z"
    back = newest(tmp_path, "A")
    assert back.figures == kept.figures
    assert back.planes["defects"].tolist() == kept.planes["defects"].tolist()
    assert (path / "evidence" / "defects.csv").read_text() == "x,y\n4,3\n"
    assert {one.step: one.made_at for one in back.figures.taken} == {"gain": DAY.format(1), "defects": DAY.format(2)}
    assert not list((tmp_path / FOLDER).glob(".*")), "nothing half written stays"


def test_the_newest_of_a_sensor_is_in_force_and_older_ones_stay(tmp_path):
    keep(tmp_path, with_gain(1), {})
    keep(tmp_path, with_gain(3), {})
    keep(tmp_path, with_gain(4, sensor="B"), {})
    keep(tmp_path, with_gain(3), {})
    assert [name for name, _ in listed(tmp_path, "A")] == [
        "2026-11-03T10-00-00Z-2",
        "2026-11-03T10-00-00Z",
        "2026-11-01T10-00-00Z",
    ]
    assert newest(tmp_path, "A").name == "2026-11-03T10-00-00Z-2"
    assert newest(tmp_path, "C") is None


def test_it_takes_the_place_of_what_was_assumed_and_says_how_far(tmp_path):
    base = Calibration.assumed(CAMERA)
    part = with_defects(with_gain(), 2)
    found = part.applied(base)
    assert (found.counts_per_electron, found.read_noise_electrons) == (0.1, 2.8)
    assert found.defects[3, 4]
    assert (found.origin, part.figures.missing) == ("assumed", ("dark", "flat"))
    plane = np.ones(CAMERA.shape, np.float32)
    figures = replace(part.figures, dark=object(), flat=object())
    whole = replace(part, figures=figures, planes={**part.planes, "flat": plane, "dark_counts": 60 * plane})
    assert whole.applied(base).origin == "commissioned"
    assert whole.applied(base).dark_counts[0, 0] == 60


def test_what_could_not_be_read_again_is_not_kept(tmp_path):
    wrong = Kept("", Figures.empty("A", CAMERA)).with_step(
        "gain", replace(GAIN, full_well_electrons=1e30), {}, taken("gain", 1)
    )
    with pytest.raises(Refused, match=r"the result: gain.full_well_electrons must be from .*: 1e\+30"):
        keep(tmp_path, wrong, {})
    assert newest(tmp_path, "A") is None


def test_a_damaged_one_says_what_to_do_and_one_older_than_that_in_force_hinders_nothing(tmp_path):
    older = keep(tmp_path, with_gain(1), {}) / "calibration.json"
    keep(tmp_path, with_gain(3), {})
    values = json.loads(older.read_text())
    values["gain"]["full_well_electrons"] = 1e30
    older.write_text(json.dumps(values))
    assert newest(tmp_path, "A").name == "2026-11-03T10-00-00Z"
    with pytest.raises(Refused, match=r"calibration.json: cannot be read \(.*1e\+30\); take that folder away"):
        listed(tmp_path, "A")


def test_a_calibration_of_another_frame_size_is_refused():
    other = Calibration.assumed(replace(CAMERA, width=32))
    with pytest.raises(Refused, match="another frame size: 24 x 16, where the camera gives 32 x 16; set camera"):
        with_defects(with_gain(), 2).applied(other)


@pytest.mark.parametrize(
    ("damage", "words"),
    [
        (
            lambda path: (path / "calibration.json").write_text("{"),
            "calibration.json: cannot be read .* calibrate again",
        ),
        (lambda path: (path / "planes.npz").write_bytes(b"PK\x03\x04 no"), "planes.npz: cannot be read"),
        (lambda path: (path / "planes.npz").unlink(), "planes.npz: cannot be read"),
        (lambda path: rewrite(path, version=9), "version"),
        (lambda path: rewrite(path, width=32), "plane defects has another size"),
        (lambda path: put(path, "flat", np.nan), "plane flat holds values .* take that folder away, and restart"),
        (lambda path: put(path, "flat", 0.0), "plane flat holds values"),
        (lambda path: put(path, "dark_counts", np.inf), "plane dark_counts holds values"),
    ],
)
def test_damage_is_named(tmp_path, damage, words):
    path = keep(tmp_path, with_defects(with_gain(), 2), {})
    damage(path)
    with pytest.raises(Refused, match=words):
        newest(tmp_path, "A")


def put(path, name, value):
    """A plane with one pixel that is not a number a picture can be corrected by, as a fault of the disk may leave it."""
    plane = np.ones(CAMERA.shape, np.float32)
    plane[2, 3] = value
    np.savez(path / "planes.npz", **{name: plane})


def rewrite(path, **changes):
    file = path / "calibration.json"
    file.write_text(json.dumps({**json.loads(file.read_text()), **changes}))


def test_names_that_are_none_are_refused(tmp_path):
    for name in ("yesterday", "../camera"):
        with pytest.raises(Refused, match="no such calibration"):
            load(tmp_path, name)
