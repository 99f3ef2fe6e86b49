"""Which calibration an imager starts with: the newest of its own sensor, and what is wrong with one is said."""

import numpy as np
import pytest

from device.imager.sources import Source, with_calibration
from shared.calibration import Calibration
from shared.commissioning.calibration_folder import FOLDER, Figures, Kept, Taken, again, keep
from shared.commissioning.defects import Defects
from shared.errors import Refused
from shared.frame import CameraDescription

CAMERA = CameraDescription("fake", 24, 16)
MASK = np.zeros(CAMERA.shape, np.bool_)
MASK[2, 3] = True


def source(sensor="A", camera=CAMERA):
    return Source(None, "picamera", Calibration.assumed(camera), False, sensor=sensor)


def kept(folder, day, sensor="A"):
    made_at = f"2026-11-{day:02d}T10:00:00Z"
    new = Kept("", Figures.empty(sensor, CAMERA)).with_step(
        "defects", Defects(1, 0, 0, 1, 0.001), {"defects": MASK}, Taken("defects", made_at, "a recording")
    )
    return keep(folder, new, {})


def test_none_leaves_it_as_it_was(tmp_path):
    kept(tmp_path, 1, sensor="B")
    plain = source()
    assert with_calibration(plain, tmp_path) is plain
    assert with_calibration(source(sensor=""), tmp_path).calibration.made_at == ""


def test_the_newest_of_its_own_sensor_and_what_it_lacks(tmp_path):
    kept(tmp_path, 1)
    kept(tmp_path, 2)
    kept(tmp_path, 3, sensor="B")
    found = with_calibration(source(), tmp_path)
    assert found.calibration.made_at == "2026-11-02T10:00:00Z"
    assert found.calibration.defects[2, 3]
    assert found.calibration.origin == "assumed"
    assert found.notes == (
        "the calibration of 2026-11-02T10:00:00Z lacks dark, flat, gain: go on with tapetum calibrate",
    )


def test_one_that_cannot_be_used_is_said_and_not_used(tmp_path):
    path = kept(tmp_path, 1)
    other = with_calibration(source(camera=CameraDescription("fake", 32, 16)), tmp_path)
    assert not other.calibration.defects.any()
    assert other.notes[0] == (
        "no calibration is in force: the newest calibration is of another frame size: 24 x 16, where the camera gives 32 x 16; "
        "set camera.width and height as they were, or take that calibration away"
    )
    (path / "calibration.json").write_text("no")
    assert "cannot be read" in with_calibration(source(), tmp_path).notes[0]


def test_one_of_another_sensor_is_not_taken_up_again(tmp_path):
    path = kept(tmp_path, 1, sensor="B")
    with pytest.raises(Refused, match="of another sensor: B; this one is A"):
        again(tmp_path, "A", path.name, "2026-11-09T10:00:00Z")
    assert [one.name for one in (tmp_path / FOLDER).iterdir()] == [path.name]
