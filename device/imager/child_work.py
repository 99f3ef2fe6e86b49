"""Long work as a child process of the imager, one at a time, followed until it ends and remembered."""

import json
import os
import subprocess
import tempfile
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import IO, Generic, TypeVar

from shared.errors import Refused

STOP_PATIENCE_S = 5.0
_NICENESS = 10

J = TypeVar("J")


@dataclass(frozen=True)
class Ended:
    """How a child ended: exit ``status`` (negative: by that signal), what it ``printed``, and its last ``words`` on standard error.

    ``stopped`` says that it was asked to stop, ``too_long`` that it was killed because it took longer than it may.
    """

    status: int
    printed: str
    words: str
    stopped: bool = False
    too_long: bool = False

    def trouble(self, what: str) -> str:
        """Why there is no result, in one line."""
        return self.words.removeprefix("tapetum: ") or f"{what} ended with status {self.status}"


class ChildWork(Generic[J]):
    """Runs one child at a time and remembers its job and the last few before it. Safe from several threads.

    A job is whatever the state shows of the work; ``moved`` and ``ended`` make the next one of it. A child tells how far it is by
    lines such as {"done": 0.4} on standard error; ``heard`` takes every other JSON object there.
    """

    def __init__(
        self,
        what: str,
        ended: Callable[[J, Ended], J],
        moved: Callable[[J, float], J] = lambda job, _done: job,
        *,
        heard: Callable[[J, Mapping[str, object]], J] = lambda job, _told: job,
        kept: int = 1,
        niced: bool = True,
        longest_s: float | None = None,
    ) -> None:
        """``what`` as in "an export"; ``niced`` work leaves the processors to the live picture."""
        self._what, self._ended, self._moved, self._heard = what, ended, moved, heard
        self._kept, self._longest_s = kept, longest_s
        self._before = ("nice", "-n", str(_NICENESS)) if niced else ()
        self._environment = {**os.environ, "NUMBA_NUM_THREADS": "1"} if niced else None
        self._lock = threading.Lock()
        self._jobs: tuple[J, ...] = ()
        self._process: subprocess.Popen[str] | None = None
        self._named: str | None = None
        self._stopped = False
        self._thread: threading.Thread | None = None

    @property
    def jobs(self) -> tuple[J, ...]:
        """Newest last."""
        with self._lock:
            return self._jobs

    def start(self, arguments: Sequence[str], first: Callable[[J | None], J], named: str | None = None) -> J:
        """Run ``arguments``; ``first`` makes the job from the newest before it. Raises Refused while one runs, naming it."""
        with self._lock:
            if self._process is not None:
                raise Refused(f"{self._what} is running", self._named, "wait until it is finished")
            self._named, self._stopped = named, False
            job = first(self._jobs[-1] if self._jobs else None)
            self._process, printed = self._begun(arguments)
            self._jobs = (*self._jobs, job)[-self._kept :]
            self._thread = threading.Thread(
                target=self._follow, args=(self._process, printed), name=self._what, daemon=True
            )
            self._thread.start()
            return job

    def stop(self) -> bool:
        """Ask the child to end, and make it if it does not within a few seconds; returns whether one was running."""
        with self._lock:
            process, self._stopped = self._process, True
        if process is None:
            return False
        process.terminate()
        try:
            process.wait(STOP_PATIENCE_S)
        except subprocess.TimeoutExpired:
            process.kill()
        return True

    def close(self) -> None:
        """End a running child and wait for its thread; may be called twice."""
        self.stop()
        with self._lock:
            thread = self._thread
        if thread is not None:
            thread.join()

    def _begun(self, arguments: Sequence[str]) -> tuple[subprocess.Popen[str], IO[str]]:
        """The child, and the file that takes what it prints: a pipe nobody reads meanwhile would hold it up."""
        printed: IO[str] = tempfile.TemporaryFile("w+")  # noqa: SIM115 - closed by the thread that reads it
        try:
            process = subprocess.Popen(
                [*self._before, *arguments],
                stdin=subprocess.DEVNULL,
                stdout=printed,
                stderr=subprocess.PIPE,
                text=True,
                env=self._environment,
            )
        except OSError:
            printed.close()
            raise
        return process, printed

    def _follow(self, process: subprocess.Popen[str], printed: IO[str]) -> None:
        assert process.stderr is not None
        began_s = time.monotonic()
        guard = None if self._longest_s is None else threading.Timer(self._longest_s, process.kill)
        if guard is not None:
            guard.daemon = True
            guard.start()
        words = ""
        with process.stderr:
            for line in process.stderr:
                told = _told(line)
                if told is None:
                    words = line.strip() or words
                elif isinstance(done := told.get("done"), int | float):
                    self._change(lambda job, done=done: self._moved(job, float(done)))  # type: ignore[misc]
                else:
                    self._change(lambda job, told=told: self._heard(job, told))  # type: ignore[misc]
        status = process.wait()
        if guard is not None:
            guard.cancel()
            guard.join()
        too_long = self._longest_s is not None and time.monotonic() - began_s >= self._longest_s
        with printed:
            printed.seek(0)
            text = printed.read()
        with self._lock:
            job = self._jobs[-1]
            self._jobs = (*self._jobs[:-1], self._ended(job, Ended(status, text, words, self._stopped, too_long)))
            self._process = None

    def _change(self, change: Callable[[J], J]) -> None:
        with self._lock:
            self._jobs = (*self._jobs[:-1], change(self._jobs[-1]))


def _told(line: str) -> Mapping[str, object] | None:
    """What ``line`` tells of the work, where it is a JSON object."""
    try:
        values = json.loads(line)
    except ValueError:
        return None
    return values if isinstance(values, dict) else None
