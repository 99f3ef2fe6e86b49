"""What happened while the device runs, for the growing chart: light, trips, notes and lost frames. A few, in order."""

import threading
from collections import deque

from shared.protocol.curves import Happened

MOST_KEPT = 64
_LONGEST_TEXT = 80
"""A note stands whole in its recording; beside a curve there is room for its beginning."""
_TOGETHER_MS = 2_000
"""Frames that are lost one soon after the other make one gap."""


class Happenings:
    """``note`` is called by whoever knows, ``newest`` and ``count`` from any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._kept: deque[Happened] = deque(maxlen=MOST_KEPT)
        self._gaps = 0
        self.count = 0
        """Rises with each change, so that a page knows when to ask."""

    @property
    def newest(self) -> tuple[Happened, ...]:
        """In order of time."""
        with self._lock:
            return tuple(sorted(self._kept, key=lambda one: one.time_ms))

    def note(self, kind: str, time_ns: int, text: str) -> None:
        """Keep that; ``text`` is what a recording's event of that kind has."""
        with self._lock:
            self._kept.append(Happened(time_ns // 1_000_000, kind, text[:_LONGEST_TEXT]))
            self.count += 1

    def see_gaps(self, time_ns: int, gaps: int) -> None:
        """``gaps`` frames were lost so far in the recording that runs, or ran last."""
        lost, self._gaps = gaps - self._gaps, gaps
        if lost <= 0:
            return
        time_ms = time_ns // 1_000_000
        with self._lock:
            last = self._kept[-1] if self._kept else None
            if last is not None and last.kind == "gap" and time_ms - last.time_ms < _TOGETHER_MS:
                self._kept[-1] = Happened(last.time_ms, "gap", str(int(last.text) + lost))
            else:
                self._kept.append(Happened(time_ms, "gap", str(lost)))
            self.count += 1

    def forget(self) -> None:
        """Another patient: what was before is not theirs."""
        with self._lock:
            self._kept.clear()
            self.count += 1
