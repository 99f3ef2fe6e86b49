"""How steps handle a device: everything is put back as it was, the light first, whatever happens."""

from contextlib import suppress
from dataclasses import replace

import pytest

from device.commissioning.bench import Bench
from shared.errors import Refused
from shared.protocol.control import Light, PutTarget, StepExposure
from tests.device.commissioning.fake_device import STATE, FakeDevice


def bench(device):
    return Bench(device, lambda _line: None, device.pause)


def a_step(device):
    """What a step does, in short."""
    made = bench(device)
    with made.put_back() as state:
        made.target("dye card")
        with made.recording("step") as (name,):
            made.at_level(1.0, state.light_levels)
            made.expose(4000.0, 2.0)
            made.frames(5, lit=False)
            made.frames(5, lit=True)
            made.dark()
    return name


def test_everything_is_put_back():
    device = FakeDevice()
    assert a_step(device) == "walk_step"
    assert device.state == replace(
        STATE, light=device.state.light, recording=replace(STATE.recording, frames=device.state.recording.frames)
    )
    assert (device.state.light.wanted_level, device.state.light.state) == (0.6, "ready")
    assert device.targets == ["dye card", "patient"]
    assert [level for level in device.levels if level] == [1.0]


def test_exposure_is_only_changed_in_the_dark():
    device = FakeDevice()
    asked = device.ask

    def ask(request):
        if isinstance(request, StepExposure):
            assert device.state.light.state != "lit"
        return asked(request)

    device.ask = ask
    made = bench(device)
    with made.recording("step"):
        made.frames(3, lit=True)
        assert made.expose(3000.0) == 3000.0
    assert device.state.camera.exposure_us == 3000.0


def test_an_exposure_that_the_sensor_does_not_take_is_refused():
    device = FakeDevice()
    asked = device.ask
    device.ask = lambda request: device.state if isinstance(request, StepExposure) else asked(request)
    with pytest.raises(Refused, match="does not take the exposure: 3000 us"):
        bench(device).expose(3000.0)


def test_a_real_camera_is_given_no_target():
    device = FakeDevice()
    device.state = replace(device.state, camera=replace(device.state.camera, kind="picamera"))
    a_step(device)
    assert not any(isinstance(one, PutTarget) for one in device.asked)


def test_each_take_asks_for_light_by_a_press_of_its_own():
    device = FakeDevice()
    bench = Bench(device, print, device.pause)
    bench.hold()
    bench.hold()
    bench.let_go()
    bench.hold()
    asked = [one for one in device.asked if isinstance(one, Light)]
    first, second, off, third = (one.press for one in asked)
    assert first == second == off != third
    assert 0 not in (first, third)


def test_a_take_whose_light_somebody_put_out_says_so():
    device = FakeDevice()
    bench = Bench(device, print, device.pause)
    held = bench.hold

    def hold():
        if device.now_s > 1.0:
            device.ask(Light("off"))
            return bench.state
        return held()

    bench.hold = hold
    with bench.recording("case"), pytest.raises(Refused, match="somebody put the light out; start again when"):
        bench.frames(200, lit=True)


def test_a_light_that_does_not_go_off_is_said():
    device = FakeDevice(state="lit")
    with pytest.raises(Refused, match="does not go off; take the ring's power away"):
        bench(device).dark()


@pytest.mark.parametrize("failing", range(1, 60, 3))
def test_whatever_request_fails_light_is_let_go_of(failing):
    device = FakeDevice()
    device.fail_at = failing
    with suppress(Refused):
        a_step(device)
    assert device.let_go
