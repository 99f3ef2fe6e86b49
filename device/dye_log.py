"""The dye record of each case on disk: lines that are only ever added, beside the recordings whose injections count with them."""

import fcntl
import json
import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from pathlib import Path
from typing import Literal

from device.removed_recordings import FOLDER as REMOVED
from shared.bounded import filled
from shared.dye_record import ONE_INJECTION, DyeSoFar, Injection, checked_dose_mg, checked_mass_kg, dye_so_far
from shared.errors import Refused
from shared.recording import Recording
from shared.recording.durable import sync_folder, write_all
from shared.recording.names import checked_case

FOLDER = "dye_records"
_SAME_MARK = timedelta(minutes=1)
"""The same moment of the sensor's clock within this by the wall clock is one injection, told to several recordings."""
_SAME_SECOND = timedelta(seconds=1)
"""Moments are told to whole seconds."""
_AS_LISTED = "name one that `tapetum dye CASE --json` lists, such as 2026-11-25T12:00:00+00:00"
_JUST_BEFORE_S = 5.0
"""A mark starts a recording where none runs, so it may lie a little before the first frame."""


@dataclass(frozen=True)
class Line:
    """One line of a record. ``at`` is UTC in ISO 8601; ``undoes`` is the number of the line that this one takes back.

    "mark undone": of the injection that a recording marks at that moment no dye went in.
    """

    kind: Literal["given", "body mass", "undone", "mark undone"]
    at: str
    entered_at: str
    dose_mg: float | None = None
    body_mass_kg: float | None = None
    undoes: int | None = None


@dataclass(frozen=True)
class Dose:
    """An injection and where it is known from: "line 3", or a recording's name. ``line`` is None for a recording's."""

    injection: Injection
    source: str
    line: int | None = None


@dataclass(frozen=True)
class CaseRecord:
    """All that is known of one case: doses by time, the newest body mass, and what could not be read."""

    case: str
    doses: tuple[Dose, ...]
    body_mass_kg: float | None
    problems: tuple[str, ...]
    body_mass_line: int | None = None

    def so_far(self, now: datetime) -> DyeSoFar:
        """Sum of the doses at ``now``."""
        return dye_so_far([dose.injection for dose in self.doses], self.body_mass_kg, now)


