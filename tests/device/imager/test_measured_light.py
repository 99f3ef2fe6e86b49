"""Which light output an imager starts with: the newest measured for its own ring, else proportional; never silently."""

from dataclasses import replace

import pytest

from device.imager.sources import Source, with_measured_light
from shared.calibration import Calibration
from shared.frame import CameraDescription
from shared.optics.light_output import FOLDER, LevelOutput, LightOutput, keep

CAMERA = CameraDescription("fake", 96, 64)
MEASURED = LightOutput(
    made_at="2026-11-25T10:00:00Z",
    ring="handheld",
    camera="fake",
    exposure_us=15_000.0,
    gain=1.0,
    region="middle:32,21,32,21",
    recording="2026-11-25T09-59-50Z_light-output",
    levels=(LevelOutput(0.5, 0.5 * 0.925 / 0.85, 1e-4, 160.0, 160.0), LevelOutput(1.0, 1.0, 1e-4, 300.0, 300.0)),
)


@pytest.fixture
def source():
    return Source(None, "picamera", Calibration.assumed(CAMERA), stamps_light=False, ring="handheld")


def test_what_was_measured_is_in_force_and_says_since_when(source, tmp_path):
    keep(tmp_path, MEASURED, "")
    calibration = with_measured_light(source, tmp_path).calibration
    assert calibration.light_measured_at == MEASURED.made_at
    assert calibration.output_at(0.5) == pytest.approx(0.5 * 0.925 / 0.85)
    assert calibration.origin == "assumed", "of the camera nothing was measured"


def test_without_a_measurement_of_this_ring_output_is_proportional(source, tmp_path):
    keep(tmp_path, replace(MEASURED, ring="simulated, droop 0.15"), "")
    calibration = with_measured_light(source, tmp_path).calibration
    assert (calibration.light_measured_at, calibration.output_at(0.5)) == ("", 0.5)


def test_a_damaged_file_is_said_on_the_page_and_not_used(source, tmp_path):
    keep(tmp_path, MEASURED, "").write_text("{")
    started = with_measured_light(source, tmp_path)
    assert started.calibration.output_at(0.5) == 0.5
    (note,) = started.notes
    assert note.startswith("light output is assumed linear: ")
    assert FOLDER.name in note


def test_a_replay_keeps_what_its_recording_knew(source, tmp_path):
    keep(tmp_path, MEASURED, "")
    assert with_measured_light(replace(source, ring=""), tmp_path).calibration.light_measured_at == ""
