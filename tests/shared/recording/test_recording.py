"""A recording comes back as it went in, through our reader and through two general-purpose zarr libraries."""

import json
import os
import shutil
import signal
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import tensorstore
import zarr

from shared.calibration import Calibration
from shared.errors import Refused
from shared.recording import Recording
from shared.recording.shard import INDEX_BYTES, SHARD_FRAMES
from shared.recording.writer import RecordingWriter
from tests.shared.recording.conftest import CAMERA, noisy_frame

ROOT = Path(__file__).parents[3]
COLUMNS = ("sequence", "sensor_time_ns", "exposure_us", "gain", "light_level", "lit", "half_lit")


def by_tensorstore(folder: Path) -> np.ndarray:
    spec = {"driver": "zarr3", "kvstore": {"driver": "file", "path": str(folder)}}
    return tensorstore.open(spec, open=True, read=True).result().read().result()


def written(path: Path, calibration: Calibration, frames: int, complete: bool = True) -> Path:
    with RecordingWriter(
        path, CAMERA, calibration, started_at="2026-11-25T13:20:11Z", case="H-7", extra={"seed": 3}
    ) as w:
        for number in range(frames):
            w.append(noisy_frame(number))
            if number == 2:
                w.event("injection", noisy_frame(number).sensor_time_ns)
                w.event("note", 1, text="drücken\nloslassen")
        w.close(complete)
    return path


@pytest.mark.parametrize("frames", [0, 1, SHARD_FRAMES, SHARD_FRAMES * 2 + 5])
def test_everything_comes_back(tmp_path: Path, calibration: Calibration, frames: int) -> None:
    path = written(tmp_path / "a.zarr", calibration, frames)
    with Recording.open(path) as recording:
        assert recording.complete
        assert len(recording) == frames
        assert (recording.camera, recording.case, recording.extra) == (CAMERA, "H-7", {"seed": 3})
        assert recording.started_at == "2026-11-25T13:20:11Z"
        for number in range(frames):
            wanted, got = noisy_frame(number), recording.frame(number)
            np.testing.assert_array_equal(got.pixels, wanted.pixels)
            assert not got.pixels.flags.writeable
            for name in COLUMNS:
                assert getattr(got, name) == getattr(wanted, name)
        for name in ("dark_counts", "flat", "defects"):
            np.testing.assert_array_equal(getattr(recording.calibration, name), getattr(calibration, name))
        assert recording.calibration.light_output == calibration.light_output
        assert recording.calibration.origin == "scene truth"
        if frames > 2:
            assert recording.injected_at_ns == noisy_frame(2).sensor_time_ns
            assert recording.events[1].fields == {"text": "drücken\nloslassen"}
        with pytest.raises(IndexError):
            recording.frame(frames)


@pytest.mark.parametrize("frames", [0, 1, SHARD_FRAMES + 3])
def test_other_tools_read_the_same(tmp_path: Path, calibration: Calibration, frames: int) -> None:
    """zarr-python and tensorstore are the outside check that this is zarr v3."""
    path = written(tmp_path / "a.zarr", calibration, frames)
    wanted = np.array([noisy_frame(n).pixels for n in range(frames)], np.uint16).reshape(frames, *CAMERA.shape)
    group = zarr.open_group(path, mode="r")
    np.testing.assert_array_equal(group["image"][:], wanted)
    np.testing.assert_array_equal(by_tensorstore(path / "image"), wanted)
    for name in COLUMNS:
        column = [getattr(noisy_frame(n), name) for n in range(frames)]
        np.testing.assert_array_equal(group[f"frames/{name}"][:], column)
        np.testing.assert_array_equal(by_tensorstore(path / "frames" / name), column)
    for name in ("dark_counts", "flat", "defects"):
        np.testing.assert_array_equal(group[f"calibration/{name}"][:], getattr(calibration, name))
        np.testing.assert_array_equal(by_tensorstore(path / "calibration" / name), getattr(calibration, name))


