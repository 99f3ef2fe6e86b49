"""What is known of the recordings of a folder, kept beside them in a small database, so that ten thousand are listed at once.

The folder is the truth. A line of the index counts only while the files it was read from are as they were (``_stamp``): what came,
went or changed meanwhile, by whichever program, is noticed when the list is asked for. The file may be deleted at any time.
``python -m device.recording_index FOLDER`` looks through all that is new, for a device that finds thousands at once.
"""

import json
import os
import sqlite3
import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from device.recording_list import summary
from shared.bounded import filled, plain
from shared.errors import Refused
from shared.protocol.control import RecordingSummary
from shared.protocol.records import CaseSummary
from shared.recording import Recording

FILE = ".index.sqlite"
FEW = 40
"""So many new recordings are looked through while somebody waits."""
_VERSION = 1
_A_COMMIT = 100
_BUSY_S = 5.0
_TABLE = """
CREATE TABLE IF NOT EXISTS recordings (
  name TEXT PRIMARY KEY, stamp TEXT NOT NULL, problem TEXT NOT NULL, started_at TEXT NOT NULL, "case" TEXT NOT NULL,
  summary TEXT NOT NULL, size_mb REAL NOT NULL
) WITHOUT ROWID;
CREATE INDEX IF NOT EXISTS by_time ON recordings (started_at, name);
CREATE INDEX IF NOT EXISTS by_case ON recordings ("case", started_at);
"""


@dataclass(frozen=True)
class Wanted:
    """Which recordings: see ``shared.protocol.control.ListRecordings``."""

    case: str | None = None
    text: str = ""
    from_at: str = ""
    until_at: str = ""


@dataclass(frozen=True)
class Page:
    """Some lines of a list that has ``total``; ``next`` is where the following ones begin, "" at the end."""

    lines: tuple[RecordingSummary, ...]
    total: int
    next: str


class RecordingIndex:
    """Index of ``folder``, made anew where it is missing or damaged. Safe from several threads, and beside other processes."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._lock = threading.Lock()

    def refresh(self, most: int | None = FEW, running: str | None = None) -> int:
        """Take note of what came and went, but for the recording that is ``running``; returns how many are still unread.

        Where more than ``most`` came, none of them is read: that takes a while, and is for a process of its own (None: read all).
        On a full disk what is new stays unread, and what is known can be listed and removed.
        """
        with self._opened() as base:
            there = _names(self._folder, running)
            known = {name for (name,) in base.execute("SELECT name FROM recordings")}
            gone = known - there
            if gone:
                with base:
                    base.executemany("DELETE FROM recordings WHERE name = ?", [(name,) for name in gone])
            new = sorted(there - known, reverse=True)
            if most is not None and len(new) > most:
                return len(new)
            for start in range(0, len(new), _A_COMMIT):
                lines = [line for name in new[start : start + _A_COMMIT] if (line := self._read(name)) is not None]
                try:
                    _put(base, lines)
                except sqlite3.OperationalError:
                    return len(new) - start
            return 0

    def page(self, wanted: Wanted, after: str = "", limit: int | None = None) -> Page:
        """Lines that match, newest first, from behind ``after``; each is read again where its files have changed."""
        where, values = _where(wanted)
        with self._opened() as base:
            (total,) = base.execute(f"SELECT count(*) FROM recordings WHERE {where}", values).fetchone()  # noqa: S608 - placeholders
            at, _, name = after.rpartition(" ")
            if after:
                where, values = f"{where} AND (started_at, name) < (?, ?)", [*values, at, name]
            asked = f"SELECT name, stamp, summary, started_at FROM recordings WHERE {where}"  # noqa: S608 - as above
            rows = base.execute(
                f"{asked} ORDER BY started_at DESC, name DESC LIMIT ?", [*values, -1 if limit is None else limit + 1]
            ).fetchall()
            more = limit is not None and len(rows) > limit
            rows = rows[:limit]
            lines = [self._current(base, name, stamp, text) for name, stamp, text, _ in rows]
            behind = f"{rows[-1][3]} {rows[-1][0]}" if more else ""
        return Page(tuple(line for line in lines if line is not None), total, behind)

    def cases(self, text: str = "", after: str = "", limit: int = 50) -> tuple[tuple[CaseSummary, ...], int, str]:
        """Cases whose code holds ``text``, the one with the newest recording first; how many there are; where the next begin."""
        like = [f"%{_escaped(text)}%"]
        group = """SELECT "case", count(*) AS n, min(nullif(started_at, '')), max(started_at) AS last, sum(size_mb)
                   FROM recordings WHERE problem = '' AND "case" LIKE ? ESCAPE '\\' GROUP BY "case" """
        last, _, code = after.rpartition(" ")
        with self._opened() as base:
            (total,) = base.execute(f"SELECT count(*) FROM ({group})", like).fetchone()  # noqa: S608 - placeholders
            behind = 'WHERE (last, "case") < (?, ?)' if after else ""
            rows = base.execute(
                f'SELECT * FROM ({group}) {behind} ORDER BY last DESC, "case" DESC LIMIT ?',  # noqa: S608 - as above
                [*like, *([last, code] if after else []), limit + 1],
            ).fetchall()
        found = tuple(
            CaseSummary(case, n, first or "", end, round(size, 3)) for case, n, first, end, size in rows[:limit]
        )
        return found, total, f"{found[-1].last_at} {found[-1].case}" if len(rows) > limit else ""

    def of_case(self, case: str) -> tuple[Path, ...]:
        """Folders of the recordings of a case, and of those that cannot be opened, the earliest first."""
        with self._opened() as base:
            rows = base.execute(
                """SELECT name FROM recordings WHERE "case" = ? OR problem != '' ORDER BY started_at, name""", (case,)
            ).fetchall()
        return tuple(self._folder / f"{name}.zarr" for (name,) in rows)

    def problems(self) -> tuple[str, ...]:
        """One line for each recording that cannot be opened."""
        with self._opened() as base:
            return tuple(
                line for (line,) in base.execute("SELECT problem FROM recordings WHERE problem != '' ORDER BY name")
            )

    # ---- pieces -------------------------------------------------------------------------------------------------------

    @contextmanager
    def _opened(self) -> Iterator[sqlite3.Connection]:
        """The database, for one thread at a time; a damaged one is thrown away, and the next who asks makes it anew."""
        with self._lock:
            try:
                with closing(_sound_connection(self._folder)) as base:
                    yield base
            except sqlite3.OperationalError as error:
                raise Refused(f"{self._folder / FILE}: {error}", remedy="check the device's storage") from None
            except sqlite3.DatabaseError:
                _delete(self._folder)
                raise Refused("the list of recordings was damaged and is made anew", remedy="ask again") from None

    def _read(self, name: str) -> "_Line | None":
        """A recording as the index keeps it; None where it has gone meanwhile."""
        path = self._folder / f"{name}.zarr"
        stamp = _stamp(path)  # before reading: what changes meanwhile is then read once more
        if not stamp:
            return None
        try:
            with Recording.open(path, planes=False) as recording:
                found = summary(recording)
        except Refused as error:
            return _Line(name, stamp, error.line or "it cannot be opened", "", "", "{}", 0.0)
        return _Line(name, stamp, "", found.started_at, found.case, json.dumps(plain(found)), found.size_mb)

    def _current(self, base: sqlite3.Connection, name: str, stamp: str, text: str) -> RecordingSummary | None:
        """The line as it is kept, or as it is now where its files have changed; None where it has gone."""
        if _stamp(self._folder / f"{name}.zarr") != stamp:
            line = self._read(name)
            if line is None:
                return None
            with suppress(sqlite3.OperationalError):  # a full disk: it is read again the next time
                _put(base, [line])
            text = line.summary
        return None if text == "{}" else filled(RecordingSummary, json.loads(text), FILE)


@dataclass(frozen=True)
class _Line:
    """One row, in the table's order."""

    name: str
    stamp: str
    problem: str
    started_at: str
    case: str
    summary: str
    size_mb: float


