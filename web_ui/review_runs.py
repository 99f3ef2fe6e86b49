"""Recordings that are looked at just now, kept open: few, one thread at a time, with the last pictures drawn.

When nobody has looked for a while they are closed, and their memory goes back to the system.
"""

import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import simplejpeg

from shared.errors import Refused
from shared.live_picture import Planes
from shared.recording import Recording
from shared.recording.names import checked_name
from shared.review.moment import ReviewedRun
from shared.settings import PictureSettings
from web_ui.button_press import Busy
from web_ui.one_heap import give_back
from web_ui.operation import NoSuchThing

OPEN_AT_MOST = 2
PICTURES_AT_MOST = 48
THREADS_AT_MOST = 2
"""One that works and one that waits: the page's other threads stay free, for whoever puts the light out."""
REST_S = 20.0
"""Whoever only looks up from a recording finds it open; its planes and pictures take some 150 MB."""
_QUALITY = 85

Stamp = tuple[int, ...]


class ReviewRuns:
    """Opens recordings of ``folder`` on request. One is drawn from at a time: the pictures of who watches live come first."""

    def __init__(
        self,
        folder: Path,
        settings: PictureSettings | None = None,
        at_rest: Callable[[], None] = lambda: None,
        rest_s: float = REST_S,
    ) -> None:
        """``at_rest`` is told when nobody has looked for ``rest_s``: what else is kept of recordings may go."""
        self._at_rest, self._rest_s = at_rest, rest_s
        self._used_at_s = 0.0
        self._resting: threading.Thread | None = None
        self._over = threading.Event()
        self.settings = settings or PictureSettings()
        self._folder = folder
        self._lock = threading.Lock()
        self._room = threading.BoundedSemaphore(THREADS_AT_MOST)
        self._pictures_lock = threading.Lock()
        self._open: OrderedDict[str, tuple[Stamp, ReviewedRun]] = OrderedDict()
        self._pictures: OrderedDict[tuple[object, ...], bytes] = OrderedDict()

    def path(self, name: str) -> Path:
        """Folder of a recording; raises Refused for what is no name, NoSuchThing where there is none."""
        path = self._folder / f"{checked_name(name)}.zarr"
        if path.is_symlink() or not path.is_dir():
            raise NoSuchThing(f"no such recording: {name}; it may have been removed or renamed")
        return path

    @contextmanager
    def room(self) -> Iterator[None]:
        """One of the few threads that may look at recordings at once; raises Busy where they are all taken."""
        if not self._room.acquire(blocking=False):
            raise Busy("others look at recordings just now; try again in a moment")
        try:
            yield
        finally:
            self._room.release()
            self._rest_later()

    @contextmanager
    def run(self, name: str) -> Iterator[ReviewedRun]:
        """The recording, for this thread alone; raises like ``path`` and ``room``, and Refused where it cannot be opened."""
        path = self.path(name)
        with self.room(), self._lock:
            self._forget_gone()
            stamp = _stamp(path)
            known = self._open.get(name)
            if known is None or known[0] != stamp:
                self._close(name)
                self._open[name] = (stamp, ReviewedRun(Recording.open(path), self.settings))
            self._open.move_to_end(name)
            while len(self._open) > OPEN_AT_MOST:
                self._close(next(iter(self._open)))
            try:
                yield self._open[name][1]
            except OSError as error:
                raise Refused(
                    f"{name} cannot be read ({error.strerror})", remedy="look whether it is still there"
                ) from None

    def kept_picture(self, key: tuple[object, ...]) -> bytes | None:
        """A JPEG drawn before, if it is still kept."""
        with self._pictures_lock:
            found = self._pictures.get(key)
            if found is not None:
                self._pictures.move_to_end(key)
            return found

    def keep_picture(self, key: tuple[object, ...], jpeg: bytes) -> None:
        """Keep a JPEG; ``key`` begins with the recording's name."""
        with self._pictures_lock:
            self._pictures[key] = jpeg
            while len(self._pictures) > PICTURES_AT_MOST:
                self._pictures.popitem(last=False)

    def close(self) -> None:
        """Close every recording, for good."""
        self._over.set()
        with self._pictures_lock:
            resting = self._resting
        if resting is not None:
            resting.join()
        self._close_all()

    def _close_all(self) -> None:
        with self._lock:
            for name in list(self._open):
                self._close(name)

    def _rest_later(self) -> None:
        """Somebody has looked just now."""
        with self._pictures_lock:
            self._used_at_s = time.monotonic()
            if self._resting is None and not self._over.is_set():
                self._resting = threading.Thread(target=self._wait_for_rest, name="recordings at rest", daemon=True)
                self._resting.start()

    def _wait_for_rest(self) -> None:
        while not self._over.wait(max(self._used_at_s + self._rest_s - time.monotonic(), 0.0)):
            with self._pictures_lock:
                if time.monotonic() - self._used_at_s < self._rest_s:
                    continue
                self._resting = None
            self._close_all()
            self._at_rest()
            give_back()
            return

    def _forget_gone(self) -> None:
        """A recording that was removed must not keep its room on the disk."""
        for name, (_, run) in list(self._open.items()):
            if not run.recording.path.is_dir():
                self._close(name)

    def _close(self, name: str) -> None:
        known = self._open.pop(name, None)
        if known is not None:
            known[1].recording.close()
        with self._pictures_lock:
            for key in [key for key in self._pictures if key[0] == name]:
                del self._pictures[key]


def jpeg_of(planes: Planes) -> bytes:
    """A picture as JPEG 4:2:0."""
    y = np.ascontiguousarray(planes.y)
    encoded: bytes = simplejpeg.encode_jpeg_yuv_planes(y, planes.u, planes.v, _QUALITY)
    return encoded


def _stamp(path: Path) -> Stamp:
    """What changes when a recording is written to or analysed, or another takes its place."""
    analysis = path / "afterwards" / "analysis.json"
    try:
        analysed_ns = analysis.stat().st_mtime_ns if analysis.exists() else 0
        return (path / "zarr.json").stat().st_mtime_ns, (path / "events.jsonl").stat().st_size, analysed_ns
    except OSError:
        return (0,)
