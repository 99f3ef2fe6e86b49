"""Exported files open in general-purpose software, agree with the recording, and are whole or not there."""

import csv
import errno
import hashlib
import json
import os
import subprocess
from datetime import UTC, datetime
from pathlib import Path

import av
import numpy as np
import pytest
import tifffile
from click.testing import CliRunner
from PIL import Image

from device.cli.export import command
from device.export import delivery as delivery_module
from device.export import stack
from device.export.delivery import ExportCancelled
from device.export.job import export, filesystem_of
from device.export.overlay import Overlay
from shared.calibration import Calibration
from shared.errors import Refused
from shared.frame import Frame
from shared.recording import Recording
from shared.recording.writer import RecordingWriter
from shared.settings import PictureSettings
from tests.device.export.conftest import CAMERA, FRAMES, counts, write

NUMBERS = [number for number in range(FRAMES) if number != 50]
WHEN = datetime(2026, 11, 26, 8, 0, tzinfo=UTC)


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_tables(recording: Recording, tmp_path: Path) -> None:
    done = export(recording, tmp_path, ["csv"])
    assert done.folder == tmp_path / recording.name
    frames = rows(done.folder / "frames.csv")
    assert [int(row["sequence"]) for row in frames] == NUMBERS
    assert frames[50]["missing before"] == "1"
    assert float(frames[-1]["time since first frame (s)"]) == pytest.approx(7.9)
    curves = rows(done.folder / "curves.csv")
    assert len(curves) == len(NUMBERS)
    for row in (curves[0], curves[-1]):
        number = NUMBERS[curves.index(row)]
        mean = counts(number)[20:80, 20:60].mean() - 20.0
        assert float(row["base: signal (counts/ms)"]) == pytest.approx(mean / 8.0, rel=1e-4)
    assert float(curves[-1]["time since injection (s)"]) == pytest.approx(7.9 - 1.8 - 0.004)
    (figures,) = rows(done.folder / "figures.csv")
    assert figures["region"] == "tip"
    assert float(figures["peak (% of the reference's peak)"]) == pytest.approx(40, abs=1)
    events = rows(done.folder / "events.csv")
    assert [row["event"] for row in events] == ["reference", "region", "injection", "note"]
    assert json.loads(events[3]["details (JSON)"]) == {"text": "=2+2"}


def test_stack_opens_in_tifffile_with_the_same_pixels(recording: Recording, tmp_path: Path) -> None:
    done = export(recording, tmp_path, ["tiff"])
    with tifffile.TiffFile(done.folder / "frames.tif") as file:
        assert file.is_imagej
        np.testing.assert_array_equal(file.asarray(), [counts(number) for number in NUMBERS])
        assert file.imagej_metadata is not None
        assert file.imagej_metadata["finterval"] == pytest.approx(0.1)
        assert file.imagej_metadata["unit"] == "mm"
        across, of = file.pages[0].tags["XResolution"].value
        assert across / of == pytest.approx(1 / CAMERA.mm_per_px)
    with Image.open(done.folder / "frames.tif") as picture:
        assert picture.n_frames == len(NUMBERS)
        picture.seek(30)
        np.testing.assert_array_equal(np.asarray(picture), counts(30))


