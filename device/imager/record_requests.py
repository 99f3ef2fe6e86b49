"""What may be asked of the imager about kept recordings, their cases, and the dye record."""

import logging
import sys
import threading
from collections.abc import Callable, Mapping
from contextlib import suppress
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from device.case_change import change_case
from device.dye_log import DyeLog
from device.dye_of_case import dye_of_case
from device.imager.child_work import ChildWork
from device.recorder import Recorder, free_bytes, utc_now
from device.recording_index import RecordingIndex, Wanted
from device.recording_list import running_summary
from device.removed_recordings import RemovedRecordings
from shared.errors import Refused
from shared.protocol import control as c
from shared.protocol import records as r
from shared.settings import RecordingSettings

_log = logging.getLogger(__name__)

SPARE_TIMES = 4.0
"""Removed recordings go for good while less is free than this many times what the recorder must have (our choice, no source)."""


class RecordRequests:
    """Answers from several threads at once. ``in_use`` says by whom a recording is used just now, "" by nobody."""

    def __init__(
        self,
        recorder: Recorder,
        settings: RecordingSettings,
        in_use: Callable[[str], str],
        *,
        free: Callable[[Path], int] = free_bytes,
        wall: Callable[[], datetime] = utc_now,
    ) -> None:
        self._folder = settings.directory
        self._recorder, self._in_use, self._free, self._wall = recorder, in_use, free, wall
        self._index = RecordingIndex(self._folder)
        self._reading: ChildWork[None] = ChildWork("looking through recordings", lambda _job, _end: None)
        self._removed = RemovedRecordings(self._folder, SPARE_TIMES * settings.least_free_mb * 1e6, free)
        self.unreadable: tuple[str, ...] = ()
        self.trouble = ""
        """Why room could not be made; empty otherwise."""
        self._lock = threading.Lock()
        self._sweeping: threading.Thread | None = None

    def acts(self) -> Mapping[type, Callable[[Any], object]]:
        """What answers which request."""
        return {
            c.ListRecordings: self._list,
            r.ListCases: self._cases,
            r.ChangeCase: self._change_case,
            r.RemoveRecording: self._remove,
            r.RestoreRecording: self._restore,
            r.ListRemoved: lambda _: self._all_removed(),
            r.ForgetRemoved: self._forget,
            r.GetDye: lambda asked: self._dye(asked.case),
            r.EnterDose: self._enter_dose,
            r.EnterBodyMass: self._enter_body_mass,
            r.UndoDye: self._undo_dye,
            r.UndoMark: self._undo_mark,
        }

    def close(self) -> None:
        """End what looks through recordings, and wait for what makes room."""
        self._reading.close()
        if self._sweeping is not None:
            self._sweeping.join()

    # ---- the list -----------------------------------------------------------------------------------------------------

    def _fresh(self) -> int:
        """Bring the index up to date; returns how many recordings are still unread, by a process of their own."""
        if not self._folder.is_dir():
            self._folder.mkdir(parents=True, exist_ok=True)
        unread = self._index.refresh(running=self._recorder.state().name)
        if unread:
            with suppress(Refused):  # one is at it already
                self._reading.start([sys.executable, "-m", "device.recording_index", str(self._folder)], lambda _: None)
        self.unreadable = self._index.problems()
        return unread

    def _list(self, asked: c.ListRecordings) -> c.Recordings:
        unread = self._fresh()
        page = self._index.page(Wanted(asked.case, asked.text, asked.from_at, asked.until_at), asked.after, asked.limit)
        now = None if asked.after else self._running_as(asked)
        lines = page.lines if now is None else (now, *page.lines)
        return c.Recordings(lines, page.total + (now is not None), page.next, unread)

    def _running_as(self, asked: c.ListRecordings) -> c.RecordingSummary | None:
        """The recording that runs, where it is asked for."""
        state = self._recorder.state()
        if state.name is None:
            return None
        found = running_summary(self._folder / f"{state.name}.zarr", state)
        fits = asked.case in (None, found.case) and asked.text.lower() in f"{found.case} {found.name}".lower()
        early = asked.until_at and not found.started_at < asked.until_at
        return found if fits and found.started_at >= asked.from_at and not early else None

    def _cases(self, asked: r.ListCases) -> r.Cases:
        unread = self._fresh()
        found, total, behind = self._index.cases(asked.text, asked.after, asked.limit)
        return r.Cases(found, total, behind, unread)

    # ---- what is done to one ------------------------------------------------------------------------------------------

    def _require_at_rest(self, name: str) -> None:
        if name == self._recorder.state().name:
            raise Refused("it is being recorded", name, "stop the recording, and wait until it is written")
        user = self._in_use(name)
        if user:
            raise Refused(f"{user} uses this recording", name, "wait until that is over, or stop it")

    def _change_case(self, asked: r.ChangeCase) -> r.Kept:
        self._require_at_rest(asked.recording)
        return r.Kept(change_case(self._folder, asked.recording, asked.case, self._wall()))

    def _remove(self, asked: r.RemoveRecording) -> r.RemovedRecording:
        self._require_at_rest(asked.recording)
        removed = self._removed.remove(asked.recording, self._wall())
        self.make_room()
        return removed

    def _restore(self, asked: r.RestoreRecording) -> r.Kept:
        return r.Kept(self._removed.restore(asked.removed))

    def _forget(self, _: r.ForgetRemoved) -> r.RemovedRecordings:
        self._removed.forget()
        return self._all_removed()

    def _all_removed(self) -> r.RemovedRecordings:
        self.make_room()
        free_mb = round(self._free(self._folder) / 1e6, 1)
        return r.RemovedRecordings(self._removed.all(), self._removed.until_free_bytes / 1e6, free_mb)

    def make_room(self) -> None:
        """Where room is short, what was removed goes for good, in a thread of its own: it takes its time, and a frame has none."""
        with self._lock:
            if (self._sweeping is None or not self._sweeping.is_alive()) and self._removed.is_short():
                self._sweeping = threading.Thread(target=self._make_room, name="making room", daemon=True)
                self._sweeping.start()

    def _make_room(self) -> None:
        try:
            self._removed.make_room()
        except Refused as refused:
            _log.error("%s", refused.line)
            self.trouble = refused.line

    # ---- dye ----------------------------------------------------------------------------------------------------------

    @property
    def _log(self) -> DyeLog:
        return DyeLog(self._folder, self._index.of_case)

    def _dye(self, case: str) -> r.DyeOfCase:
        unread = self._fresh()
        return dye_of_case(self._log.read(case), self._wall(), unread)

    def _enter_dose(self, asked: r.EnterDose) -> r.DyeOfCase:
        now = self._wall()
        self._log.give(asked.case, asked.dose_mg, now - timedelta(minutes=asked.minutes_ago), now)
        return self._dye(asked.case)

    def _enter_body_mass(self, asked: r.EnterBodyMass) -> r.DyeOfCase:
        self._log.weigh(asked.case, asked.body_mass_kg, self._wall())
        return self._dye(asked.case)

    def _undo_dye(self, asked: r.UndoDye) -> r.DyeOfCase:
        self._log.undo(asked.case, asked.line, self._wall())
        return self._dye(asked.case)

    def _undo_mark(self, asked: r.UndoMark) -> r.DyeOfCase:
        self._log.undo_mark(asked.case, asked.at, self._wall())
        return self._dye(asked.case)
