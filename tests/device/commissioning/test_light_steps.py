"""The walk through the levels, on a fake device: light only as a held finger asks for it, and never left on."""

from dataclasses import replace

import pytest

from device.commissioning.cases import LIGHT_OUTPUT
from device.commissioning.light_steps import LightSteps
from shared.errors import Refused
from shared.protocol.control import GetState, Light, Record
from tests.device.commissioning.fake_device import STATE, FakeDevice


def walked(device, said=None):
    return LightSteps(device, (said if said is not None else []).append, device.pause).recorded()


def test_it_goes_up_and_down_with_darkness_between_and_leaves_the_level_as_it_was():
    device, said = FakeDevice(), []
    assert walked(device, said) == f"walk_{LIGHT_OUTPUT}"
    assert device.levels == [0.0, 0.2, 0.0, 0.6, 0.0, 1.0, 0.0, 1.0, 0.0, 0.6, 0.0, 0.2, 0.0]
    assert said == ["level 20%", "level 60%", "level 100%", "level 100%", "level 60%", "level 20%"]
    assert device.state.light.wanted_level == 0.6
    assert device.state.recording.name is None


def test_light_is_asked_for_again_and_again_and_each_time_let_go_of():
    device = FakeDevice()
    walked(device)
    times = [request for request in device.asked if isinstance(request, Light) and request.act in ("hold", "off")]
    assert sum(request.act == "hold" for request in times) > 6 * 5
    assert sum(request.act == "off" for request in times) == 6 + 1 + 2, "each level, the recording, and all put back"
    assert times[-1].act == "off"


def test_a_simulated_camera_sees_the_card_that_a_person_puts_before_a_real_one_and_then_the_patient_again():
    """A patient whose dye comes and goes would be taken for a ring that does."""
    device = FakeDevice()
    walked(device)
    assert device.targets == ["dye card", "patient"]
    assert device.state.camera == STATE.camera, "exposure and gain too"
    real = FakeDevice()
    real.state = replace(STATE, camera=replace(STATE.camera, kind="picamera"))
    walked(real)
    assert real.targets == []


@pytest.mark.parametrize(
    ("light", "words"),
    [
        ({"reachable": False}, "guard does not answer; see tapetum status$"),
        ({"state": "tripped", "reason": "hot"}, "has tripped: hot; put that right, then: tapetum light rearm$"),
        ({"reachable": False, "state": "tripped"}, "guard does not answer; see tapetum status$"),
        ({"wanted_on": True}, "someone is using the light; see tapetum status$"),
        ({"state": "lit"}, "someone is using the light; see tapetum status$"),
    ],
)
def test_a_device_that_is_not_fit_is_left_alone(light, words):
    device = FakeDevice(**light)
    with pytest.raises(Refused, match=words):
        walked(device)
    assert device.asked == [GetState()]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"light_levels": (1.0,)}, "one level only"),
        ({"recording": replace(STATE.recording, name="a run")}, "a recording runs"),
        ({"camera": replace(STATE.camera, kind="replay")}, "replayed device has no ring"),
    ],
)
def test_nor_is_one_that_cannot_be_measured(change, words):
    device = FakeDevice()
    device.state = replace(device.state, **change)
    with pytest.raises(Refused, match=words):
        walked(device)
    assert device.asked == [GetState()]


def test_a_trip_ends_it_with_the_light_let_go_of_and_the_recording_stopped():
    device = FakeDevice()
    device.trip_at_s = 3.0
    with pytest.raises(Refused, match="did not stay as asked: the camera's frames stopped"):
        walked(device)
    assert device.held_until_s < 0
    assert device.state.recording.name is None
    assert device.state.light.wanted_level == 0.6, "as it was found"


def test_a_guard_that_never_lights_is_told_of_with_its_reason():
    device = FakeDevice()
    device.lights = False
    with pytest.raises(Refused, match="not 16 frames with light within 7 s: too warm"):
        walked(device)
    assert device.held_until_s < 0
    assert device.state.recording.name is None


def test_a_recording_that_ended_by_itself_ends_the_walk_and_is_not_stopped_twice():
    device = FakeDevice()
    device.stop_recording_at_s = 2.0
    with pytest.raises(Refused, match=r"not 1[06] frames"):
        walked(device)
    assert Record("stop") not in device.asked
    assert device.held_until_s < 0


@pytest.mark.parametrize("failing", range(1, 60, 4))
def test_whatever_request_fails_light_is_let_go_of(failing):
    device = FakeDevice()
    device.fail_at = failing
    with pytest.raises(Refused, match="does not answer"):
        walked(device)
    assert device.let_go
    assert device.held_until_s < 0
