"""Cases, recordings, dye and exports of the fake imager: the device's own answers on a folder of real recordings, a fake export."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from device.drives import Drive
from device.imager.comparisons import Comparisons
from device.imager.export_desk import ExportDesk
from device.imager.exports import Exports
from device.imager.record_requests import RecordRequests
from shared.errors import Refused
from shared.protocol import comparing
from shared.protocol import control as c
from shared.protocol import exporting as e
from shared.protocol import records as r
from shared.settings import RecordingSettings

STICK = Drive(Path("/media/stick"), "vfat", "/dev/sda1", read_only=False, free_bytes=31_000_000_000)
FEW = (
    c.RecordingSummary("K7-Heron-2", "2031-05-04T09:41:00", "K7-Heron", 93.2, 2796, 0, 4100.0, True),
    c.RecordingSummary("K7-Heron-1", "2031-05-04T09:12:00", "K7-Heron", 41.0, 1228, 2, 1800.5, False),
)
"""What is listed while the folder is empty."""


class FakeRecords:
    """``recording`` says what the recorder does; ``drives`` are those plugged in."""

    def __init__(self, folder: Path, recording: Callable[[], c.RecordingState]) -> None:
        self.folder = folder
        self.drives: list[Drive] = [STICK]
        self.case = ""
        self.jobs: tuple[c.ExportJob, ...] = ()
        self.export_ends_at_once = True
        self._recording = recording
        self._requests = RecordRequests(_Recorder(recording), RecordingSettings(folder), self._user_of)  # type: ignore[arg-type]
        desk = ExportDesk(Exports(folder), folder, lambda: recording().name, lambda: self.drives)
        self.comparisons = Comparisons(folder, folder.parent / comparing.FOLDER, lambda: recording().name)
        self.acts: dict[type, Callable[[Any], object]] = {
            **self._requests.acts(),
            **desk.acts(),
            **self.comparisons.acts(),
            r.OpenCase: self._open_case,
            e.StartExport: self._start,
            e.StopExport: self._stop,
        }
        self._list = self.acts[c.ListRecordings]
        self.acts[c.ListRecordings] = self._listed

    def close(self) -> None:
        self._requests.close()
        self.comparisons.close()

    def end_export(self, **fields: Any) -> None:
        """The newest job is over, as told."""
        self.change_export(**{"finished": True, "done": 1.0, "settled": True, **fields})

    def change_export(self, **fields: Any) -> None:
        self.jobs = (*self.jobs[:-1], replace(self.jobs[-1], **fields))

    def _listed(self, asked: c.ListRecordings) -> object:
        found = self._list(asked)
        assert isinstance(found, c.Recordings)
        return found if any(self.folder.glob("*.zarr")) else c.Recordings(FEW, len(FEW))

    def _open_case(self, asked: r.OpenCase) -> None:
        if self._recording().name is not None:
            raise Refused("a recording is running", self.case, "stop it before the case changes")
        self.case = asked.case

    def _user_of(self, name: str) -> str:
        exported = any(name in job.recordings and not job.finished for job in self.jobs)
        return "an export" if exported else self.comparisons.user_of(name)

    def _start(self, asked: e.StartExport) -> e.ExportJob:
        if any(not job.finished for job in self.jobs):
            raise Refused("an export is running", self.jobs[-1].recording, "wait until it is finished")
        names = tuple(dict.fromkeys((asked.recording, *asked.after_it)))
        target = asked.target or "/media/stick"
        job = e.ExportJob(len(self.jobs) + 1, names[0], target, 0.0, False, recordings=names, formats=asked.formats)
        self.jobs = (*self.jobs, job)
        if self.export_ends_at_once:
            folders = tuple(f"{target}/{name}" for name in names)
            files = tuple(f"{folder}/curves.csv" for folder in folders)
            self.end_export(folders=folders, files=files, file_count=len(files), size_mb=1.5)
        return self.jobs[-1]

    def _stop(self, _: e.StopExport) -> None:
        if not self.jobs or self.jobs[-1].finished:
            raise Refused("no export is running", remedy="look whether it is finished already")
        self.end_export(stopped=True, error="the export was stopped")


class _Recorder:
    def __init__(self, recording: Callable[[], c.RecordingState]) -> None:
        self.state = recording
