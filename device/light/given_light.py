"""What light was given, in a file of the run folder: a guard that is restarted goes on counting where the last one ended.

The run folder is memory and ends with the boot, as does the clock of these times. A stretch of light is written while it lasts, so
a killed guard leaves all but the last moments, and those are counted as given.
"""

import math
import os
import struct
from dataclasses import dataclass, replace
from pathlib import Path

from shared.errors import Refused

NAME = "light.given"
WRITTEN_EVERY_NS = 250_000_000
LONGEST_NS = 1_000_000_000
UNWRITTEN_NS = 500_000_000
"""What a killed guard may have given unwritten: a quarter of a second, and as much again until the dead-man drops out."""

_RECORD = struct.Struct("<qqdd")


@dataclass(frozen=True)
class Given:
    """A stretch of light at ``level`` (0 to 1), with eyes and skin no nearer than ``distance_mm``."""

    start_ns: int
    end_ns: int
    level: float
    distance_mm: float


class GivenLight:
    """The file, opened for one guard; ``before`` is what others gave in this boot. Raises Refused where it is unusable."""

    def __init__(self, path: Path, now_ns: int) -> None:
        self._path = path
        self._now: Given | None = None
        self._unwritten_ns = 0
        try:
            self._handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        except OSError as error:
            raise self._unusable(error.strerror or str(error)) from None
        try:
            self.before = self._read(now_ns)
        except BaseException:
            self.close()
            raise
        self._number = len(self.before)

    def note(self, start_ns: int, end_ns: int, level: float, distance_mm: float) -> None:
        """Add light; level 0 ends a stretch. Raises Refused where it cannot be written: light nobody counts must not go on."""
        now = self._now
        if now is not None and not (now.end_ns == start_ns and now.level == level and _brief(now)):
            self._write(now)
            self._number += 1
            self._now = now = None
        if level <= 0.0:
            return
        if now is None:
            now, self._unwritten_ns = Given(start_ns, start_ns, level, distance_mm), WRITTEN_EVERY_NS
        self._now = replace(now, end_ns=end_ns, distance_mm=min(now.distance_mm, distance_mm))
        self._unwritten_ns += end_ns - now.end_ns
        if self._unwritten_ns >= WRITTEN_EVERY_NS:
            self._write(self._now)

    def close(self) -> None:
        """Close the file; may be called twice."""
        if self._handle >= 0:
            os.close(self._handle)
            self._handle = -1

    def _write(self, given: Given) -> None:
        self._unwritten_ns = 0
        packed = _RECORD.pack(given.start_ns, given.end_ns, given.level, given.distance_mm)
        try:
            if os.pwrite(self._handle, packed, self._number * _RECORD.size) != _RECORD.size:
                raise OSError(0, "no room")
        except OSError as error:
            raise self._unusable(error.strerror or str(error)) from None

    def _read(self, now_ns: int) -> tuple[Given, ...]:
        size = os.fstat(self._handle).st_size // _RECORD.size * _RECORD.size
        found = [Given(*fields) for fields in _RECORD.iter_unpack(os.pread(self._handle, size, 0))]
        until_ns = 0
        for given in found:
            if not (until_ns <= given.start_ns <= given.end_ns <= now_ns and _possible(given)):
                raise self._unusable(f"{given} is no light that this boot can have seen")
            until_ns = given.end_ns
        if found:
            found[-1] = replace(found[-1], end_ns=min(now_ns, found[-1].end_ns + UNWRITTEN_NS))
        return tuple(found)

    def _unusable(self, why: str) -> Refused:
        return Refused(f"{self._path}: light given cannot be counted ({why})", remedy="restart the device")


def _brief(given: Given) -> bool:
    return given.end_ns - given.start_ns < LONGEST_NS


def _possible(given: Given) -> bool:
    return 0.0 < given.level <= 1.0 and math.isfinite(given.distance_mm) and given.distance_mm > 0.0
