"""Analyses as niced child processes: their result is kept beside the recording, how far they are stands in the state."""

import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from device.imager.child_work import ChildWork, Ended
from shared.protocol.review import AnalysisJob


class Analyses:
    """Runs one analysis at a time and remembers the newest. Safe from several threads."""

    def __init__(self, command: Sequence[str] = (sys.executable, "-m", "device")) -> None:
        self._command = tuple(command)
        self._work: ChildWork[AnalysisJob] = ChildWork("an analysis", _ended, _moved)

    @property
    def newest(self) -> AnalysisJob | None:
        """How the newest one goes, or went; None before the first."""
        jobs = self._work.jobs
        return jobs[-1] if jobs else None

    def start(self, recording: Path, *, maps: bool, follow_motion: bool) -> AnalysisJob:
        """Begin; raises Refused while another one runs."""
        arguments = [*self._command, "analyse", str(recording), "--review", "--json"]
        arguments += ["--maps"] if maps else []
        arguments += [] if follow_motion else ["--no-motion"]

        def first(before: AnalysisJob | None) -> AnalysisJob:
            return AnalysisJob(before.number + 1 if before else 1, recording.stem, maps)

        return self._work.start(arguments, first, named=recording.stem)

    def user_of(self, recording: str) -> str:
        """Who uses that recording: "an analysis" while one of it runs, "" else."""
        newest = self.newest
        return "an analysis" if newest is not None and newest.recording == recording and not newest.finished else ""

    def stop(self) -> None:
        """End the one that runs, if any; what was kept before stays."""
        self._work.stop()

    def close(self) -> None:
        """End a running one and wait for it."""
        self._work.close()


def _moved(job: AnalysisJob, done: float) -> AnalysisJob:
    return replace(job, done=done)


def _ended(job: AnalysisJob, end: Ended) -> AnalysisJob:
    if end.status == 0:
        return replace(job, done=1.0, finished=True)
    if end.stopped:
        return replace(job, finished=True, stopped=True)
    return replace(job, finished=True, error=end.trouble("the analysis"))
