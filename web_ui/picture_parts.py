"""Pictures one after the other as the parts of one answer (multipart/x-mixed-replace): a place, and what is read from it."""

import threading
from collections.abc import Callable, Iterator
from pathlib import Path

from shared.clock import Clock
from shared.frame_bus import FrameBusReader
from web_ui.picture_message import age_ms

BOUNDARY = "picture"
LONGEST_S = 3600.0
"""After so long it ends, and whoever still looks asks again."""
SILENT_S = 10.0
"""It ends when there was no new picture for so long: nobody holds on to an answer from which nothing comes."""
MOST_AT_ONCE = 2
"""Each takes one of the page's few threads all the while."""

_LOOK_AGAIN_S = 1.0
_places = threading.BoundedSemaphore(MOST_AT_ONCE)


class PictureParts:
    """Iterable of bytes, for one request; ``close`` when that is over. ``welcome`` says each second whether it may go on."""

    def __init__(self, bus_path: Path, clock: Clock, welcome: Callable[[], bool], longest_s: float) -> None:
        self._reader = FrameBusReader(bus_path)
        self._clock = clock
        self._welcome = welcome
        self._until_ns = clock.now_ns() + int(longest_s * 1e9)
        self._open = True

    @classmethod
    def where_there_is_room(
        cls, bus_path: Path, clock: Clock, welcome: Callable[[], bool], longest_s: float
    ) -> "PictureParts | None":
        """One of the few that there may be at once, or None."""
        if not _places.acquire(blocking=False):
            return None
        try:
            return cls(bus_path, clock, welcome, longest_s)
        except BaseException:
            _places.release()
            raise

    def __iter__(self) -> Iterator[bytes]:
        """A part a picture; newest wins, as whoever reads slowly is not waited for."""
        try:
            yield from self._parts()
        finally:
            self.close()

    def _parts(self) -> Iterator[bytes]:
        newest, seen_ns, asked_ns = -1, self._clock.now_ns(), 0
        while (now_ns := self._clock.now_ns()) < self._until_ns and now_ns - seen_ns < SILENT_S * 1e9:
            if now_ns - asked_ns >= _LOOK_AGAIN_S * 1e9:
                asked_ns = now_ns
                if not self._welcome():
                    return
            picture = self._reader.latest(newest)
            if picture is None:
                self._reader.wait(min(_LOOK_AGAIN_S, max(0.0, (self._until_ns - now_ns) / 1e9)))
                continue
            newest, seen_ns = picture.publication, now_ns
            head = (
                f"--{BOUNDARY}\r\nContent-Type: image/jpeg\r\nContent-Length: {len(picture.jpeg)}\r\n"
                f"X-Age-Ms: {age_ms(picture.published_ns, now_ns)}\r\nX-Sequence: {picture.sequence}\r\n\r\n"
            )
            yield b"".join((head.encode(), picture.jpeg, b"\r\n"))

    def close(self) -> None:
        """Make room for another. May be called twice."""
        if self._open:
            self._open = False
            self._reader.close()
            _places.release()
