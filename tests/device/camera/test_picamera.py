"""The board's camera against a fake of picamera2. Real hardware is untested; a later tier meets the real library."""

import sys
from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
import pytest

from device.camera.picamera import PicameraCamera, open_picamera
from device.camera.source import Camera, CameraStalled
from shared.errors import Refused
from shared.settings import CameraSettings
from tests.conftest import ManualClock
from tests.device.camera.fake_picamera2 import FakePicamera2, FakeSensor, counts_of, fake_module

SETTINGS = CameraSettings(width=64, height=64, frames_per_s=30.0, exposure_us=5000.0, gain=2.0)
INTERVAL_NS = 33_333_000

Open = Callable[..., PicameraCamera]


@pytest.fixture
def sensor() -> FakeSensor:
    return FakeSensor()


@pytest.fixture
def opened(sensor: FakeSensor, manual_clock: ManualClock, monkeypatch: pytest.MonkeyPatch) -> Iterator[Open]:
    module = fake_module(sensor, manual_clock)
    monkeypatch.setitem(sys.modules, "picamera2", module)

    def open_it(settings: CameraSettings = SETTINGS) -> PicameraCamera:
        return open_picamera(settings, manual_clock)

    yield open_it
    for fake in module.Picamera2.opened:
        assert not fake.outstanding, "a request was never released"
    open_cameras = [fake for fake in module.Picamera2.opened if not fake.closed]
    assert not open_cameras, "a camera was left open"


def fake_of(camera: PicameraCamera) -> FakePicamera2:
    return camera._camera


def test_it_is_a_camera(opened):
    with opened() as camera:
        as_protocol: Camera = camera
        assert as_protocol.calibration is None


def test_a_frame_is_lent_without_a_copy_and_given_back_at_the_end_of_the_with(opened):
    with opened() as camera:
        camera.start()
        with camera.next_frame() as frame:
            (request,) = fake_of(camera).outstanding
            assert np.shares_memory(frame.pixels, request.buffer)
            assert not frame.pixels.flags.writeable
            np.testing.assert_array_equal(frame.pixels, counts_of(0, 64, 64, 10))
        assert fake_of(camera).outstanding == []


def test_a_request_is_given_back_when_the_reader_fails(opened):
    with opened() as camera:
        camera.start()
        with pytest.raises(ZeroDivisionError), camera.next_frame():
            raise ZeroDivisionError
        assert fake_of(camera).outstanding == []


def test_everything_automatic_is_off_before_the_start(opened):
    with opened() as camera:
        assert fake_of(camera).controls == {
            "AeEnable": False,
            "ExposureTime": 5000,
            "AnalogueGain": 2.0,
            "FrameDurationLimits": (33_333, 33_333),
            "NoiseReductionMode": 0,
        }
        assert fake_of(camera).calls[:3] == ["create_video_configuration", "configure", "start"]
        assert fake_of(camera).calls.count("configure") == 1


def test_white_balance_is_switched_off_where_there_is_one(opened, sensor):
    sensor.mono = False
    with opened(replace(SETTINGS, colour_sensor=True)) as camera:
        assert fake_of(camera).controls["AwbEnable"] is False
        assert fake_of(camera).camera_configuration()["raw"]["format"] == "SRGGB10"


def test_the_first_frame_has_the_exposure_asked_for_as_the_sensor_rounded_it(opened):
    with opened() as camera:
        camera.start()
        with camera.next_frame() as frame:
            # 5000 us on an IMX296: 337 whole lines of 14.815 us (cam_helper_imx296.cpp), in whole microseconds
            assert frame.exposure_us == 4992
            assert frame.gain == 2.0


def test_a_new_exposure_is_believed_only_when_the_metadata_say_so(opened):
    with opened() as camera:
        camera.start()
        camera.set_exposure(10_000, 4.0)
        seen = []
        for _ in range(6):
            with camera.next_frame() as frame:
                seen.append((frame.exposure_us, frame.gain))
        assert seen == [(4992, 2.0)] * 4 + [(9985, 4.0)] * 2


def test_sensor_time_and_sequence_count_every_frame(opened):
    with opened() as camera:
        camera.start()
        times, numbers = [], []
        for _ in range(5):
            with camera.next_frame() as frame:
                times.append(frame.sensor_time_ns)
                numbers.append(frame.sequence)
        assert np.diff(times).tolist() == [INTERVAL_NS] * 4
        assert numbers == [0, 1, 2, 3, 4]


