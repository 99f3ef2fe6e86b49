"""What is added to a recording when it is looked at again: never what was recorded, always beside it.

NAME.zarr/afterwards/marks.json     reference and regions of a review
NAME.zarr/afterwards/notes.jsonl    notes said afterwards, one a line, added to and never rewritten
NAME.zarr/afterwards/analysis.json  the newest analysis, as ``tapetum analyse --json --curves`` prints it, and the hand's track
"""

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from shared.bounded import filled, plain
from shared.errors import Refused
from shared.protocol.review import ReviewRegion
from shared.recording.durable import replace_file, sync_folder

FOLDER = "afterwards"
MOST_NOTES = 500


@dataclass(frozen=True)
class Marks:
    """Reference and regions of a review."""

    reference: ReviewRegion | None = None
    regions: tuple[ReviewRegion, ...] = ()


@dataclass(frozen=True)
class LateNote:
    """Words about the moment ``at_s`` after the first frame, said at ``said_at`` (UTC, ISO 8601)."""

    at_s: float
    text: str
    said_at: str


def read_marks(recording: Path) -> Marks | None:
    """The marks of a review, None where there was none; raises Refused where they are damaged."""
    values = _document(recording / FOLDER / "marks.json")
    return None if values is None else filled(Marks, values, str(recording / FOLDER / "marks.json"))


def write_marks(recording: Path, marks: Marks | None) -> None:
    """Keep the marks of a review, or none; raises OSError where the disk fails."""
    folder = _folder(recording)
    if marks is not None:
        replace_file(folder / "marks.json", _text(plain(marks)))
    elif (folder / "marks.json").exists():
        (folder / "marks.json").unlink()
        sync_folder(folder)


def read_late_notes(recording: Path) -> tuple[LateNote, ...]:
    """Notes said afterwards that were not taken back, in the order said. A line that was torn by a cut of power is left out."""
    try:
        lines = (recording / FOLDER / "notes.jsonl").read_bytes().splitlines()
    except FileNotFoundError:
        return ()
    notes: list[LateNote] = []
    for line in lines:
        try:
            values = json.loads(line)
            if values == {"undone": True}:
                notes = notes[:-1]
            else:
                notes.append(filled(LateNote, values, "late note"))
        except (ValueError, Refused):
            continue
    return tuple(notes)


def add_late_note(recording: Path, note: LateNote) -> None:
    """Keep a note; raises Refused where there are too many, OSError where the disk fails."""
    if len(read_late_notes(recording)) >= MOST_NOTES:
        raise Refused("too many notes on one recording", MOST_NOTES, "take some back")
    _append(recording, plain(note))


def undo_late_note(recording: Path) -> None:
    """Take the last note back; raises Refused where there is none."""
    if not read_late_notes(recording):
        raise Refused("no note was added afterwards", recording.stem, "notes made while recording stay")
    _append(recording, {"undone": True})


def has_analysis(recording: Path) -> bool:
    """Whether one was kept."""
    return (recording / FOLDER / "analysis.json").is_file()


def read_analysis(recording: Path) -> dict[str, Any] | None:
    """The newest analysis, None where there was none; raises Refused where it is damaged."""
    return _document(recording / FOLDER / "analysis.json")


def write_analysis(recording: Path, result: Mapping[str, Any]) -> None:
    """Keep an analysis in place of the one before; raises OSError where the disk fails."""
    replace_file(_folder(recording) / "analysis.json", _text(result))


def _folder(recording: Path) -> Path:
    folder = recording / FOLDER
    if not folder.is_dir():
        folder.mkdir()
        sync_folder(recording)
    return folder


def _append(recording: Path, values: Mapping[str, Any]) -> None:
    path = _folder(recording) / "notes.jsonl"
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o644)
    try:
        # a line torn by a cut of power must not swallow this one
        torn = path.stat().st_size > 0 and not path.read_bytes().endswith(b"\n")
        os.write(handle, (b"\n" if torn else b"") + json.dumps(values, ensure_ascii=False).encode() + b"\n")
        os.fsync(handle)
    finally:
        os.close(handle)
    sync_folder(path.parent)


def _document(path: Path) -> dict[str, Any] | None:
    try:
        values = json.loads(path.read_bytes())
    except FileNotFoundError:
        return None
    except (ValueError, RecursionError) as error:
        raise Refused(f"{path}: damaged ({error})", remedy="make it again") from None
    if not isinstance(values, dict):
        raise Refused(f"{path}: damaged, not an object", remedy="make it again")
    return values


def _text(values: Mapping[str, Any]) -> bytes:
    return json.dumps(values, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()
