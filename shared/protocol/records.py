"""What page and command line ask of the imager about cases, kept recordings and dye. Standard library only."""

from dataclasses import dataclass, field
from typing import Annotated

from shared.bounded import Length, Within

RecordingName = Annotated[str, Length(1, 120)]
Case = Annotated[str, Length(0, 40)]
CaseCode = Annotated[str, Length(1, 40)]

MOST_AT_ONCE = 200
"""Lines of a list in one answer."""


# ---- requests -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class ListCases:
    """Cases with recordings, the newest first. ``text`` is any part of the code; ``after`` is an earlier answer's ``next``."""

    text: Annotated[str, Length(0, 40)] = ""
    after: Annotated[str, Length(0, 200)] = ""
    limit: Annotated[int, Within(1, MOST_AT_ONCE)] = 50


@dataclass(frozen=True)
class OpenCase:
    """Every recording from now on is of this case ("": of none), unless it is told otherwise. Refused while one is recorded.

    Where the case is another than before, the dye's clock ends: what went into one patient is not another's.
    """

    case: Case


@dataclass(frozen=True)
class ChangeCase:
    """Put a recording under another case; it is called after the new one from then on. Answered by Kept."""

    recording: RecordingName
    case: Case


@dataclass(frozen=True)
class RemoveRecording:
    """Take a recording out of the list; it can be put back while there is room. Answered by RemovedRecording."""

    recording: RecordingName


@dataclass(frozen=True)
class RestoreRecording:
    """Put a removed recording back. Answered by Kept."""

    removed: Annotated[str, Length(1, 160)]


@dataclass(frozen=True)
class ListRemoved:
    """Answered by RemovedRecordings."""


@dataclass(frozen=True)
class ForgetRemoved:
    """Delete every removed recording for good. Answered by RemovedRecordings."""


@dataclass(frozen=True)
class GetDye:
    """Dye given in a case so far. Answered by DyeOfCase."""

    case: CaseCode


@dataclass(frozen=True)
class EnterDose:
    """Dye that went in ``minutes_ago``. Answered by DyeOfCase."""

    case: CaseCode
    dose_mg: Annotated[float, Within(0.01, 500)]
    minutes_ago: Annotated[float, Within(0, 10_080)] = 0.0


@dataclass(frozen=True)
class EnterBodyMass:
    """For the label's limit. Answered by DyeOfCase."""

    case: CaseCode
    body_mass_kg: Annotated[float, Within(1, 400)]


@dataclass(frozen=True)
class UndoDye:
    """Take an entry back by a further one. Answered by DyeOfCase."""

    case: CaseCode
    line: Annotated[int, Within(1, 1_000_000)]


@dataclass(frozen=True)
class UndoMark:
    """Take an injection back that a recording marks ``at`` (as DyeGiven says it): no dye went in. Answered by DyeOfCase."""

    case: CaseCode
    at: Annotated[str, Length(1, 40)]


REQUESTS = (
    ListCases,
    OpenCase,
    ChangeCase,
    RemoveRecording,
    RestoreRecording,
    ListRemoved,
    ForgetRemoved,
    GetDye,
    EnterDose,
    EnterBodyMass,
    UndoDye,
    UndoMark,
)


# ---- answers ------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class CaseSummary:
    """One case: how many recordings, when the first and the last began ("" where nobody knows), and what they take."""

    case: str
    recordings: int
    first_at: str
    last_at: str
    size_mb: float


@dataclass(frozen=True)
class Cases:
    """``total`` counts all that match; ``next`` is "" at the end; ``unread`` recordings are still being looked through."""

    cases: tuple[CaseSummary, ...] = ()
    total: int = 0
    next: str = ""
    unread: int = 0


@dataclass(frozen=True)
class Kept:
    """A recording is in the list under this name."""

    recording: str


@dataclass(frozen=True)
class RemovedRecording:
    """One that can be put back by ``removed``; ``removed_at`` is UTC in ISO 8601."""

    removed: str
    recording: str
    removed_at: str
    size_mb: float


@dataclass(frozen=True)
class RemovedRecordings:
    """The newest removed first. The longest removed is deleted for good while less than ``until_free_mb`` are free."""

    removed: tuple[RemovedRecording, ...] = ()
    until_free_mb: float = 0.0
    free_mb: float = 0.0


@dataclass(frozen=True)
class DyeGiven:
    """One injection. ``line`` is its number in the record, None where a recording tells of it (``source`` names either)."""

    at: str
    since_min: float
    dose_mg: float | None
    volume_ml: float | None
    left_least_percent: float
    left_most_percent: float
    source: str
    line: int | None


@dataclass(frozen=True)
class DyeOfCase:
    """All dye of a case beside the label's limit. ``body_mass_line`` is the entry that ``UndoDye`` takes back."""

    case: str
    given_mg: float
    volume_ml: float
    concentration_mg_per_ml: float
    body_mass_kg: float | None
    body_mass_line: int | None
    limit_mg_per_kg: float
    limit_mg: float | None
    left_least_mg: float
    left_most_mg: float
    half_life_least_min: float
    half_life_most_min: float
    without_dose: int
    injections: tuple[DyeGiven, ...] = field(default=())
    warnings: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


ANSWERS = (Cases, Kept, RemovedRecordings, DyeOfCase, RemovedRecording)
