"""Rigs that are kept from trial to trial, and made anew after a while, after a violation, or when asked."""

import contextlib
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

from tests.faults.bench import Bench
from tests.faults.house import House

TRIALS_EACH = 40


class Rigs:
    """At most one of each kind at a time."""

    def __init__(self) -> None:
        self._standing: dict[str, tuple[Bench | House, Path]] = {}
        self._used: dict[str, int] = {}

    def of(self, kind: str) -> Bench | House:
        """A rig that stands; the others are stopped meanwhile, so that they take no time from it."""
        for other in [other for other in self._standing if other != kind]:
            self.drop(other)
        if self._used.get(kind, 0) >= TRIALS_EACH:
            self.drop(kind)
        if kind not in self._standing:
            folder = Path(tempfile.mkdtemp(prefix="tapetum-faults-", dir="/dev/shm"))
            rig = House(folder) if kind == "house" else Bench(folder, board=kind == "board")
            self._standing[kind], self._used[kind] = (rig, folder), 0
        self._used[kind] += 1
        return self._standing[kind][0]

    def drop(self, kind: str) -> None:
        """Stop one."""
        if kind in self._standing:
            rig, folder = self._standing.pop(kind)
            rig.close()
            shutil.rmtree(folder, ignore_errors=True)

    def close(self) -> None:
        """Stop all."""
        for kind in tuple(self._standing):
            self.drop(kind)


@contextlib.contextmanager
def rigs() -> Iterator[Rigs]:
    """Rigs for a run of trials."""
    kept = Rigs()
    try:
        yield kept
    finally:
        kept.close()