def _put(base: sqlite3.Connection, lines: Sequence[_Line]) -> None:
    with base:
        base.executemany(
            "INSERT OR REPLACE INTO recordings VALUES (?, ?, ?, ?, ?, ?, ?)",
            [tuple(vars(line).values()) for line in lines],
        )


def _where(wanted: Wanted) -> tuple[str, list[Any]]:
    """Condition with placeholders, and what goes into them."""
    parts, values = ["problem = ''"], list[Any]()
    if wanted.case is not None:
        parts.append('"case" = ?')
        values.append(wanted.case)
    if wanted.text:
        parts.append("""("case" LIKE ? ESCAPE '\\' OR name LIKE ? ESCAPE '\\')""")
        values += [f"%{_escaped(wanted.text)}%"] * 2
    if wanted.from_at:
        parts.append("started_at >= ?")
        values.append(wanted.from_at)
    if wanted.until_at:
        parts.append("started_at != '' AND started_at < ?")
        values.append(wanted.until_at)
    return " AND ".join(parts), values


def _escaped(text: str) -> str:
    return text.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")


def _names(folder: Path, running: str | None) -> set[str]:
    try:
        with os.scandir(folder) as entries:
            found = {entry.name.removesuffix(".zarr") for entry in entries if entry.name.endswith(".zarr")}
    except OSError as error:
        raise Refused(f"{folder}: cannot be listed ({error.strerror})", remedy="check the device's storage") from None
    return {name for name in found if not name.startswith(".") and name != running}


def _stamp(path: Path) -> str:
    """When and how large the files are from which a line is read; "" where there is no such folder.

    A folder's own time tells of maps added, the root's of a new case or of completion; one that is written declares itself in
    ``image`` once a second.
    """
    found: list[int] = []
    for part in ("", "zarr.json", "image/zarr.json", "events.jsonl"):
        try:
            about = (path / part).stat()
        except OSError:
            if not part:
                return ""
            continue
        found += [about.st_mtime_ns, about.st_ino, about.st_size]
    return ",".join(map(str, found))


def _sound_connection(folder: Path) -> sqlite3.Connection:
    """The database, made anew where it is no database any more."""
    try:
        return _connection(folder)
    except sqlite3.OperationalError:
        raise
    except sqlite3.DatabaseError:
        _delete(folder)
        return _connection(folder)


def _connection(folder: Path) -> sqlite3.Connection:
    base = sqlite3.connect(folder / FILE, timeout=_BUSY_S, check_same_thread=False)
    try:
        base.execute("PRAGMA journal_mode = WAL")
        base.execute("PRAGMA synchronous = NORMAL")
        (version,) = base.execute("PRAGMA user_version").fetchone()
        if version != _VERSION:
            base.executescript(f"DROP TABLE IF EXISTS recordings; {_TABLE} PRAGMA user_version = {_VERSION};")
        base.execute("SELECT count(*), max(size_mb) FROM recordings").fetchone()
    except BaseException:
        base.close()
        raise
    return base


def _delete(folder: Path) -> None:
    for ending in ("", "-wal", "-shm"):
        with suppress(FileNotFoundError):
            (folder / f"{FILE}{ending}").unlink()


def main() -> int:
    """Look through all that is new in the folder named."""
    RecordingIndex(Path(sys.argv[1])).refresh(None)
    return 0


if __name__ == "__main__":
    sys.exit(main())
