"""Curves of reference and regions, kept while the device runs, so that a tablet that comes late sees them whole.

Five points a second at most, as measured for the picture. The memory is made once: when it is full every other point goes, and
from then on half as many are kept, so that ten minutes have five points a second and a long lymph run still has its beginning.
"""

import math
import threading
from collections.abc import Sequence

import numpy as np

from device.curve_point import CurvePoint
from shared.protocol.curves import Curve, Curves, Happened

SHORTEST_MS = 200
MOST_POINTS = 3000
MOST_PLACES = 16
"""Reference and regions, and a few that were taken away and may come back by an undo."""
POINTS_AN_ANSWER = 256
"""Writing an answer takes the interpreter, and the loop wants it too: rather several short ones than a long one."""
_DIGITS = 6


class KeptCurves:
    """``take`` is called by the imager's loop with each picture, ``after`` from any thread."""

    def __init__(self, most_points: int = MOST_POINTS) -> None:
        self._lock = threading.Lock()
        self._times_ms = np.zeros(most_points, np.int64)
        self._signals = np.full((MOST_PLACES, most_points, 2), np.nan, np.float32)
        self._rows: dict[str, int] = {}
        self._newest: dict[str, CurvePoint] = {}
        self._count = 0
        self._interval_ms = SHORTEST_MS
        self._dark = True

    def take(self, time_ns: int, points: Sequence[CurvePoint]) -> None:
        """Keep the points of a frame, sensor time, if it is time for the next. Darkness takes one point, however long it lasts."""
        time_ms = time_ns // 1_000_000
        dark = all(math.isnan(point.signal) for point in points)
        with self._lock:
            self._follow(points)
            too_soon = self._count > 0 and time_ms - int(self._times_ms[self._count - 1]) < self._interval_ms
            if (dark and self._dark) or (too_soon and dark == self._dark):
                return
            self._dark = dark
            if self._count == len(self._times_ms):
                self._thin()
            self._times_ms[self._count] = time_ms
            self._signals[:, self._count] = np.nan
            for point in points:
                self._signals[self._rows[point.place], self._count] = point.signal, point.signal_u
            self._count += 1

    def after(self, time_ms: int, injections_ns: tuple[int, ...], happened: tuple[Happened, ...] = ()) -> Curves:
        """The points later than ``time_ms``, as many as fit one answer."""
        with self._lock:
            first = int(np.searchsorted(self._times_ms[: self._count], time_ms, "right"))
            last = min(first + POINTS_AN_ANSWER, self._count)
            return Curves(
                times_ms=tuple(self._times_ms[first:last].tolist()),
                curves=tuple(self._curve(place, first, last) for place in self._newest),
                injections_ms=tuple(moment_ns // 1_000_000 for moment_ns in injections_ns),
                more=last < self._count,
                happened=happened,
            )

    def _follow(self, points: Sequence[CurvePoint]) -> None:
        """Give each place a row of its own; where there is none left, that of the place which was watched longest ago."""
        for point in points:
            if point.place not in self._rows:
                row = len(self._rows)
                if row == MOST_PLACES:
                    row = self._rows.pop(
                        next(place for place in self._newest if place not in {p.place for p in points})
                    )
                    self._newest = {place: seen for place, seen in self._newest.items() if place in self._rows}
                self._rows[point.place] = row
                self._signals[row] = np.nan
            self._newest.pop(point.place, None)  # to the end: those longest unwatched come first
            self._newest[point.place] = point

    def _thin(self) -> None:
        half = self._times_ms[::2].copy()
        self._times_ms[: len(half)] = half
        self._signals[:, : len(half)] = self._signals[:, ::2].copy()
        self._count = len(half)
        self._interval_ms *= 2

    def _curve(self, place: str, first: int, last: int) -> Curve:
        newest = self._newest[place]
        signals, us = self._signals[self._rows[place], first:last].T.tolist()
        return Curve(place, _plain(signals), _plain(us), newest.baseline, newest.baseline_u)


def _plain(numbers: list[float]) -> tuple[float | None, ...]:
    return tuple(None if math.isnan(number) else float(f"{number:.{_DIGITS}g}") for number in numbers)