class DyeLog:
    """Dye records of the cases whose recordings are in ``folder``."""

    def __init__(self, folder: Path, recordings_of: Callable[[str], Iterable[Path]] | None = None) -> None:
        """``recordings_of`` names the recordings of a case where somebody knows them; without it all are looked through."""
        self._folder, self._removed = folder / FOLDER, folder / REMOVED
        self._recordings_of = recordings_of or (lambda _: sorted(folder.glob("*.zarr")))

    def cases(self) -> tuple[str, ...]:
        """Codes of the cases that have a record, by name."""
        return tuple(sorted(path.name.removesuffix(".jsonl") for path in self._folder.glob("*.jsonl")))

    def give(self, case: str, dose_mg: float, at: datetime, now: datetime) -> int:
        """Add a dose given at ``at``; returns the line's number. Raises Refused for what is no dose, or lies ahead."""
        if at > now:
            raise Refused("a dose cannot be given in the future", at.isoformat(), "enter when it went in")
        return self._add(case, Line("given", _text(at), _text(now), dose_mg=checked_dose_mg(dose_mg)))

    def weigh(self, case: str, mass_kg: float, now: datetime) -> int:
        """Add a body mass, which replaces earlier ones; returns the line's number. Raises Refused for what is none."""
        return self._add(case, Line("body mass", _text(now), _text(now), body_mass_kg=checked_mass_kg(mass_kg)))

    def undo(self, case: str, number: int, now: datetime) -> int:
        """Take a line back by a further line. Raises Refused where there is no such line, or it is taken back already."""
        lines, _ = self._lines(case)
        line = lines.get(number)
        if line is None or line.kind == "undone":
            raise Refused("no dose or body mass has this number", number, "name a line that `tapetum dye CASE` lists")
        if any(other.undoes == number for other in lines.values()):
            raise Refused("this line was taken back already", number, "enter what is right as a new line")
        return self._add(case, Line("undone", _text(now), _text(now), undoes=number))

    def undo_mark(self, case: str, at: str, now: datetime) -> int:
        """Take back an injection that a recording marks ``at``, by a line; returns its number. Raises Refused where none is."""
        marks = [dose for dose in self.read(case).doses if dose.line is None]
        found = _nearest(marks, _mark_moment(at), _SAME_SECOND)
        if found is None:
            raise Refused("no recording of this case marks an injection at that moment", at, _AS_LISTED)
        return self._add(case, Line("mark undone", _text(found.injection.at), _text(now)))

    def read(self, case: str) -> CaseRecord:
        """All that is known of ``case``, from its record and from its recordings."""
        lines, problems = self._lines(case)
        undone = {line.undoes for line in lines.values()}
        standing = {number: line for number, line in lines.items() if number not in undone}
        typed = [
            Dose(Injection(datetime.fromisoformat(line.at), line.dose_mg), f"line {number}", number)
            for number, line in standing.items()
            if line.kind == "given"
        ]
        masses = [(line.body_mass_kg, number) for number, line in standing.items() if line.body_mass_kg is not None]
        mass_kg, mass_line = masses[-1] if masses else (None, None)
        marked, more = self._marked(case)
        for line in standing.values():
            if line.kind == "mark undone":
                marked = [
                    one for one in marked if one is not _nearest(marked, datetime.fromisoformat(line.at), _SAME_SECOND)
                ]
        doses = sorted([*typed, *_without_those_typed(marked, typed)], key=lambda dose: dose.injection.at)
        return CaseRecord(case, tuple(doses), mass_kg, (*problems, *more), mass_line)

    # ---- pieces -------------------------------------------------------------------------------------------------------

    def _path(self, case: str) -> Path:
        if not checked_case(case):
            raise Refused("a dye record needs a case code", remedy="name the case")
        return self._folder / f"{case}.jsonl"

    def _add(self, case: str, line: Line) -> int:
        """Append one line and make it survive a cut of power; a line torn by an earlier one stays as it is."""
        path = self._path(case)
        known = {key: value for key, value in vars(line).items() if value is not None}
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
            try:
                fcntl.flock(handle, fcntl.LOCK_EX)
                stored = os.pread(handle, os.fstat(handle).st_size, 0)
                torn = b"\n" if stored and not stored.endswith(b"\n") else b""
                write_all(handle, (torn + json.dumps(known).encode() + b"\n",), len(stored))
                os.fsync(handle)
            finally:
                os.close(handle)
            sync_folder(path.parent)
        except OSError as error:
            raise Refused(
                f"{path}: the dye record cannot be written ({error.strerror})", remedy="note it on paper"
            ) from None
        return len(stored.splitlines()) + 1

    def _lines(self, case: str) -> tuple[dict[int, Line], tuple[str, ...]]:
        """Lines by number, counted from 1, and one sentence for each that cannot be read."""
        path = self._path(case)
        try:
            stored = path.read_bytes()
        except FileNotFoundError:
            return {}, ()
        except OSError as error:
            raise Refused(f"{path}: cannot be read ({error.strerror})", remedy="check its permissions") from None
        found: dict[int, Line] = {}
        problems: list[str] = []
        for number, text in enumerate(stored.splitlines(), 1):
            try:
                found[number] = _parsed(text, f"{path.name} line {number}")
            except Refused as error:
                problems.append(f"not counted: {error.line}")
        return found, tuple(problems)

    def _marked(self, case: str) -> tuple[list[Dose], tuple[str, ...]]:
        """Injections marked in the recordings of a case, removed ones too, each once.

        A device tells a recording of all injections since it was switched on, and those before it began may have been another
        patient's.
        """
        found: list[_Mark] = []
        problems: list[str] = []
        removed = [path for path in sorted(self._removed.glob("*~*.zarr")) if _case_of(path) == case]
        for path in (*self._recordings_of(case), *removed):
            try:
                with Recording.open(path, planes=False) as recording:
                    found.extend(_marks(recording) if recording.case == case else ())
            except Refused as error:
                problems.append(f"not counted: {error.line}")
        own = [mark for mark in found if mark.own]
        told = [mark for mark in found if not any(mark.is_of(other) for other in own)]
        gone = sum(mark.dose.source in {path.stem for path in removed} for mark in own)
        if gone:
            problems.append(f"injections marked in recordings that were removed, which count all the same: {gone}")
        problems.extend(
            f"{mark.dose.source} mentions an injection at {_text(mark.dose.injection.at)}, before it began: not counted, enter it "
            "with --give if it was this case's"
            for mark in told
        )
        return [mark.dose for mark in own], tuple(problems)


