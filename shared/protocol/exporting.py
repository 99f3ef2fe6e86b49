"""What page and command line ask of the imager about files for other software. Standard library only."""

from dataclasses import dataclass
from typing import Annotated, Literal

from shared.bounded import Length
from shared.protocol.languages import Language

ExportFormat = Literal["csv", "tiff", "mp4", "png", "maps"]
Formats = Annotated[tuple[ExportFormat, ...], Length(1, 5)]
Names = Annotated[tuple[Annotated[str, Length(1, 120)], ...], Length(1, 100)]

FILES_TOLD = 40


@dataclass(frozen=True)
class StartExport:
    """Write a recording for other software, and those that come ``after_it``, one after the other.

    ``target`` is a folder; None: the first mounted removable drive. ``language`` is that of legends, captions and cautions.
    Answered by ExportJob.
    """

    recording: Annotated[str, Length(1, 120)]
    formats: Formats
    target: Annotated[str, Length(1, 1000)] | None = None
    after_it: Annotated[tuple[Annotated[str, Length(1, 120)], ...], Length(0, 99)] = ()
    language: Language = "en"


@dataclass(frozen=True)
class StopExport:
    """End the export that runs; recordings that were written whole by then stay. Answered by the state."""


@dataclass(frozen=True)
class EstimateExport:
    """Answered by ExportEstimate."""

    recordings: Names


REQUESTS = (StartExport, StopExport, EstimateExport)


@dataclass(frozen=True)
class ExportJob:
    """``done`` from 0 to 1. ``error`` is empty unless it failed; ``files`` names the first of ``file_count`` when it is over.

    ``recording`` is the one being written, or the last; ``recordings`` are all of this job, and ``folders`` those that are written
    whole, read back from the drive and compared. ``failed`` has one line for each that could not be. ``settled`` says that the file
    system holds nothing back any more: the drive can be pulled out.
    """

    number: int
    recording: str
    target: str
    done: float
    finished: bool
    error: str = ""
    files: tuple[str, ...] = ()
    recordings: tuple[str, ...] = ()
    formats: tuple[str, ...] = ()
    folders: tuple[str, ...] = ()
    failed: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    file_count: int = 0
    size_mb: float = 0.0
    stopped: bool = False
    settled: bool = False


@dataclass(frozen=True)
class ExportDrive:
    """A removable drive. ``free_mb`` is None where it no longer answers: pulled out without the system knowing."""

    path: str
    filesystem: str
    read_only: bool
    free_mb: float | None


@dataclass(frozen=True)
class FormatSize:
    """About how much one format of all recordings asked for takes."""

    format: ExportFormat
    size_mb: float


@dataclass(frozen=True)
class ExportEstimate:
    """Sizes, and the drives there are now. ``missing`` names recordings that are not there, or are being recorded."""

    sizes: tuple[FormatSize, ...] = ()
    drives: tuple[ExportDrive, ...] = ()
    missing: tuple[str, ...] = ()


ANSWERS = (ExportJob, ExportEstimate)
