"""What a trial tells the odd processes while they run: a few numbers in a mapped file. 0 everywhere means nothing is odd."""

import mmap
import os
import struct
from pathlib import Path

NAME = "orders"

NUMBERS = ("clock_ns", "wall_clock_s", "camera", "pins", "finger", "rearms", "level", "exposure_us", "lie")
"""Offsets of the guard's clock and of everyone's wall clock; a kind of broken camera; pins that refuse (bits: 1 enable, 2
heartbeat); and, for the bench's puppet, whether a finger is down, how often a trip was left, steps of level, the exposure, and a
kind of lie told to the guard."""

_NUMBER = struct.Struct("<q")


class Orders:
    """The mapped file; each number is one aligned word, written at once."""

    def __init__(self, run_dir: Path) -> None:
        size = _NUMBER.size * len(NUMBERS)
        fd = os.open(run_dir / NAME, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o660)
        try:
            os.ftruncate(fd, size)
            self._file = mmap.mmap(fd, size)
        finally:
            os.close(fd)

    def give(self, name: str, number: int) -> None:
        """Order ``number`` from now on."""
        _NUMBER.pack_into(self._file, _NUMBER.size * NUMBERS.index(name), number)

    def of(self, name: str) -> int:
        """The order in force."""
        return int(_NUMBER.unpack_from(self._file, _NUMBER.size * NUMBERS.index(name))[0])

    def clear(self) -> None:
        """Nothing is odd from now on; a puppet's finger stays as it is."""
        for name in ("clock_ns", "wall_clock_s", "camera", "pins", "lie"):
            self.give(name, 0)

    def close(self) -> None:
        """Let the file go."""
        self._file.close()