def test_a_large_stack_is_a_bigtiff_and_on_fat_several_files(
    recording: Recording, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(stack, "CLASSIC_LARGEST_BYTES", 30 * 160 * 120 * 2 + 5000)
    done = export(recording, tmp_path, ["tiff"])
    with tifffile.TiffFile(done.folder / "frames.tif") as file:
        assert file.is_bigtiff
        np.testing.assert_array_equal(file.asarray(), [counts(number) for number in NUMBERS])
    monkeypatch.setattr("device.export.job.filesystem_of", lambda _: "vfat")
    done = export(recording, tmp_path, ["tiff"])
    assert done.folder.name == f"{recording.name}-2"
    names = sorted(path.name for path in done.folder.glob("*.tif"))
    assert names == ["frames-1.tif", "frames-2.tif", "frames-3.tif"]
    parts = [tifffile.imread(done.folder / name) for name in names]
    np.testing.assert_array_equal(np.concatenate(parts), [counts(number) for number in NUMBERS])
    assert "3 files" in done.notes[0]


def boxes(path: Path) -> list[str]:
    """Top-level boxes of an MP4 file in order (ISO/IEC 14496-12, clause 4.2)."""
    content, at, found = path.read_bytes(), 0, []
    while at < len(content):
        size = int.from_bytes(content[at : at + 4], "big")
        found.append(content[at + 4 : at + 8].decode())
        at += size
    return found


def test_video_is_one_that_browsers_play(recording: Recording, tmp_path: Path) -> None:
    """H.264 at most High profile, 4:2:0, 8 bit, index before the data: what every browser's video element plays."""
    path = export(recording, tmp_path, ["mp4"]).folder / "picture.mp4"
    order = boxes(path)
    assert order.index("moov") < order.index("mdat")
    with av.open(str(path)) as container:
        (stream,) = container.streams
        assert stream.codec_context.name == "h264"
        assert stream.codec_context.pix_fmt == "yuv420p"
        assert stream.profile in ("High", "Main", "Constrained Baseline", "Baseline")
        assert stream.width == 640
        assert stream.height > 120
        frames = list(container.decode(stream))
    np.testing.assert_allclose(
        [float(frame.pts * frame.time_base) for frame in frames], [n * 0.1 for n in NUMBERS], atol=1e-4
    )
    early, late = (frames[NUMBERS.index(n)].to_ndarray(format="rgb24")[:120, 240:400].astype(int) for n in (10, 79))
    assert np.ptp(early[40:60, 30:50].mean(axis=(0, 1))) < 12
    assert np.ptp(late[40:60, 30:50].mean(axis=(0, 1))) > 60


def test_a_frame_during_which_the_light_was_dimmed_is_shown_like_any_other(tmp_path: Path) -> None:
    path = tmp_path / "dimmed.zarr"
    with RecordingWriter(path, CAMERA, Calibration.assumed(CAMERA), started_at="2026-11-25T13:20:11Z") as writer:
        for number in range(12):
            level = 1.0 if number < 6 else 0.7 if number == 6 else 0.5
            writer.append(Frame(counts(number + 40), number, 10**9 + number * 10**8, 8000.0, 1.0, level, True))
    with Recording.open(path) as dimmed:
        assert [shown.frame.sequence for shown in Overlay(dimmed, PictureSettings()).play()] == list(range(12))


def test_stills_open(recording: Recording, tmp_path: Path) -> None:
    folder = export(recording, tmp_path, ["png"]).folder
    stills = sorted(folder.glob("*.png"))
    assert len(stills) == 2
    assert [still.name for still in stills] == ["still-01-0004.0s.png", "still-02-0007.9s.png"]
    for still in stills:
        with Image.open(still) as picture:
            picture.load()
            assert picture.format == "PNG"
            assert picture.width >= 160
            assert picture.info["Title"] == recording.name


def test_manifest_agrees_with_sha256sum(recording: Recording, tmp_path: Path) -> None:
    done = export(recording, tmp_path, ["csv", "tiff"], wall=lambda: WHEN)
    manifest = json.loads((done.folder / "manifest.json").read_text())
    assert manifest["exported_at"] == "2026-11-26T08:00:00+00:00"
    assert manifest["recording"] == recording.name
    assert manifest["case"] == "H-7"
    assert manifest["missing_frames"] == 1
    assert any("viability" in line for line in manifest["cautions"])
    assert {file["name"] for file in manifest["files"]} | {"manifest.json"} == {p.name for p in done.folder.iterdir()}
    for file in manifest["files"]:
        content = (done.folder / file["name"]).read_bytes()
        assert (len(content), hashlib.sha256(content).hexdigest()) == (file["bytes"], file["sha256"])
    sums = "".join(f"{file['sha256']}  {file['name']}\n" for file in manifest["files"])
    checked = subprocess.run(["sha256sum", "-c", "-"], input=sums, text=True, cwd=done.folder, capture_output=True)
    assert checked.returncode == 0, checked.stdout


def test_pictures_and_cautions_speak_the_language_asked_for(recording: Recording, tmp_path: Path) -> None:
    ran = CliRunner().invoke(command, [str(recording.path), str(tmp_path), "--as", "png,csv", "--language", "de"])
    assert ran.exit_code == 0, ran.output
    folder = tmp_path / recording.name
    manifest = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
    assert manifest["language"] == "de"
    assert manifest["cautions"][0].startswith("Kein zugelassenes Medizinprodukt.")
    with (
        Image.open(folder / "still-02-0007.9s.png") as german,
        Image.open(_english_still(recording, tmp_path)) as english,
    ):
        assert german.text["Warning"].startswith("Relative Intensität, kein Vitalitätstest.")
        pixels = [np.asarray(one)[:120] for one in (german, english)]
        np.testing.assert_array_equal(*pixels)
        assert not np.array_equal(np.asarray(german)[120:300], np.asarray(english)[120:300])
    assert rows(folder / "figures.csv")[0]["region"] == "tip"


def _english_still(recording: Recording, tmp_path: Path) -> Path:
    (tmp_path / "english").mkdir()
    return export(recording, tmp_path / "english", ["png"]).folder / "still-02-0007.9s.png"


def test_progress_rises_to_one(recording: Recording, tmp_path: Path) -> None:
    seen: list[float] = []
    export(recording, tmp_path, ["csv", "tiff"], on_progress=seen.append)
    assert seen == sorted(seen)
    assert seen[-1] == 1.0
    assert len(seen) > 100


@pytest.mark.parametrize("at", [0.05, 0.6, 0.95])
def test_cancelled_leaves_nothing(recording: Recording, tmp_path: Path, at: float) -> None:
    def cancel(done: float) -> None:
        if done > at:
            raise ExportCancelled

    with pytest.raises(ExportCancelled):
        export(recording, tmp_path, ["csv", "tiff"], on_progress=cancel)
    assert list(tmp_path.iterdir()) == []


def test_no_room_is_said_before_anything_is_written(recording: Recording, tmp_path: Path) -> None:
    with pytest.raises(Refused, match=r"no room on .*: 9 MB free, about 3 MB needed; free some space") as refused:
        export(recording, tmp_path, ["tiff"], free=lambda _: 9_000_000)
    assert refused.value.remedy
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(os.geteuid() != 0, reason="only root may mount a small disk")
def test_a_disk_that_fills_up_leaves_nothing(recording: Recording, tmp_path: Path) -> None:
    """A real 1 MB file system, whose probe is told that there is room."""
    disk = tmp_path / "stick"
    disk.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=1m", "none", str(disk)], capture_output=True)
    if mounted.returncode:
        pytest.skip("this machine does not let root mount")
    try:
        with pytest.raises(Refused, match=r"cannot be written \((No space left|the drive is full)"):
            export(recording, disk, ["tiff"], free=lambda _: 10**10)
        assert list(disk.iterdir()) == []
    finally:
        subprocess.run(["umount", str(disk)], check=True)


def test_a_failing_drive_leaves_nothing(recording: Recording, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fsync(handle: int) -> None:
        raise OSError(errno.EIO, "Input/output error")

    monkeypatch.setattr(os, "fsync", fsync)
    with pytest.raises(Refused, match="Input/output error"):
        export(recording, tmp_path, ["csv"])
    monkeypatch.undo()
    assert list(tmp_path.iterdir()) == []


def test_a_drive_that_gives_back_something_else(
    recording: Recording, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = delivery_module._digest
    answers = iter(range(100))
    monkeypatch.setattr(delivery_module, "_digest", lambda h, p: real(h, p) if next(answers) % 2 == 0 else "0" * 64)
    with pytest.raises(Refused, match="gives back something else; use another drive"):
        export(recording, tmp_path, ["csv"])
    assert list(tmp_path.iterdir()) == []


def test_without_a_reference_there_are_frames_and_a_note(tmp_path: Path) -> None:
    with Recording.open(write(tmp_path / "plain.zarr", marked=False)) as recording:
        done = export(recording, tmp_path, ["csv"])
    assert {file.name for file in done.files} == {"frames.csv", "events.csv", "manifest.json"}
    assert "no reference is marked" in done.notes[0]


@pytest.mark.parametrize(("formats", "line"), [(["doc"], "no such export format: doc"), ([], "no export format given")])
def test_unknown_formats(recording: Recording, tmp_path: Path, formats: list[str], line: str) -> None:
    with pytest.raises(Refused, match=line):
        export(recording, tmp_path, formats)


def test_no_such_target(recording: Recording, tmp_path: Path) -> None:
    with pytest.raises(Refused, match="no such folder to export to"):
        export(recording, tmp_path / "none", ["csv"])


def test_the_file_system_is_that_of_the_nearest_mount(tmp_path: Path) -> None:
    table = tmp_path / "mountinfo"
    table.write_text(f"22 1 8:1 / / rw - ext4 /dev/sda1 rw\n23 22 8:17 / {tmp_path} rw - vfat /dev/sdb1 rw\n")
    assert filesystem_of(tmp_path, table) == "vfat"
    assert filesystem_of(Path("/usr"), table) == "ext4"
