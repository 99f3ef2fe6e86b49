"""The check before a case as a child process of the imager, so that a page can start it and see how it went."""

import json
import sys
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path

from device.imager.child_work import ChildWork, Ended
from shared.bounded import filled
from shared.errors import Refused
from shared.protocol.control import CheckItem, CheckState

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
        self._work: ChildWork[CheckState] = ChildWork("a check", _ended, niced=False, longest_s=LONGEST_S)

    @property
    def newest(self) -> CheckState | None:
        """How the newest check goes, or went; None before the first."""
        jobs = self._work.jobs
        return jobs[-1] if jobs else None

    def start(self) -> None:
        """Begin; raises Refused while another one runs."""
        self._work.start(self._arguments, lambda _: CheckState(running=True, started_at=self._now()))

    def close(self) -> None:
        """End a running check (its light goes off) and wait for it."""
        self._work.close()


def _ended(job: CheckState, end: Ended) -> CheckState:
    try:
        found = json.loads(end.printed)
        items = tuple(filled(CheckItem, one, "check") for one in found["items"])
    except (ValueError, KeyError, TypeError, Refused):
        late = f"it took longer than {LONGEST_S:g} s" if end.too_long else ""
        words = end.words or late or "the check ended without a word"
        return CheckState(running=False, started_at=job.started_at, error=words)
    passed = bool(found["passed"]) and all(one.passed for one in items)
    return CheckState(running=False, passed=passed, started_at=job.started_at, items=items)
