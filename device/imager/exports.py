"""Exports as niced child processes, so that writing files never takes time from the live picture."""

import json
import sys
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from device.imager.child_work import ChildWork, Ended
from device.removed_recordings import kept_folder
from shared.errors import Refused
from shared.protocol.exporting import FILES_TOLD, ExportJob
from shared.protocol.languages import Language

KEPT_JOBS = 8


class Exports:
    """Runs one export, of one recording or several, at a time and remembers the last few. Safe from several threads."""

    def __init__(self, recordings: Path, command: Sequence[str] = (sys.executable, "-m", "device")) -> None:
        self._recordings = recordings
        self._command = tuple(command)
        self._work: ChildWork[ExportJob] = ChildWork("an export", _ended, _moved, heard=_heard, kept=KEPT_JOBS)

    @property
    def jobs(self) -> tuple[ExportJob, ...]:
        """Newest last."""
        return self._work.jobs

    def start(
        self, recordings: Sequence[str], formats: Sequence[str], target: Path, language: Language = "en"
    ) -> ExportJob:
        """Begin; raises Refused while another one runs, or where there is no such recording or folder."""
        names = tuple(dict.fromkeys(recordings))
        sources = [str(kept_folder(self._recordings, name)) for name in names]
        if not target.is_dir():
            raise Refused("no such folder to export to", str(target), "plug in a drive, or name a folder that exists")
        arguments = [*self._command, "export", sources[0], str(target), "--as", ",".join(formats), "--json"]
        arguments += ["--language", language]
        for source in sources[1:]:
            arguments += ["--after-it", source]

        def first(before: ExportJob | None) -> ExportJob:
            number = before.number + 1 if before else 1
            return ExportJob(number, names[0], str(target), 0.0, False, recordings=names, formats=tuple(formats))

        return self._work.start(arguments, first, named=names[0])

    def user_of(self, recording: str) -> str:
        """Who uses that recording: "an export" while one of it runs, "" else."""
        return "an export" if any(recording in job.recordings and not job.finished for job in self.jobs) else ""

    def stop(self) -> None:
        """End the export that runs; what it wrote whole stays. Raises Refused where none runs."""
        if not self._work.stop():
            raise Refused("no export is running", remedy="look whether it is finished already")

    def close(self) -> None:
        """End a running export (it leaves nothing half written) and wait for it."""
        self._work.close()


def _moved(job: ExportJob, done: float) -> ExportJob:
    return replace(job, done=done)


def _heard(job: ExportJob, told: Mapping[str, object]) -> ExportJob:
    recording = told.get("recording")
    if isinstance(recording, str):
        return replace(job, recording=recording)
    return replace(job, settled=told["settled"] is True) if "settled" in told else job


def _ended(job: ExportJob, end: Ended) -> ExportJob:
    """What was written counts however it ended."""
    written, failed = _results(end.printed)
    files = [f"{one['folder']}/{file['name']}" for one in written for file in one["files"]]
    job = replace(
        job,
        finished=True,
        files=tuple(files[:FILES_TOLD]),
        file_count=len(files),
        size_mb=round(sum(file.get("bytes", 0) for one in written for file in one["files"]) / 1e6, 3),
        folders=tuple(one["folder"] for one in written),
        failed=tuple(f"{one['recording']}: {one['line']}" for one in failed),
        notes=tuple(note for one in written for note in one.get("notes", ())),
        stopped=end.stopped,
    )
    if end.status != 0:
        return replace(job, error=end.trouble("the export"))
    return replace(job, done=1.0)


def _results(printed: str) -> tuple[list[dict[str, Any]], list[dict[str, str]]]:
    """What was written and what failed, from what the child printed; it prints nothing where it could do nothing."""
    try:
        found = json.loads(printed)
    except ValueError:
        return [], []
    return found.get("exports", [found]), found.get("failed", [])
