"""What is asked of the imager about a recording that is looked at again: marks, late notes, an analysis."""

import threading
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from device.imager.analyses import Analyses
from shared.errors import Refused
from shared.protocol import review as r
from shared.recording import Recording
from shared.recording.afterwards import (
    LateNote,
    Marks,
    add_late_note,
    read_late_notes,
    undo_late_note,
    write_marks,
)
from shared.recording.names import checked_name
from shared.region import Region


def _utc_now() -> str:
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


class ReviewDesk:
    """Answers from several threads at once. ``running`` names the recording that is being written, None without one."""

    def __init__(
        self,
        recordings: Path,
        running: Callable[[], str | None],
        analyses: Analyses | None = None,
        now: Callable[[], str] = _utc_now,
    ) -> None:
        self._recordings, self._running, self._now = recordings, running, now
        self._analyses = analyses or Analyses()
        self._lock = threading.Lock()
        self.acts: Mapping[type, Callable[[Any], object]] = {
            r.KeepMarks: self._keep_marks,
            r.DropMarks: self._drop_marks,
            r.AddLateNote: self._add_note,
            r.UndoLateNote: self._undo_note,
            r.StartAnalysis: self._start_analysis,
            r.StopAnalysis: lambda _: self._analyses.stop(),
        }

    @property
    def analysis(self) -> r.AnalysisJob | None:
        """How the newest analysis goes, or went."""
        return self._analyses.newest

    def user_of(self, recording: str) -> str:
        """Who uses that recording, "" nobody."""
        return self._analyses.user_of(recording)

    def close(self) -> None:
        """End a running analysis."""
        self._analyses.close()

    def _keep_marks(self, asked: r.KeepMarks) -> r.ReviewKept:
        path = self._path(asked.recording)
        chosen = (*((asked.reference,) if asked.reference is not None else ()), *asked.regions)
        with Recording.open(path, planes=False) as recording:
            for one in chosen:
                Region.parse(one.region).indices(recording.camera.shape)
                if one.seen_at_s > recording.duration_s:
                    raise Refused("later than the recording ends", one.seen_at_s, "choose a moment within it")
        names = [Region.parse(one.region).name for one in chosen]
        for name in names:
            if names.count(name) > 1:
                raise Refused("two regions have the same name", name, "name them apart")
        with self._lock:
            write_marks(path, Marks(asked.reference, asked.regions))
        return self._kept(path)

    def _drop_marks(self, asked: r.DropMarks) -> r.ReviewKept:
        path = self._path(asked.recording)
        with self._lock:
            write_marks(path, None)
        return self._kept(path)

    def _add_note(self, asked: r.AddLateNote) -> r.ReviewKept:
        path = self._path(asked.recording)
        with Recording.open(path, planes=False) as recording:
            if asked.at_s > recording.duration_s:
                raise Refused("later than the recording ends", asked.at_s, "choose a moment within it")
        with self._lock:
            add_late_note(path, LateNote(round(asked.at_s, 3), asked.text, self._now()))
        return self._kept(path)

    def _undo_note(self, asked: r.UndoLateNote) -> r.ReviewKept:
        path = self._path(asked.recording)
        with self._lock:
            undo_late_note(path)
        return self._kept(path)

    def _start_analysis(self, asked: r.StartAnalysis) -> r.AnalysisJob:
        return self._analyses.start(self._path(asked.recording), maps=asked.maps, follow_motion=asked.follow_motion)

    def _path(self, name: str) -> Path:
        path = self._recordings / f"{checked_name(name)}.zarr"
        if path.is_symlink() or not path.is_dir():
            raise Refused("no such recording", name, "choose one from the list")
        if name == self._running():
            raise Refused("this recording is still running", name, "stop it first")
        return path

    def _kept(self, path: Path) -> r.ReviewKept:
        return r.ReviewKept(path.stem, len(read_late_notes(path)))
