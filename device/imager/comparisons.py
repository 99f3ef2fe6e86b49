"""Comparisons as niced child processes: the result is kept below the data folder, how far they are stands in the state."""

import shutil
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from device.imager.child_work import ChildWork, Ended
from device.removed_recordings import kept_folder
from shared.errors import Refused
from shared.protocol import comparing as p

_MOST_KEPT = 200
"""Results kept, the oldest going first: each is about as large as a few stills, and can be made again."""


class Comparisons:
    """Runs one comparison at a time and remembers the newest. Safe from several threads."""

    def __init__(
        self,
        recordings: Path,
        results: Path,
        running: Callable[[], str | None],
        command: Sequence[str] = (sys.executable, "-m", "device"),
    ) -> None:
        """``running`` names the recording that is being made, which cannot be compared yet."""
        self._recordings, self._results, self._running = recordings, results, running
        self._command = tuple(command)
        self._work: ChildWork[p.ComparisonJob] = ChildWork("a comparison", self._ended, _moved)

    @property
    def newest(self) -> p.ComparisonJob | None:
        """How the newest one goes, or went; None before the first."""
        jobs = self._work.jobs
        return jobs[-1] if jobs else None

    def acts(self) -> Mapping[type, Callable[[Any], object]]:
        """What answers which request."""
        return {p.StartComparison: self._start, p.StopComparison: lambda _: self._stop()}

    def user_of(self, recording: str) -> str:
        """Who uses that recording: "a comparison" while one of it runs, "" else."""
        newest = self.newest
        used = newest is not None and not newest.finished and recording in (newest.first, newest.second)
        return "a comparison" if used else ""

    def close(self) -> None:
        """End a running one and wait for it."""
        self._work.close()

    def _start(self, asked: p.StartComparison) -> p.ComparisonJob:
        if asked.first == asked.second:
            raise Refused("a recording is compared with another one", asked.first, "choose two")
        if self._running() in (asked.first, asked.second):
            raise Refused("it is being recorded", self._running(), "stop the recording, and wait until it is written")
        sources = [str(kept_folder(self._recordings, name)) for name in (asked.first, asked.second)]
        arguments = [*self._command, "compare", *sources, "--json", "--out", str(self._growing(asked))]
        arguments += ["--reference", asked.reference] if asked.reference else []
        arguments += ["--review"] if not asked.reference and not asked.regions else []
        for region in asked.regions:
            arguments += ["--region", region]
        arguments += [] if asked.minutes_between is None else ["--minutes-between", f"{asked.minutes_between:g}"]
        arguments += ["--same-view"] if asked.same_view else []

        def first(before: p.ComparisonJob | None) -> p.ComparisonJob:
            shutil.rmtree(self._growing(asked), ignore_errors=True)  # of one that was killed
            return p.ComparisonJob(before.number + 1 if before else 1, asked.first, asked.second)

        return self._work.start(arguments, first, named=f"{asked.first} and {asked.second}")

    def _stop(self) -> None:
        if not self._work.stop():
            raise Refused("no comparison is running", remedy="look whether it is finished already")

    def _growing(self, asked: p.StartComparison | p.ComparisonJob) -> Path:
        return self._results / f".{p.folder_name(asked.first, asked.second)}.new"

    def _ended(self, job: p.ComparisonJob, end: Ended) -> p.ComparisonJob:
        """Put the new result in the old one's place."""
        growing, final = self._growing(job), self._results / p.folder_name(job.first, job.second)
        if end.status != 0:
            shutil.rmtree(growing, ignore_errors=True)
            error = "" if end.stopped else end.trouble("the comparison")
            return replace(job, finished=True, stopped=end.stopped, error=error)
        try:
            shutil.rmtree(final, ignore_errors=True)
            growing.rename(final)
            kept = sorted((one for one in self._results.iterdir() if one.is_dir()), key=lambda one: one.stat().st_mtime)
            for old in kept[:-_MOST_KEPT]:
                shutil.rmtree(old, ignore_errors=True)
        except OSError as error:
            return replace(job, finished=True, error=f"the result cannot be kept ({error.strerror}); free some space")
        return replace(job, done=1.0, finished=True)


def _moved(job: p.ComparisonJob, done: float) -> p.ComparisonJob:
    return replace(job, done=done)