def test_dropped_frames_show_as_a_jump_of_the_sequence(opened, sensor):
    with opened() as camera:
        sensor.dropped = {2, 3, 6}
        camera.start()
        numbers = []
        for _ in range(6):
            with camera.next_frame() as frame:
                numbers.append(frame.sequence)
        assert numbers == [0, 1, 4, 5, 7, 8]


def test_a_slow_reader_gets_the_newest_frame_and_sees_what_it_missed(opened, manual_clock):
    with opened() as camera:
        camera.start()
        with camera.next_frame() as frame:
            assert frame.sequence == 0
            manual_clock.advance_ms(200)  # six frames
        with camera.next_frame() as frame:
            assert frame.sequence == 6
            assert manual_clock.time_ns - frame.sensor_time_ns < 2 * INTERVAL_NS


def test_a_stall_is_raised_after_the_time_given_and_leaves_no_request_behind(opened, sensor, manual_clock):
    with opened() as camera:
        camera.start()
        sensor.stalled = True
        before_ns = manual_clock.time_ns
        for _ in range(3):
            with pytest.raises(CameraStalled, match=r"no frame for 0\.5 s"), camera.next_frame(timeout_s=0.5):
                pass
        assert manual_clock.time_ns - before_ns == 1_500_000_000
        sensor.stalled = False
        with camera.next_frame() as frame:
            assert frame.sequence >= 0
        assert fake_of(camera).outstanding == []


def test_a_stalled_camera_can_be_closed_twice(opened, sensor):
    camera = opened()
    camera.start()
    sensor.stalled = True
    with pytest.raises(CameraStalled), camera.next_frame(timeout_s=0.1):
        pass
    camera.close()
    camera.close()
    assert fake_of(camera).calls[-2:] == ["cancel_all_and_flush", "close"]


def test_an_answer_that_comes_while_closing_is_released(opened, sensor):
    camera = opened()
    camera.start()
    sensor.stalled = True
    with pytest.raises(CameraStalled), camera.next_frame(timeout_s=0.1):
        pass
    sensor.stalled = False
    fake = fake_of(camera)
    fake._serve_first_job(fake.clock.time_ns + 2 * INTERVAL_NS)
    assert len(fake.outstanding) == 1
    camera.close()
    assert fake.outstanding == []


def test_frames_are_refused_before_the_start(opened):
    with opened() as camera, pytest.raises(CameraStalled, match="not started"), camera.next_frame():
        pass


def test_sensor_time_that_does_not_advance_is_not_passed_on(opened, sensor):
    with opened() as camera:
        camera.start()
        with camera.next_frame():
            pass
        sensor.clock_offset_ns = -INTERVAL_NS
        with pytest.raises(CameraStalled, match="did not advance"), camera.next_frame():
            pass


# ---- formats ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("padding", [0, 2, 32, 64])
def test_row_padding_is_stripped(opened, sensor, padding):
    sensor.stride_padding = padding
    with opened() as camera:
        camera.start()
        with camera.next_frame() as frame:
            assert frame.pixels.flags.c_contiguous
            np.testing.assert_array_equal(frame.pixels, counts_of(0, 64, 64, 10))


@pytest.mark.parametrize(("bits", "padding"), [(10, 0), (10, 64), (12, 32)])
def test_left_justified_words_become_counts(opened, sensor, bits, padding):
    sensor.bits, sensor.raw_format, sensor.left_justified, sensor.stride_padding = bits, "R16", True, padding
    with opened() as camera:
        assert camera.description.bit_depth == bits
        assert camera.description.white_level == (1 << bits) - 1
        camera.start()
        for number in range(3):
            with camera.next_frame() as frame:
                np.testing.assert_array_equal(frame.pixels, counts_of(number, 64, 64, bits))


def test_words_said_to_be_left_justified_that_are_not_are_refused(opened, sensor):
    sensor.raw_format = "R16"
    with pytest.raises(Refused, match="bits set outside the 10"):
        opened()


def test_words_said_to_be_right_justified_that_are_not_are_refused(opened, sensor):
    sensor.left_justified = True
    with pytest.raises(Refused, match="format R10 have bits set outside"):
        opened()