@dataclass(frozen=True)
class _Mark:
    """An injection that a recording holds; ``own`` where it was marked while, or just before, that recording ran."""

    time_ns: int
    dose: Dose
    own: bool

    def is_of(self, other: "_Mark") -> bool:
        """Whether both are the same injection."""
        apart = abs(self.dose.injection.at - other.dose.injection.at)
        return self.time_ns == other.time_ns and apart < _SAME_MARK


def _marks(recording: Recording) -> Sequence[_Mark]:
    marks = recording.injections
    if not marks or not recording.frames:
        return ()
    if not recording.started_at:
        raise Refused("nobody knows when this recording was made", recording.name, "enter its dye with --give")
    started_at = datetime.fromisoformat(recording.started_at)
    if started_at.tzinfo is None:
        started_at = started_at.replace(tzinfo=UTC)
    first_ns = int(recording.frame_table.sensor_time_ns[0])
    found = []
    for mark in marks:
        since_s = (mark.time_ns - first_ns) / 1e9
        dose = Dose(
            Injection(started_at + timedelta(seconds=since_s), _dose_of(mark.fields.get("dose_mg"))), recording.name
        )
        found.append(_Mark(mark.time_ns, dose, since_s >= -_JUST_BEFORE_S))
    return found


@lru_cache(maxsize=1000)
def _case_of(removed: Path) -> str | None:
    """Case of a removed recording, in which nothing changes any more; None where it cannot be read."""
    try:
        with Recording.open(removed, planes=False) as recording:
            return recording.case
    except Refused:
        return None


def _dose_of(stored: object) -> float | None:
    if stored is None:
        return None
    if isinstance(stored, bool) or not isinstance(stored, int | float):
        raise Refused("the dose of an injection must be a number", stored, "enter the dose with --give")
    return checked_dose_mg(stored)


def _without_those_typed(marks: Sequence[Dose], typed: Sequence[Dose]) -> list[Dose]:
    """Marks but for those without a dose that a typed dose is near to; each typed dose is that of one mark, the nearest."""
    left = list(marks)
    for dose in typed:
        bare = [mark for mark in left if mark.injection.dose_mg is None]
        nearest = _nearest(bare, dose.injection.at, ONE_INJECTION)
        left = [mark for mark in left if mark is not nearest]
    return left


def _nearest(doses: Iterable[Dose], at: datetime, within: timedelta) -> Dose | None:
    found = min(doses, key=lambda dose: abs(dose.injection.at - at), default=None)
    return found if found is not None and abs(found.injection.at - at) < within else None


def _parsed(text: bytes, source: str) -> Line:
    try:
        values = json.loads(text)
    except ValueError:
        raise Refused(f"{source}: no entry", text.decode("utf-8", "replace"), "enter it again") from None
    line = filled(Line, values, source)
    _moment(line.at, source)
    if line.kind == "given":
        checked_dose_mg(line.dose_mg or 0.0)
    elif line.kind == "body mass":
        checked_mass_kg(line.body_mass_kg or 0.0)
    return line


def _moment(text: str, source: str) -> datetime:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise Refused(f"{source}: no moment", text, "enter it again") from None
    if moment.tzinfo is None:
        raise Refused(f"{source}: a moment without a time zone", text, "enter it again")
    return moment


def _mark_moment(text: str) -> datetime:
    """The moment by which a person names a mark; the refusal says where marks are listed, and in which form."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise Refused("no moment", text, _AS_LISTED) from None
    if moment.tzinfo is None:
        raise Refused("a moment without a time zone", text, _AS_LISTED)
    return moment


def _text(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat(timespec="milliseconds")
