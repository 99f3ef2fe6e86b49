"""The last trips of the light with their reasons, kept over restarts.

The frame loop only hands a trip over; writing is another thread's affair, so that no frame ever waits for a disk.
"""

import json
import logging
import threading
from collections import deque
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from queue import SimpleQueue

from shared.bounded import filled, plain
from shared.errors import Refused
from shared.protocol.device_facts import Trip
from shared.recording.durable import replace_file

_log = logging.getLogger(__name__)

FILE = "trips.json"
KEPT = 50


def _utc_now() -> str:
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


class TripLog:
    """Safe from several threads; ``note`` never waits. ``close`` writes what is left."""

    def __init__(self, data_folder: Path, now: Callable[[], str] = _utc_now) -> None:
        self._path, self._now = data_folder / FILE, now
        self._trips: deque[Trip] = deque(_kept(self._path), maxlen=KEPT)
        self._work: SimpleQueue[Trip | None] = SimpleQueue()
        self._thread = threading.Thread(target=self._write, name="trip log", daemon=True)
        self._thread.start()

    @property
    def newest_first(self) -> tuple[Trip, ...]:
        """All that are remembered."""
        return tuple(reversed(tuple(self._trips)))

    def note(self, reason: str, tried: bool) -> None:
        """The light has tripped now; ``tried``: on purpose."""
        trip = Trip(self._now(), reason[:400], tried)
        self._trips.append(trip)
        self._work.put(trip)

    def close(self) -> None:
        """Returns when all is written."""
        self._work.put(None)
        self._thread.join()

    def _write(self) -> None:
        while self._work.get() is not None:
            try:
                self._path.parent.mkdir(parents=True, exist_ok=True)
                replace_file(self._path, json.dumps([plain(one) for one in tuple(self._trips)], indent=1).encode())
            except OSError as error:
                _log.warning("a trip could not be kept: %s", error)


def _kept(path: Path) -> list[Trip]:
    """Trips of a file; those of one that cannot be read are lost, which hurts nobody."""
    try:
        return [filled(Trip, one, str(path)) for one in json.loads(path.read_bytes())]
    except FileNotFoundError:
        return []
    except (OSError, ValueError, TypeError, Refused) as error:
        _log.warning("earlier trips cannot be read: %s", error)
        return []