@pytest.mark.parametrize("name", ["MONO_PISP_COMP1", "R10_CSI2P", "R8", "SRGGB10_CSI2P"])
def test_packed_compressed_and_narrow_formats_are_refused_by_name(opened, sensor, name):
    sensor.raw_format = name
    with pytest.raises(Refused, match=rf"not plain 16-bit words: {name}; use R10"):
        opened()


def test_r16_of_a_sensor_that_does_not_say_its_depth_is_refused(opened, sensor):
    sensor.raw_format, sensor.left_justified, sensor.report_bits = "R16", True, False
    with pytest.raises(Refused, match="does not say how many bits"):
        opened()


def test_another_size_than_asked_for_is_refused(opened, sensor):
    sensor.size = (728, 544)
    with pytest.raises(Refused, match="no raw mode of 64 x 64: it gives 728 x 544"):
        opened()


def test_a_configuration_the_library_refuses_is_one_line(opened):
    with pytest.raises(Refused, match="width and height should be even"):
        opened(replace(SETTINGS, width=65))


# ---- what the camera is -------------------------------------------------------------------------------------------------


def test_the_description_is_the_sensors_own(opened):
    with opened() as camera:
        description = camera.description
    assert (description.model, description.shape, description.bit_depth) == ("imx296", (64, 64), 10)
    assert description.shutter == "global"
    assert description.frame_interval_us == 33_333
    assert description.black_level == 60  # 3840 of 65536 is 60 of 1024


def test_an_unknown_sensor_needs_its_shutter_said(opened, sensor):
    sensor.model = "xy123"
    with pytest.raises(Refused, match=r"shutter of this sensor is not known: xy123; say camera.shutter"):
        opened()
    with opened(replace(SETTINGS, shutter="rolling")) as camera:
        assert camera.description.shutter == "rolling"


def test_a_colour_sensor_is_refused_unless_the_settings_say_so(opened, sensor):
    sensor.mono = False
    with pytest.raises(Refused, match="colour filters"):
        opened()


@pytest.mark.parametrize("name", ["ExposureTime", "AeEnable", "FrameDurationLimits"])
def test_a_camera_that_cannot_be_fixed_is_refused(opened, sensor, name):
    sensor.controls_missing = (name,)
    with pytest.raises(Refused, match=rf"cannot be fixed for measurement; it lacks: {name}"):
        opened()


@pytest.mark.parametrize("name", ["ExposureTime", "SensorBlackLevels", "SensorTimestamp"])
def test_a_camera_whose_frames_do_not_say_enough_is_refused(opened, sensor, name):
    sensor.metadata_missing = (name,)
    with pytest.raises(Refused, match=f"frames do not say: {name}"):
        opened()


def test_a_sensor_on_another_clock_is_refused(opened, sensor):
    sensor.clock_offset_ns = 60_000_000_000
    with pytest.raises(Refused, match=r"monotonic clock: -59\.997 s"):
        opened()


def test_a_camera_without_frames_is_refused_and_closed(opened, sensor):
    sensor.stalled = True
    with pytest.raises(Refused, match="gives no frames"):
        opened()


@pytest.mark.parametrize(
    ("exposure_us", "gain", "line"),
    [
        (40_000, 1.0, "does not fit into the frame interval of 33333 us: 40000 us"),
        (5, 1.0, "ExposureTime goes from 29 to .*: 5;"),
        (5000, 40.0, "AnalogueGain goes from 1 to 15.9: 40;"),
    ],
)
def test_exposure_and_gain_the_sensor_has_not_are_refused(opened, exposure_us, gain, line):
    with opened() as camera:
        before = dict(fake_of(camera).controls)
        with pytest.raises(Refused, match=line):
            camera.set_exposure(exposure_us, gain)
        assert fake_of(camera).controls == before


def test_without_picamera2_one_line_names_the_package(monkeypatch):
    monkeypatch.setitem(sys.modules, "picamera2", None)
    with pytest.raises(Refused, match="apt-get install python3-picamera2") as refused:
        open_picamera(SETTINGS)
    assert "\n" not in refused.value.line


def test_without_a_camera_one_line_says_so(opened):
    sys.modules["picamera2"].Picamera2.cameras = []
    with pytest.raises(Refused, match="no camera is connected"):
        opened()
