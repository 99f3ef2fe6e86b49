"""What happened while a recording ran: one JSON object a line, added to and never rewritten."""

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal, get_args

from shared.errors import Refused
from shared.recording.durable import write_all

EventKind = Literal["injection", "injection undone", "note", "light", "gap", "region", "reference", "trip", "end"]
KINDS: tuple[str, ...] = get_args(EventKind)


@dataclass(frozen=True)
class Event:
    """Something that happened at ``time_ns`` of the sensor's clock; ``fields`` hold what depends on the kind.

    "injection": dose_mg, where it is known; "injection undone" has none; "note": text; "light": level, lit; "gap": frames, cause;
    "region" and "reference": region, as on the command line (null: taken away, then name); "trip" and "end": reason.
    """

    kind: str
    time_ns: int
    fields: Mapping[str, Any] = field(default_factory=dict)

    def line(self) -> bytes:
        """As stored."""
        values = {"kind": self.kind, "time_ns": self.time_ns, **self.fields}
        return json.dumps(values, ensure_ascii=False, allow_nan=False).encode() + b"\n"


class EventWriter:
    """Adds lines to a new file at ``path``."""

    def __init__(self, path: Path) -> None:
        self.handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o644)
        self._end = 0

    def append(self, event: Event) -> None:
        """Write one event; an OSError leaves the earlier ones whole."""
        self._end += write_all(self.handle, (event.line(),), self._end)

    def close(self) -> None:
        """Close the file; may be called twice."""
        if self.handle >= 0:
            os.close(self.handle)
            self.handle = -1


def checked_event(kind: str, time_ns: int, fields: Mapping[str, Any]) -> Event:
    """An event fit to be written; raises Refused for an unknown kind or a field that JSON cannot hold."""
    if kind not in KINDS:
        raise Refused("no such kind of event", kind, f"known: {', '.join(KINDS)}")
    if {"kind", "time_ns"} & set(fields):
        raise Refused("an event's fields may not be called kind or time_ns", sorted(fields))
    event = Event(kind, int(time_ns), dict(fields))
    try:
        event.line()
    except (TypeError, ValueError) as error:
        raise Refused(f"event {kind}: a field cannot be stored as JSON ({error})", dict(fields)) from None
    return event


def read_events(path: Path, complete: bool) -> tuple[Event, ...]:
    """Events in the order written. The last line may be torn where a recording was cut off; any other damage is Refused."""
    try:
        stored = path.read_bytes()
    except FileNotFoundError:
        if complete:
            raise Refused(f"{path}: missing", remedy="copy the recording again") from None
        return ()
    events: list[Event] = []
    offset = 0
    for line in stored.splitlines(keepends=True):
        event = _parsed(line)
        if event is not None:
            events.append(event)
        elif complete or offset + len(line) < len(stored):
            if complete:
                raise Refused(
                    f"{path}: not an event at byte {offset}", line[:60].decode("utf-8", "replace"), "copy it again"
                )
            break
        offset += len(line)
    return tuple(events)


def _parsed(line: bytes) -> Event | None:
    try:
        values = json.loads(line)
        kind, time_ns = values.pop("kind"), values.pop("time_ns")
    except (ValueError, AttributeError, KeyError, TypeError):
        return None
    if not isinstance(kind, str) or not isinstance(time_ns, int) or not line.endswith(b"\n"):
        return None
    return Event(kind, time_ns, values)