def test_metadata_is_ome_zarr(tmp_path: Path, calibration: Calibration) -> None:
    """Source: OME-Zarr 0.5 specification, "multiscales" metadata (axes, datasets, coordinateTransformations)."""
    group = zarr.open_group(written(tmp_path / "a.zarr", calibration, 2), mode="r")
    ome = group.attrs["ome"]
    assert ome["version"] == "0.5"
    (scales,) = ome["multiscales"]
    assert [axis["name"] for axis in scales["axes"]] == ["t", "y", "x"]
    assert [axis["type"] for axis in scales["axes"]] == ["time", "space", "space"]
    assert scales["axes"][1]["unit"] == "millimeter"
    (dataset,) = scales["datasets"]
    assert group[dataset["path"]].ndim == 3
    (transformation,) = dataset["coordinateTransformations"]
    assert transformation["scale"] == pytest.approx([0.033333, 0.1403, 0.1403])
    assert group["image"].metadata.dimension_names == ("t", "y", "x")


def test_every_moment_is_a_valid_store(tmp_path: Path, calibration: Calibration) -> None:
    path = tmp_path / "a.zarr"
    writer = RecordingWriter(path, CAMERA, calibration, started_at="2026-11-25T13:20:11Z")
    for number in range(SHARD_FRAMES + 2):
        writer.append(noisy_frame(number))
        if number % 33 == 0:
            writer.sync()
            assert by_tensorstore(path / "image").shape[0] == number + 1
            np.testing.assert_array_equal(zarr.open_array(path / "image", mode="r")[number], noisy_frame(number).pixels)
        if number % 13 == 0:
            with Recording.open(path) as recording:
                assert (len(recording), recording.complete) == (number + 1, False)
                np.testing.assert_array_equal(recording.pixels(number), noisy_frame(number).pixels)
    writer.close()


KILLED = """
import sys
from dataclasses import replace
from pathlib import Path
from shared.calibration import Calibration
from shared.recording.writer import RecordingWriter
from tests.shared.recording.conftest import CAMERA, noisy_frame
writer = RecordingWriter(Path(sys.argv[1]), CAMERA, Calibration.assumed(CAMERA), started_at="2026-11-25T13:20:11Z")
for number in range(100_000):
    writer.append(noisy_frame(number))
    if number % 30 == 29:
        writer.sync()
    print(number, flush=True)
"""


@pytest.mark.parametrize("after", [3, 95, 200])
def test_kill_9_loses_nothing_appended(tmp_path: Path, after: int) -> None:
    path = tmp_path / "killed.zarr"
    with subprocess.Popen(
        [sys.executable, "-c", KILLED, str(path)], stdout=subprocess.PIPE, text=True, cwd=ROOT
    ) as process:
        assert process.stdout is not None
        said = next(int(line) for line in process.stdout if int(line) >= after)
        os.kill(process.pid, signal.SIGKILL)
        said = max([said, *(int(line) for line in process.stdout if line.endswith("\n"))])
    with Recording.open(path) as recording:
        assert not recording.complete
        assert said + 1 <= len(recording) <= said + 2
        for number in range(len(recording)):
            np.testing.assert_array_equal(recording.pixels(number), noisy_frame(number).pixels)
            assert recording.frame(number).sequence == number
    seen = by_tensorstore(path / "image")
    assert len(recording) - 31 <= len(seen) <= len(recording)
    np.testing.assert_array_equal(zarr.open_array(path / "image", mode="r")[:], seen)
    for number, picture in enumerate(seen):
        np.testing.assert_array_equal(picture, noisy_frame(number).pixels)
    if len(seen):
        sequence = by_tensorstore(path / "frames" / "sequence")
        np.testing.assert_array_equal(sequence[: len(seen)], np.arange(len(seen)))


