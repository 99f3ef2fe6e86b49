"""The newest frames while nothing is recorded: a run that begins with "dye in" holds what was there before it.

They lie in rooms of the recorder's ring, which is idle then, so they cost no memory; and they are few, as the ring must take in
what comes while the files are opened. Percentages need no more: what leaks through is taken off by their mean.
"""

from collections import deque
from collections.abc import Sequence

from shared.frame import Frame
from shared.recording.packing import FrameRoom
from shared.recording.table import FrameRow

RING_SHARE = 3
"""One room in so many of the ring is used (our choice, no source)."""
LONGEST_AGO_NS = 1_000_000_000
"""Older frames belong to another view (our choice, no source)."""


class KeptBefore:
    """One frame after the other, none missing between them. Belongs to one thread at a time."""

    def __init__(self) -> None:
        self._kept: deque[tuple[FrameRoom, FrameRow]] = deque()

    def take(self, frame: Frame, ring: Sequence[FrameRoom]) -> None:
        """Keep a frame in place of the oldest, in a room of ``ring``; where one was lost before it, or all is dark, begin anew."""
        rooms, row = ring[: len(ring) // RING_SHARE], FrameRow.of(frame)
        if not rooms:
            return
        if self._kept and row.sequence != self._kept[-1][1].sequence + 1:
            self._kept.clear()
        if len(self._kept) == len(rooms):
            self._kept.popleft()
        if not _is_lit(row) and not self._has_light():
            self._kept.clear()
            return
        room = rooms[row.sequence % len(rooms)]
        room.take(frame.pixels)
        self._kept.append((room, row))

    def handed_over(self, now_ns: int) -> tuple[tuple[FrameRoom, FrameRow], ...]:
        """What is kept, oldest first, and its rooms with it; nothing where the newest is long ago."""
        kept = tuple(self._kept)
        self._kept.clear()
        return kept if kept and kept[-1][1].sensor_time_ns >= now_ns - LONGEST_AGO_NS else ()

    def _has_light(self) -> bool:
        return any(_is_lit(row) for _, row in self._kept)


def _is_lit(row: FrameRow) -> bool:
    return row.lit and row.light_level > 0
