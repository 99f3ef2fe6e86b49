"""One recording from its first frame to the last byte on the disk.

Three threads meet here: the imager's loop, which offers frames and never waits; a writer, which compresses and appends; and a
flusher, which about once a second makes what was appended durable, so that a slow card holds up neither of the others.
"""

import errno
import logging
import threading
from collections import deque
from collections.abc import Callable, Sequence
from contextlib import suppress
from queue import Empty, SimpleQueue

from shared.clock import Clock
from shared.frame import Frame
from shared.recording import Event
from shared.recording.packing import FrameRoom
from shared.recording.table import FrameRow
from shared.recording.writer import RecordingWriter
from shared.settings import RecordingSettings

SYNC_INTERVAL_NS = 1_000_000_000
FREE_INTERVAL_NS = 250_000_000
_IDLE_S = 1.0
_FULL = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})
_MOST_EVENTS_WAITING = 1000
_LOG = logging.getLogger(__name__)


class RecordingRun:
    """Starts at once; ``make`` opens the writer, in the writer's thread, and ``ring`` holds the rooms that take frames in. Some of
    them may hold frames of ``before`` already, which come first.

    ``ended_because`` says why a recording ended by itself, ``failure`` keeps the exception where that was not for lack of room.
    """

    def __init__(
        self,
        name: str,
        make: Callable[[], RecordingWriter],
        ring: Sequence[FrameRoom],
        settings: RecordingSettings,
        clock: Clock,
        free: Callable[[], int],
        before: Sequence[tuple[FrameRoom, FrameRow]] = (),
    ) -> None:
        self.name = name
        self.kept = len(before)
        self.written = 0
        self.gaps = 0
        self.ended_because = ""
        self.failure: BaseException | None = None
        self.accepting = True
        self._make = make
        self._settings = settings
        self._clock = clock
        self._free_bytes = free
        self._size = len(ring)
        self._free = deque(room for room in ring if not any(room is taken for taken, _ in before))
        self._filled: deque[tuple[FrameRoom | None, FrameRow | Event]] = deque(before)
        self._turns: SimpleQueue[None] = SimpleQueue()
        """One for each of ``_filled``, and one to stop."""
        for _ in self._filled:
            self._turns.put(None)
        self._done = threading.Event()
        self._reason = "stopped"
        self._refused = 0
        self._refused_at_ns = 0
        self._first_ns = before[0][1].sensor_time_ns if before else None
        self._last_ns = before[-1][1].sensor_time_ns if before else 0
        self._last_sequence = before[-1][1].sequence if before else None
        self._next_sync_ns = self._next_free_ns = clock.now_ns()
        self._sync_wanted = threading.Event()
        self._sync_over = False
        self._sync_error: BaseException | None = None
        self._thread = threading.Thread(target=self._write, name=f"recorder {name}", daemon=True)
        self._thread.start()

    # ---- the imager's side ------------------------------------------------------------------------------------------

    def offer(self, frame: Frame) -> bool:
        """Take ``frame`` into a free room of the ring; a loss is counted and becomes a gap event. Returns whether it was kept."""
        if not self.accepting:
            return False
        self._note_lost_before(frame)
        if self._first_ns is None:
            self._first_ns = frame.sensor_time_ns
        if frame.sensor_time_ns - self._first_ns > self._settings.longest_minutes * 60e9:
            self._end(f"it reached recording.longest_minutes, {self._settings.longest_minutes:g}")
            return False
        self._last_ns = frame.sensor_time_ns
        try:
            room = self._free.pop()  # the one used last: still in the processor's cache
        except IndexError:
            self.gaps += 1
            self._refused += 1
            self._refused_at_ns = self._refused_at_ns if self._refused > 1 else frame.sensor_time_ns
            return False
        self._note_refused()
        room.take(frame.pixels)
        self.kept += 1
        self._put(room, FrameRow.of(frame))
        return True

    def event(self, event: Event) -> bool:
        """Keep an event in its place between the frames; returns whether it was kept."""
        if not self.accepting or len(self._filled) > _MOST_EVENTS_WAITING:
            return False
        self._put(None, event)
        return True

    def stop(self) -> None:
        """Take no further frames and finish what waits; returns at once."""
        self.accepting = False
        self._turns.put(None)

    @property
    def finished(self) -> bool:
        """Whether everything is on the disk and the files are closed."""
        return self._done.is_set()

    @property
    def frames(self) -> int:
        """Frames kept: written or, while the recording runs, waiting in the ring."""
        return self.written if self.finished else self.kept

    @property
    def seconds(self) -> float:
        """From the first frame offered to the last."""
        return 0.0 if self._first_ns is None else (self._last_ns - self._first_ns) / 1e9

    @property
    def queue_fill(self) -> float:
        """Share of the ring that waits to be written, 0 to 1."""
        return 1.0 - len(self._free) / self._size if not self.finished else 0.0

    def wait(self, timeout_s: float) -> bool:
        """Wait until ``finished``; returns whether it is."""
        return self._done.wait(timeout_s)

    def join(self) -> None:
        """Wait for the writer's thread to end."""
        self._thread.join()

    def _note_lost_before(self, frame: Frame) -> None:
        """What the camera lost: ``sequence`` counts every frame the sensor gave."""
        last, self._last_sequence = self._last_sequence, frame.sequence
        if last is not None and frame.sequence - last > 1:
            lost = frame.sequence - last - 1
            self.gaps += lost
            self._put(None, Event("gap", frame.sensor_time_ns, {"frames": lost, "cause": "lost by the camera"}))

    def _note_refused(self) -> None:
        if self._refused:
            fields = {"frames": self._refused, "cause": "recorder too slow"}
            self._refused = 0
            self._put(None, Event("gap", self._refused_at_ns, fields))

    def _put(self, room: FrameRoom | None, item: FrameRow | Event) -> None:
        self._filled.append((room, item))
        self._turns.put(None)

    def _end(self, because: str) -> None:
        self.accepting = False
        if not self.ended_because:
            self.ended_because = self._reason = because

    # ---- the writer's thread ----------------------------------------------------------------------------------------

    def _write(self) -> None:
        writer: RecordingWriter | None = None
        try:
            writer = self._make()
            flusher = threading.Thread(target=self._flush, args=(writer,), name="recorder flush", daemon=True)
            flusher.start()
            try:
                self._drain(writer)
            finally:
                self._sync_over = True
                self._sync_wanted.set()
                flusher.join()
        except BaseException as error:  # noqa: BLE001  kept in ``failure`` and shown: nothing above this thread could
            self._fail(error)
        try:
            if writer is not None:
                self._finish(writer)
        except BaseException as error:  # noqa: BLE001  as above
            self._fail(error)
        finally:
            self.accepting = False
            self.gaps += sum(isinstance(item, FrameRow) for _, item in self._filled)
            self._filled.clear()
            self._done.set()

    def _drain(self, writer: RecordingWriter) -> None:
        while True:
            if self._sync_error is not None:
                raise self._sync_error
            self._look_after()
            with suppress(Empty):
                self._turns.get(timeout=_IDLE_S)
            if not self._filled:
                if not self.accepting:
                    return
                continue
            room, item = self._filled[0]
            if isinstance(item, Event):
                writer.event(item.kind, item.time_ns, **item.fields)
            else:
                assert room is not None
                writer.append_taken(item, room)
                self.written += 1
            self._filled.popleft()
            if room is not None:
                self._free.append(room)

    def _look_after(self) -> None:
        now_ns = self._clock.now_ns()
        if now_ns >= self._next_sync_ns:
            self._next_sync_ns = now_ns + SYNC_INTERVAL_NS
            self._sync_wanted.set()
        if self.accepting and now_ns >= self._next_free_ns:
            self._next_free_ns = now_ns + FREE_INTERVAL_NS
            free_mb = self._free_bytes() / 1e6
            if free_mb < self._settings.least_free_mb:
                limit = self._settings.least_free_mb
                self._end(f"the disk is nearly full: {free_mb:.0f} MB free, recording.least_free_mb is {limit}")

    def _finish(self, writer: RecordingWriter) -> None:
        try:
            if self._refused:
                fields = {"frames": self._refused, "cause": "recorder too slow"}
                writer.event("gap", self._refused_at_ns, **fields)
            writer.event("end", self._clock.now_ns(), reason=self._reason)
        finally:
            writer.close(complete=self.failure is None)

    def _fail(self, error: BaseException) -> None:
        if isinstance(error, OSError) and error.errno in _FULL:
            self._end("the disk is full")
            return
        _LOG.error("recording %s failed", self.name, exc_info=error)
        self.failure = self.failure or error
        self._end(f"the recorder failed: {error}")

    # ---- the flusher's thread ---------------------------------------------------------------------------------------

    def _flush(self, writer: RecordingWriter) -> None:
        while True:
            self._sync_wanted.wait()
            self._sync_wanted.clear()
            if self._sync_over:
                return
            try:
                writer.sync()
            except BaseException as error:  # noqa: BLE001  handed to the writer's thread, which ends the recording with it
                self._sync_error = error
                return
