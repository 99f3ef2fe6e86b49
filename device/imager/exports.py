"""Export jobs as niced child processes, so that writing files never takes time from the live picture."""

import json
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from device.imager.child_work import ChildWork, Ended
from shared.errors import Refused
from shared.protocol.control import ExportJob

KEPT_JOBS = 8


class Exports:
    """Runs one export at a time and remembers the last few. Safe from several threads."""

    def __init__(self, recordings: Path, command: Sequence[str] = (sys.executable, "-m", "device")) -> None:
        self._recordings = recordings
        self._command = tuple(command)
        self._work: ChildWork[ExportJob] = ChildWork("an export", _ended, _moved, kept=KEPT_JOBS)

    @property
    def jobs(self) -> tuple[ExportJob, ...]:
        """Newest last."""
        return self._work.jobs

    def start(self, recording: str, formats: Sequence[str], target: Path) -> ExportJob:
        """Begin; raises Refused while another one runs, or where there is no such recording or folder."""
        source = self._recordings / f"{recording}.zarr"
        if "/" in recording or recording.startswith(".") or not source.is_dir():
            raise Refused("no such recording", recording, "choose one from the list")
        if not target.is_dir():
            raise Refused("no such folder to export to", str(target), "plug in a drive, or name a folder that exists")
        arguments = [*self._command, "export", str(source), str(target), "--as", ",".join(formats), "--json"]

        def first(before: ExportJob | None) -> ExportJob:
            return ExportJob(before.number + 1 if before else 1, recording, str(target), 0.0, False)

        return self._work.start(arguments, first, named=recording)

    def user_of(self, recording: str) -> str:
        """Who uses that recording: "an export" while one of it runs, "" else."""
        return "an export" if any(job.recording == recording and not job.finished for job in self.jobs) else ""

    def close(self) -> None:
        """End a running export (it leaves nothing half written) and wait for it."""
        self._work.close()


def _moved(job: ExportJob, done: float) -> ExportJob:
    return replace(job, done=done)


def _ended(job: ExportJob, end: Ended) -> ExportJob:
    if end.status != 0:
        return replace(job, finished=True, error=end.trouble("the export"))
    result = json.loads(end.printed)
    files = tuple(f"{result['folder']}/{one['name']}" for one in result["files"])
    return replace(job, done=1.0, finished=True, files=files)
