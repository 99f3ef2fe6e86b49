import numpy as np
import pytest

from device.camera.simulated import SimulatedCamera, SteadyLight
from device.camera.source import CameraStalled
from shared.scene.description import Scene

VALUES = {
    "camera": {"width": 96, "height": 64},
    "optics": {"mm_per_px": 1.0},
    "tissue": [
        {"name": "skin", "polygon_mm": [0, 0, 96, 0, 96, 64, 0, 64], "arrival_s": 1.0, "alpha": 2.0, "beta": 1.0}
    ],
}
INTERVAL_NS = 33_333_333


def scene(**camera: object) -> Scene:
    return Scene.from_values(VALUES | {"camera": {**VALUES["camera"], **camera}}, "x")


class SwitchedLight:
    """On from one moment on; remembers what it was asked."""

    def __init__(self, on_at_ns: int) -> None:
        self.on_at_ns = on_at_ns
        self.asked: list[tuple[int, int]] = []

    def over(self, start_ns: int, end_ns: int) -> float:
        self.asked.append((start_ns, end_ns))
        return min(max((end_ns - self.on_at_ns) / (end_ns - start_ns), 0.0), 1.0)


@pytest.fixture
def camera(manual_clock):
    made = SimulatedCamera(scene(), 1, manual_clock, SteadyLight())
    made.start()
    yield made
    made.close()


def test_frames_come_at_the_scenes_rate_in_sequence(camera, manual_clock) -> None:
    started_ns = manual_clock.now_ns()
    for sequence in range(5):
        with camera.next_frame() as frame:
            assert frame.sequence == sequence
            assert frame.sensor_time_ns == pytest.approx(started_ns + (sequence + 1) * INTERVAL_NS, abs=5)
            assert manual_clock.now_ns() == frame.sensor_time_ns
            assert frame.exposure_us == 15_000
            assert frame.lit
            assert not frame.pixels.flags.writeable
    assert camera.description.frame_interval_us == pytest.approx(33_333.3, abs=0.1)


def test_a_slow_consumer_gets_the_newest_frame_and_sees_the_gap(camera, manual_clock) -> None:
    with camera.next_frame() as frame:
        assert frame.sequence == 0
    manual_clock.advance_ms(210)
    before_ns = manual_clock.now_ns()
    with camera.next_frame() as frame:
        assert frame.sequence == 6
        assert 0 <= before_ns - frame.sensor_time_ns < INTERVAL_NS
    with camera.next_frame() as frame:
        assert frame.sequence == 7


def test_the_same_seed_gives_the_same_frames_whether_or_not_some_were_missed(manual_clock) -> None:
    def third(skipping: bool) -> np.ndarray:
        made = SimulatedCamera(scene(), 9, manual_clock, SteadyLight())
        made.start()
        if skipping:
            manual_clock.advance_ms(2.5 * INTERVAL_NS / 1e6)
        else:
            for _ in range(1):
                with made.next_frame():
                    pass
        with made.next_frame() as frame:
            assert frame.sequence == 1
            return frame.pixels.copy()

    assert (third(True) == third(False)).all()


def test_light_is_asked_for_the_exposure_itself(manual_clock) -> None:
    light = SwitchedLight(on_at_ns=manual_clock.now_ns() + 2 * INTERVAL_NS - 5_000_000)
    camera = SimulatedCamera(scene(), 1, manual_clock, light)
    camera.start()
    camera.inject(manual_clock.now_ns() - 3_000_000_000)
    levels, means = [], []
    for _ in range(3):
        with camera.next_frame() as frame:
            assert light.asked[-1] == (frame.exposure_start_ns, frame.sensor_time_ns)
            levels.append(frame.light_level)
            means.append(float(frame.pixels.mean()))
    assert levels == pytest.approx([0.0, 1 / 3, 1.0], abs=1e-3)
    dark = means[0]
    assert (means[1] - dark) / (means[2] - dark) == pytest.approx(1 / 3, abs=0.01)
    camera.close()


def test_a_rolling_shutter_sees_light_come_on_row_by_row(manual_clock) -> None:
    rolling = scene(shutter="rolling", row_time_us=500.0)
    light = SwitchedLight(on_at_ns=manual_clock.now_ns() + INTERVAL_NS)
    camera = SimulatedCamera(rolling, 1, manual_clock, light)
    camera.start()
    camera.inject(manual_clock.now_ns() - 3_000_000_000)
    with camera.next_frame() as frame:
        assert manual_clock.now_ns() == frame.sensor_time_ns + 64 * 500_000
        rows = frame.pixels.mean(axis=1)
    assert rows[0] < 75
    assert rows[1:31:6].tolist() == sorted(rows[1:31:6])
    assert rows[40] > 400


def test_dye_waits_for_the_operator(camera, manual_clock) -> None:
    manual_clock.advance_ms(10_000)
    with camera.next_frame() as frame:
        before = float(frame.pixels.mean())
    camera.inject()
    manual_clock.advance_ms(3_000)
    with camera.next_frame() as frame:
        once = float(frame.pixels.mean())
    assert before < 100 < 300 < once
    camera.inject()
    manual_clock.advance_ms(3_000)
    with camera.next_frame() as frame:
        assert float(frame.pixels.mean()) > once + 50
    assert len(camera.renderer.injections_s) == 2


def test_exposure_and_gain_are_those_of_frames_from_the_next_on(camera) -> None:
    camera.set_exposure(5_000, 2.0)
    with camera.next_frame() as frame:
        assert (frame.exposure_us, frame.gain) == (5_000, 2.0)
    camera.set_exposure(1e9, 1e9)
    with camera.next_frame() as frame:
        assert frame.exposure_us == pytest.approx(33_333.3, abs=0.1)
        assert frame.gain == 64


def test_a_lent_frame_is_left_alone_until_it_is_given_back(camera) -> None:
    with camera.next_frame() as first:
        kept = first.pixels.copy()
        for _ in range(3):
            with camera.next_frame():
                pass
        assert (first.pixels == kept).all()
        three = (camera.next_frame(), camera.next_frame(), camera.next_frame())
        with three[0], three[1], three[2], pytest.raises(CameraStalled, match="lent"), camera.next_frame():
            pass
    with camera.next_frame():
        pass


def test_no_frame_in_time_is_a_stall(camera) -> None:
    with pytest.raises(CameraStalled, match=r"0\.01 s"), camera.next_frame(timeout_s=0.01):
        pass
    camera.close()
    camera.close()
    with pytest.raises(CameraStalled, match="not started"), camera.next_frame():
        pass


def test_calibration_is_scene_truth(camera) -> None:
    assert camera.calibration.origin == "scene truth"
    assert camera.calibration.camera == camera.description
    assert camera.calibration.counts_per_electron == pytest.approx(0.1)