def test_cut_power_drops_only_what_never_reached_the_disk(tmp_path: Path, calibration: Calibration) -> None:
    """The table of a shard may have reached the disk before the frames it names."""
    path = written(tmp_path / "a.zarr", calibration, SHARD_FRAMES + 10, complete=False)
    shard = path / "image" / "c" / "1" / "0" / "0"
    size = shard.stat().st_size
    with shard.open("r+b") as file:
        file.truncate(size - 1000)
        file.truncate(size)
    with Recording.open(path) as recording:
        assert len(recording) == SHARD_FRAMES + 9
    shard.write_bytes(shard.read_bytes()[:-20000])
    with Recording.open(path) as recording:
        assert SHARD_FRAMES <= len(recording) < SHARD_FRAMES + 9


def test_a_torn_shard_table_is_rebuilt(tmp_path: Path, calibration: Calibration) -> None:
    path = written(tmp_path / "a.zarr", calibration, 10, complete=False)
    with (path / "image" / "c" / "0" / "0" / "0").open("r+b") as file:
        file.seek(INDEX_BYTES - 300)
        file.write(bytes(300))
    with Recording.open(path) as recording:
        assert len(recording) == 10
        np.testing.assert_array_equal(recording.pixels(9), noisy_frame(9).pixels)


@pytest.mark.parametrize("cut", range(1, 40, 7))
def test_a_torn_event_ends_the_list(tmp_path: Path, calibration: Calibration, cut: int) -> None:
    path = written(tmp_path / "a.zarr", calibration, 5, complete=False)
    events = path / "events.jsonl"
    events.write_bytes(events.read_bytes()[:-cut])
    with Recording.open(path) as recording:
        assert [event.kind for event in recording.events] == ["injection"]


def test_a_damaged_frame_is_named(tmp_path: Path, calibration: Calibration) -> None:
    path = written(tmp_path / "a.zarr", calibration, 3)
    shard = path / "image" / "c" / "0" / "0" / "0"
    content = bytearray(shard.read_bytes())
    content[-50] ^= 4
    shard.write_bytes(content)
    with Recording.open(path) as recording:
        np.testing.assert_array_equal(recording.pixels(1), noisy_frame(1).pixels)
        with pytest.raises(
            Refused, match=r"image/c/0/0/0: frame 2 of this shard, at byte \d+, is damaged: its checksum.*; copy"
        ):
            recording.pixels(2)


def _break(path: Path, what: str) -> None:
    root = path / "zarr.json"
    if what == "no zarr.json":
        root.unlink()
    elif what == "not JSON":
        root.write_text('{"zarr_format": 3,')
    elif what == "foreign":
        root.write_text('{"zarr_format": 3, "node_type": "group", "attributes": {}}')
    elif what == "format":
        document = json.loads(root.read_text())
        document["attributes"]["tapetum"]["format"] = 99
        root.write_text(json.dumps(document))
    elif what == "camera":
        document = json.loads(root.read_text())
        document["attributes"]["tapetum"]["camera"]["width"] = "wide"
        root.write_text(json.dumps(document))
    elif what == "plane":
        (path / "calibration" / "flat" / "c" / "0" / "0").write_bytes(b"short")
    elif what == "no plane":
        (path / "calibration" / "flat" / "c" / "0" / "0").unlink()
    elif what == "table":
        (path / "frames" / "gain" / "c" / "0").write_bytes(b"")
    elif what == "event":
        (path / "events.jsonl").write_text("no event\n")
    elif what == "file":
        (path / "note.txt").write_text("x")


@pytest.mark.parametrize(
    ("what", "line"),
    [
        ("no zarr.json", r"no zarr.json"),
        ("not JSON", r"zarr.json: not JSON at byte 18"),
        ("foreign", r"not a recording of this device"),
        ("format", r"format of a recording: 99; this version reads format 1"),
        ("camera", r"attributes.tapetum.camera.width must be a whole number: wide"),
        ("plane", r"calibration/flat/c/0/0: damaged"),
        ("no plane", r"calibration/flat/c/0/0: cannot be read"),
        ("table", r"the frame table has 0 rows for 3 frames"),
        ("event", r"events.jsonl: not an event at byte 0"),
    ],
)
def test_a_damaged_recording_is_refused_in_one_line(
    tmp_path: Path, calibration: Calibration, what: str, line: str
) -> None:
    path = written(tmp_path / "a.zarr", calibration, 3)
    _break(path, what)
    with pytest.raises(Refused, match=line) as refused:
        Recording.open(path)
    assert "\n" not in refused.value.line
    assert refused.value.remedy


