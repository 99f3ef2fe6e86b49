"""Sizes and drives told before an export, and what is refused, on real recordings; drives are fakes."""

from pathlib import Path

import pytest

from device.drives import Drive
from device.export.job import export
from device.imager.export_desk import ExportDesk
from device.imager.exports import Exports
from shared.errors import Refused
from shared.protocol import exporting as e
from shared.recording import Recording
from tests.many_recordings import many_recordings

STICK = Drive(Path("/media/stick"), "vfat", "/dev/sda1", read_only=False, free_bytes=31_000_000_000)
GONE = Drive(Path("/media/gone"), "vfat", "/dev/sdb1", read_only=False, free_bytes=None)


def desk(folder: Path, running: str | None = None, first: Path | None = None) -> ExportDesk:
    return ExportDesk(Exports(folder), folder, lambda: running, lambda: [STICK, GONE], lambda: first)


def test_sizes_are_more_than_what_is_written_and_drives_are_told(tmp_path: Path) -> None:
    folder = tmp_path / "recordings"
    names = many_recordings(folder, 2)
    asked = e.EstimateExport((*names, "away", "../x"))
    found = desk(folder).acts()[e.EstimateExport](asked)
    assert isinstance(found, e.ExportEstimate)
    assert found.missing == ("away", "../x")
    assert [(one.path, one.free_mb) for one in found.drives] == [("/media/stick", 31_000.0), ("/media/gone", None)]
    sizes = {one.format: one.size_mb for one in found.sizes}
    assert set(sizes) == {"csv", "tiff", "mp4", "png", "maps"}
    with Recording.open(folder / f"{names[0]}.zarr") as recording:
        written = export(recording, tmp_path, ["tiff"])
    taken = sum(file.size_bytes for file in written.files if file.name != "manifest.json")
    assert 0.9 * taken <= 1e6 * sizes["tiff"] / 2 <= 1.2 * taken


def test_what_cannot_begin_is_refused(tmp_path: Path) -> None:
    names = many_recordings(tmp_path, 2)
    with pytest.raises(Refused, match="it is being recorded"):
        desk(tmp_path, running=names[1]).acts()[e.StartExport](e.StartExport(names[0], ("csv",), None, (names[1],)))
    with pytest.raises(Refused, match="no removable drive is mounted"):
        desk(tmp_path).acts()[e.StartExport](e.StartExport(names[0], ("csv",)))
    with pytest.raises(Refused, match="no such folder to export to"):
        desk(tmp_path, first=tmp_path / "pulled").acts()[e.StartExport](e.StartExport(names[0], ("csv",)))
    with pytest.raises(Refused, match="no export is running"):
        desk(tmp_path).acts()[e.StopExport](e.StopExport())
