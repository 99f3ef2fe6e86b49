"""What page and command line ask of the imager about a recording that is looked at again. Standard library only."""

from dataclasses import dataclass
from typing import Annotated

from shared.bounded import Length, Within

RecordingName = Annotated[str, Length(1, 120)]
RegionText = Annotated[str, Length(1, 2000)]
Seconds = Annotated[float, Within(0, 1e6)]


@dataclass(frozen=True)
class ReviewRegion:
    """A region, as on the command line, where the picture showed it ``seen_at_s`` after the first frame."""

    region: RegionText
    seen_at_s: Seconds = 0.0


# ---- requests -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class KeepMarks:
    """Keep reference and regions of a review beside the recording, in place of those before. Answered by ReviewKept."""

    recording: RecordingName
    reference: ReviewRegion | None
    regions: Annotated[tuple[ReviewRegion, ...], Length(0, 12)]


@dataclass(frozen=True)
class DropMarks:
    """Go back to what was marked while recording. Answered by ReviewKept."""

    recording: RecordingName


@dataclass(frozen=True)
class AddLateNote:
    """Words about a moment of a recording, kept beside it as said afterwards. Answered by ReviewKept."""

    recording: RecordingName
    at_s: Seconds
    text: Annotated[str, Length(1, 2000)]


@dataclass(frozen=True)
class UndoLateNote:
    """Take the last note said afterwards back. Answered by ReviewKept."""

    recording: RecordingName


@dataclass(frozen=True)
class StartAnalysis:
    """Curves and figures of a recording with the marks of its review, kept beside it; with ``maps`` also maps of the inflow.

    How far it is stands in the state. Answered by AnalysisJob.
    """

    recording: RecordingName
    maps: bool = False
    follow_motion: bool = True


@dataclass(frozen=True)
class StopAnalysis:
    """End the analysis that runs; what was kept before stays. Answered by the state."""


REQUESTS = (KeepMarks, DropMarks, AddLateNote, UndoLateNote, StartAnalysis, StopAnalysis)


# ---- answers ------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class ReviewKept:
    """Kept beside that recording; ``notes`` counts those said afterwards."""

    recording: str
    notes: int


@dataclass(frozen=True)
class AnalysisJob:
    """The newest analysis. ``done`` from 0 to 1; ``error`` is empty unless it failed, ``stopped`` says that somebody stopped it."""

    number: int
    recording: str
    maps: bool
    done: float = 0.0
    finished: bool = False
    stopped: bool = False
    error: str = ""


ANSWERS = (ReviewKept, AnalysisJob)