def test_what_is_not_a_recording(tmp_path: Path) -> None:
    with pytest.raises(Refused, match="no such recording"):
        Recording.open(tmp_path / "none.zarr")
    (tmp_path / "file.zarr").write_text("x")
    with pytest.raises(Refused, match="a recording is a folder"):
        Recording.open(tmp_path / "file.zarr")


def test_writer_refuses(tmp_path: Path, calibration: Calibration) -> None:
    (tmp_path / "there.zarr").mkdir()
    with pytest.raises(Refused, match="already something of this name"):
        RecordingWriter(tmp_path / "there.zarr", CAMERA, calibration, started_at="")
    with RecordingWriter(tmp_path / "a.zarr", CAMERA, calibration, started_at="") as writer:
        with pytest.raises(Refused, match="no such kind of event: lunch"):
            writer.event("lunch", 0)
        with pytest.raises(Refused, match="cannot be stored as JSON"):
            writer.event("note", 0, text=float("nan"))


def test_a_full_disk_keeps_what_was_written(
    tmp_path: Path, calibration: Calibration, monkeypatch: pytest.MonkeyPatch
) -> None:
    """ENOSPC at every place of an append: the frames before it stay, and the writer can go on when there is room again."""
    real = os.pwritev
    path = tmp_path / "a.zarr"
    writer = RecordingWriter(path, CAMERA, calibration, started_at="")
    for number in range(4):
        writer.append(noisy_frame(number))
    for allowed in range(8):
        calls = iter(range(100))

        def full(handle: int, parts: list[memoryview], offset: int, calls=calls, allowed=allowed) -> int:
            if next(calls) >= allowed:
                raise OSError(28, "No space left on device")
            return real(handle, parts, offset)

        monkeypatch.setattr(os, "pwritev", full)
        with pytest.raises(OSError, match="No space left"):
            writer.append(noisy_frame(4))
        monkeypatch.setattr(os, "pwritev", real)
        with Recording.open(path) as recording:
            assert len(recording) == 4
    writer.append(noisy_frame(4))
    writer.close()
    with Recording.open(path) as recording:
        assert len(recording) == 5
        np.testing.assert_array_equal(recording.pixels(4), noisy_frame(4).pixels)


def test_frames_during_which_the_light_changed_are_known_however_that_is_known(
    tmp_path: Path, calibration: Calibration
) -> None:
    """When they were taken; by a level between its neighbours'; or by an event, for a word that came late. Older tables lack the
    first.
    """
    path = tmp_path / "switched.zarr"
    with RecordingWriter(path, CAMERA, calibration, started_at="2026-11-25T13:20:11Z") as writer:
        for number in range(9):
            frame = noisy_frame(0, sequence=number)
            level = 0.6 if number < 4 else 0.5 if number == 4 else 0.3
            moment_ns = 5_000_000_000 + number * 33_333_000
            writer.append(replace(frame, sensor_time_ns=moment_ns, light_level=level, half_lit=number == 2))
            if number == 7:
                writer.event("light", moment_ns - 8_000_250, level=0.3, lit=True)  # as its exposure began: whole
                writer.event("light", moment_ns - 1, level=0.0, lit=False)
    with Recording.open(path) as recording:
        assert np.flatnonzero(recording.half_lit).tolist() == [2, 4, 7]
        assert [recording.frame(number).half_lit for number in (1, 2, 4)] == [False, True, True]
    shutil.rmtree(path / "frames" / "half_lit")
    with Recording.open(path) as recording:
        assert recording.frames == 9
        assert np.flatnonzero(recording.half_lit).tolist() == [4, 7]
