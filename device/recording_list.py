"""The recordings of a folder, newest first."""

import os
from pathlib import Path

from shared.errors import Refused
from shared.protocol.control import RecordingState, RecordingSummary
from shared.recording import Recording
from shared.recording.planes import read_document


def summaries(folder: Path) -> tuple[tuple[RecordingSummary, ...], tuple[str, ...]]:
    """Each recording in ``folder``, and one line for each that cannot be opened."""
    found: list[RecordingSummary] = []
    problems: list[str] = []
    for path in sorted(folder.glob("*.zarr"), reverse=True):
        try:
            with Recording.open(path, planes=False) as recording:
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


def running_summary(path: Path, state: RecordingState) -> RecordingSummary:
    """One line about the recording that runs in ``path``, by what the recorder says of it: its files change all the time."""
    started_at = case = ""
    size_bytes = 0
    try:
        about = read_document(path / "zarr.json").get("attributes", {}).get("tapetum", {})
        started_at, case = str(about.get("started_at", "")), str(about.get("case", ""))
        size_bytes = sum((Path(inside) / name).stat().st_size for inside, _, names in os.walk(path) for name in names)
    except (Refused, OSError):
        pass  # it began just now, or ended: the next look sees it whole
    return RecordingSummary(
        path.stem, started_at, case, state.seconds, state.frames, state.gaps, round(size_bytes / 1e6, 3), complete=False
    )
