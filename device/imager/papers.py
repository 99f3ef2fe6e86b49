"""Certificates and printable targets as PDF, written by a child process of the imager into the data folder."""

import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from device.imager.child_work import ChildWork, Ended
from shared.protocol.commissioning import Paper, PaperState

FOLDER = "papers"
LONGEST_S = 120.0


class Papers:
    """Writes one paper at a time and remembers the newest. Safe from several threads."""

    def __init__(
        self, run_folder: Path, data_folder: Path, command: Sequence[str] = (sys.executable, "-m", "device")
    ) -> None:
        self._run_folder, self._folder, self._command = run_folder, data_folder / FOLDER, tuple(command)
        self._work: ChildWork[PaperState] = ChildWork("another paper", self._ended, longest_s=LONGEST_S)

    @property
    def newest(self) -> PaperState | None:
        """How the newest goes, or went; None before the first."""
        jobs = self._work.jobs
        return jobs[-1] if jobs else None

    def start(self, paper: Paper) -> None:
        """Begin; raises Refused while another one runs."""
        self._folder.mkdir(parents=True, exist_ok=True)
        out = str(self._folder / f"{paper}.pdf")
        words = ["calibrate", "certificate", out, "--run-dir", str(self._run_folder)]
        if paper != "certificate":
            words = ["target", out, "--paper", paper.removeprefix("target-")]
        self._work.start([*self._command, *words, "--json"], lambda _: PaperState(paper, running=True), paper)

    def close(self) -> None:
        """End one that is being written, and wait for it."""
        self._work.close()

    def _ended(self, job: PaperState, end: Ended) -> PaperState:
        written = bool(end.printed.strip())  # a certificate that says "not passed" ends with status 1, and is written
        error = "" if written else end.trouble("the paper")
        return replace(job, running=False, file=f"{job.paper}.pdf" if written else "", error=error)
