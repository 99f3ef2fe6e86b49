"""The check before a case, and steps of commissioning, as a child process of the imager, so that a page can start them and look on.

The child is a client like any other: it asks for light as a finger does, again and again, and if it dies its finger is gone. A walk
that a page started goes on only while that page watches it: where nobody has for ``UNWATCHED_NS``, it is ended, its light first.
"""

import json
import sys
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from device.imager.child_work import ChildWork, Ended
from shared.bounded import filled
from shared.clock import Clock
from shared.errors import Refused
from shared.protocol.commissioning import CheckItem, StartWalk, WalkState

LONGEST_S = 300.0
UNWATCHED_NS = 5_000_000_000
MOST_SAID = 60


def _utc_now() -> str:
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


class Walks:
    """Runs one walk at a time and remembers the newest. Safe from several threads."""

    def __init__(
        self,
        run_folder: Path,
        clock: Clock,
        darken: Callable[[], None],
        command: Sequence[str] = (sys.executable, "-m", "device"),
        now: Callable[[], str] = _utc_now,
    ) -> None:
        """``darken`` lets go of the light that pages ask for."""
        self._run_folder, self._clock, self._darken = run_folder, clock, darken
        self._command, self._now = tuple(command), now
        self._work: ChildWork[WalkState] = ChildWork(
            "a walk", self._ended, heard=_heard, niced=False, longest_s=LONGEST_S
        )
        self._lock = threading.Lock()
        self._watched_ns = 0
        self._why = ""
        self._ending: threading.Thread | None = None

    @property
    def newest(self) -> WalkState | None:
        """How the newest walk goes, or went; None before the first. Whoever asks this ends one that nobody watches."""
        jobs = self._work.jobs
        found = jobs[-1] if jobs else None
        if found is not None and found.running and self._clock.now_ns() - self._watched_ns > UNWATCHED_NS:
            self._end("nobody watched it: the page that started it must stay open")
        return found

    def start(self, asked: StartWalk) -> None:
        """Begin; raises Refused while another one runs."""
        first = WalkState(asked.walk, running=True, started_at=self._now())
        with self._lock:
            self._work.start([*self._command, *_words(asked, self._run_folder)], lambda _: first, asked.walk)
            self._watched_ns, self._why = self._clock.now_ns(), ""

    def watched(self) -> None:
        """Someone watches it."""
        self._watched_ns = self._clock.now_ns()

    def stop(self, why: str = "it was stopped") -> bool:
        """End the walk that runs, and say ``why``; returns whether one ran."""
        return self._end(why)

    def close(self) -> None:
        """End a running walk (its light goes off) and wait for it."""
        self._work.close()
        if self._ending is not None:
            self._ending.join()

    def _end(self, why: str) -> bool:
        """Ask the child to end, without waiting: it needs the control socket to leave everything as it found it."""
        with self._lock:
            if self._why or not (self._work.jobs and self._work.jobs[-1].running):
                return False
            self._why = why
            self._ending = threading.Thread(target=self._work.stop, name="end of a walk", daemon=True)
            self._ending.start()
        self._darken()
        return True

    def _ended(self, job: WalkState, end: Ended) -> WalkState:
        if self._why:
            return replace(job, running=False, error=self._why)
        try:
            found = json.loads(end.printed)
            items = tuple(filled(CheckItem, one, "check") for one in found.get("items", ()))
        except (ValueError, KeyError, TypeError, AttributeError, Refused):
            late = f"it took longer than {LONGEST_S:g} s" if end.too_long else ""
            return replace(job, running=False, error=late or end.trouble(f"the walk {job.walk}"))
        passed = job.walk == "check" and bool(found["passed"]) and all(one.passed for one in items)
        return replace(job, running=False, passed=passed, items=items)


def _words(asked: StartWalk, run_folder: Path) -> list[str]:
    """The walk as a command line."""
    to = ["--yes", "--json", "--run-dir", str(run_folder)]
    if asked.walk == "check":
        return ["check", *to]
    more: list[str] = []
    if asked.walk == "scale":
        more = ["--distance-mm", f"{asked.distance_mm:g}", "--pitch-mm", f"{asked.pitch_mm:g}"]
    elif asked.walk == "sensitivity":
        more = [f"--concentrations={','.join(map(str, asked.concentrations))}", f"--unit={asked.unit}"]
    return ["calibrate", asked.walk, "--propose", *more, *to]


def _heard(job: WalkState, told: Mapping[str, object]) -> WalkState:
    said, item = told.get("say"), told.get("item")
    if isinstance(said, str):
        return replace(job, said=(*job.said, said[:200])[-MOST_SAID:])
    if isinstance(item, dict):
        return replace(job, items=(*job.items, filled(CheckItem, item, "check")))
    return job
