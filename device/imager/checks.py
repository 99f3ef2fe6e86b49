"""The check before a case as a child process of the imager, so that a page can start it and see how it went."""

import json
import subprocess
import sys
import threading
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path

from shared.bounded import filled
from shared.errors import Refused
from shared.protocol.control import CheckItem, CheckState

STOP_PATIENCE_S = 5.0
LONGEST_S = 120.0


def _utc_now() -> str:
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


class Checks:
    """Runs one check at a time and remembers the newest. Safe from several threads.

    The child is a client like any other: if it dies, its finger on the light is gone, and the light with it.
    """

    def __init__(
        self,
        run_folder: Path,
        command: Sequence[str] = (sys.executable, "-m", "device"),
        now: Callable[[], str] = _utc_now,
    ) -> None:
        self._arguments = [*command, "check", "--yes", "--json", "--run-dir", str(run_folder)]
        self._now = now
        self._lock = threading.Lock()
        self._newest: CheckState | None = None
        self._process: subprocess.Popen[str] | None = None
        self._thread: threading.Thread | None = None

    @property
    def newest(self) -> CheckState | None:
        """How the newest check goes, or went; None before the first."""
        with self._lock:
            return self._newest

    def start(self) -> None:
        """Begin; raises Refused while another one runs."""
        with self._lock:
            if self._process is not None:
                raise Refused("a check is running", remedy="wait until it is finished")
            pipe = subprocess.PIPE
            self._process = subprocess.Popen(
                self._arguments, stdin=subprocess.DEVNULL, stdout=pipe, stderr=pipe, text=True
            )
            self._newest = CheckState(running=True, started_at=self._now())
            self._thread = threading.Thread(target=self._follow, args=(self._process,), name="check", daemon=True)
            self._thread.start()

    def close(self) -> None:
        """End a running check (its light goes off) and wait for its thread."""
        with self._lock:
            process, thread = self._process, self._thread
        if process is not None:
            process.terminate()
            try:
                process.wait(STOP_PATIENCE_S)
            except subprocess.TimeoutExpired:
                process.kill()
        if thread is not None:
            thread.join()

    def _follow(self, process: subprocess.Popen[str]) -> None:
        try:
            out, err = process.communicate(timeout=LONGEST_S)
        except subprocess.TimeoutExpired:
            process.kill()
            out, err = process.communicate()
            err = f"it took longer than {LONGEST_S:g} s\n{err}"
        with self._lock:
            started_at = self._newest.started_at if self._newest else ""
            self._newest = _ended(out, err, started_at)
            self._process = None


def _ended(out: str, err: str, started_at: str) -> CheckState:
    try:
        found = json.loads(out)
        items = tuple(filled(CheckItem, one, "check") for one in found["items"])
    except (ValueError, KeyError, TypeError, Refused):
        words = err.strip().splitlines()
        return CheckState(
            False, started_at=started_at, error=(words[-1] if words else "the check ended without a word")
        )
    return CheckState(False, bool(found["passed"]) and all(one.passed for one in items), started_at, items)
