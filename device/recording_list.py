"""The recordings of a folder, newest first."""

from pathlib import Path

from shared.errors import Refused
from shared.protocol.control import RecordingSummary
from shared.recording import Recording


def summaries(folder: Path) -> tuple[tuple[RecordingSummary, ...], tuple[str, ...]]:
    """Each recording in ``folder``, and one line for each that cannot be opened."""
    found: list[RecordingSummary] = []
    problems: list[str] = []
    for path in sorted(folder.glob("*.zarr"), reverse=True):
        try:
            with Recording.open(path) as recording:
                found.append(summary(recording))
        except Refused as error:
            problems.append(error.line)
    return tuple(sorted(found, key=lambda one: (one.started_at, one.name), reverse=True)), tuple(problems)


def summary(recording: Recording) -> RecordingSummary:
    """One line about a recording."""
    return RecordingSummary(
        name=recording.name,
        started_at=recording.started_at,
        case=recording.case,
        seconds=round(recording.duration_s, 3),
        frames=recording.frames,
        gaps=recording.gaps,
        size_mb=round(recording.size_bytes / 1e6, 3),
        complete=recording.complete,
    )
