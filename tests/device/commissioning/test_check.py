"""The walk of the check before a case, on a fake device whose guard obeys or does not."""

from dataclasses import replace

import pytest

from device.commissioning.bench import Bench
from device.commissioning.check import CaseCheck
from device.commissioning.dark_step import DarkStep
from device.commissioning.run import take
from shared.commissioning.calibration_folder import Figures, Kept, keep
from shared.errors import Refused
from shared.frame import CameraDescription
from shared.protocol.control import GetState, Light, WithholdLeases
from tests.device.commissioning.fake_device import LEASE_S, STATE, FakeDevice

NOTHING = Kept("", Figures.empty("A", CameraDescription("fake", 96, 96)))


def walked(device):
    check = CaseCheck(Bench(device, lambda _line: None, device.pause), seconds=lambda: device.now_s)
    return check.walked(NOTHING)


def test_it_lights_trips_and_arms_again():
    device = FakeDevice()
    name, trial = walked(device)
    assert name == "walk_check"
    assert trial.lit_after_s < 0.1
    assert LEASE_S <= trial.tripped_after_s < LEASE_S + 0.05
    assert trial.reason == "the camera's frames stopped coming"
    assert [level for level in device.levels if level] == [1.0], "once, at the highest level"
    assert device.state.light.state == "ready"
    assert device.held_until_s < 0
    assert device.state.light.wanted_level == 0.6


def test_a_guard_that_does_not_trip_is_found_out_and_the_light_let_go_of():
    device = FakeDevice()
    device.trips = False
    _, trial = walked(device)
    assert trial.tripped_after_s is None
    assert trial.lit_after_s is not None
    assert device.state.light.state == "ready"
    assert device.held_until_s < 0


def test_a_light_that_does_not_come_is_not_tried_to_trip():
    device = FakeDevice()
    device.lights = False
    _, trial = walked(device)
    assert (trial.lit_after_s, trial.reason) == (None, "too warm")
    assert WithholdLeases() not in device.asked


@pytest.mark.parametrize("begun", ["check", "step"])
def test_a_calibration_of_another_frame_size_is_named_before_anything_is_lit(tmp_path, begun):
    figures = replace(Figures.empty("A", CameraDescription("fake", 64, 48)), made_at="2026-11-25T10:00:00Z")
    keep(tmp_path, Kept("", figures), {})
    device = FakeDevice()
    device.state = replace(STATE, data_folder=str(tmp_path), sensor="A")
    bench = Bench(device, lambda _line: None, device.pause)
    with pytest.raises(Refused, match="another frame size: 64 x 48, where the camera gives 96 x 96; set camera"):
        list(CaseCheck(bench).items()) if begun == "check" else take(DarkStep(), bench, lambda: "")
    assert device.asked == [GetState()], "no light, no recording, no target"


@pytest.mark.parametrize("failing", range(1, 90, 4))
def test_whatever_request_fails_the_light_is_let_go_of(failing):
    device = FakeDevice()
    device.fail_at = failing
    try:
        walked(device)
    except Refused:
        assert device.let_go
        assert device.held_until_s < 0 or device.asked[failing] == Light("off")
