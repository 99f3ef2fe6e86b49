"""A ring for rehearsal: enable, PWM and the hardware dead-man as they act together, written to a small shared file.

The file holds the last changes of the light and the newest heartbeat, twice: two slots, each ``serial, heartbeat_ns, count,
changes, CRC-32``. The one writer fills the older slot and never touches the newer one, so a writer killed half way leaves
a whole record behind; a reader takes the slot with the higher serial among those whose CRC is right. That needs neither locks
nor memory barriers: bytes that arrive late, early or half make a wrong CRC, never a wrong level.

Like the real ring, this one is dark once its heartbeat is older than the dead-man's drop-out, whether the guard lives or not.
"""

import mmap
import os
import struct
import zlib
from collections import deque
from dataclasses import dataclass
from pathlib import Path

from device.light.pwm import Pulses
from shared.clock import Clock

RING_NAME = "simulated_ring"
"""The ring's record in the run folder."""

DROP_OUT_NS = 250_000_000
"""Longest drop-out of the hardware dead-man, worst-case parts."""

_MAGIC = b"tpr1"
_CHANGES = 64
_HEAD = struct.Struct("<4xIQqq")  # count, serial, heartbeat_ns, spare
_CHANGE = struct.Struct("<qd")
_SLOT_BYTES = 4 + _HEAD.size + _CHANGES * _CHANGE.size
_FILE_BYTES = 2 * _SLOT_BYTES


@dataclass(frozen=True)
class Change:
    """From ``at_ns`` on the ring had duty ``level``."""

    at_ns: int
    level: float


@dataclass(frozen=True)
class RingRecord:
    """What the ring did lately, oldest change first. Before the first change it counts as dark."""

    serial: int
    heartbeat_ns: int
    changes: tuple[Change, ...]

    def level_at(self, time_ns: int) -> float:
        """Duty in force at one moment."""
        level = 0.0
        for change in self.changes:
            if change.at_ns > time_ns:
                break
            level = change.level
        return level if time_ns < self.heartbeat_ns + DROP_OUT_NS else 0.0

    def mean_level(self, start_ns: int, end_ns: int) -> float:
        """Exact mean duty between two moments; the duty in force where they coincide."""
        if end_ns <= start_ns:
            return self.level_at(start_ns)
        alive_until_ns = min(end_ns, self.heartbeat_ns + DROP_OUT_NS)
        total = 0.0
        for number, change in enumerate(self.changes):
            last = number + 1 == len(self.changes)
            until_ns = alive_until_ns if last else min(self.changes[number + 1].at_ns, alive_until_ns)
            total += change.level * max(0, until_ns - max(change.at_ns, start_ns))
        return total / (end_ns - start_ns)


class SimulatedRing:
    """PwmOutput that lights the record while enable is high and the heartbeat is young. The one writer of its file."""

    def __init__(self, path: Path, clock: Clock) -> None:
        self._clock = clock
        # The file of a writer that died is taken over, not replaced, so that readers keep theirs.
        fd = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o660)
        try:
            os.ftruncate(fd, _FILE_BYTES)
            self._file = mmap.mmap(fd, _FILE_BYTES)
        finally:
            os.close(fd)
        old = _newest(self._file)
        self._serial = old.serial if old else 0
        self._heartbeat_ns = old.heartbeat_ns if old else -DROP_OUT_NS
        self._changes = deque(old.changes if old else (), maxlen=_CHANGES)
        self._duty = 0.0
        self._enabled = False
        self._closed = False
        self._update()

    def set(self, period_ns: int, duty_ns: int) -> Pulses:
        """Pulse, exactly as asked."""
        self._duty = duty_ns / period_ns
        self._update()
        return Pulses(period_ns, duty_ns)

    def off(self) -> None:
        """No pulses."""
        self._duty = 0.0
        self._update()

    def close(self) -> None:
        """Dark, and the file let go; may be called twice."""
        if self._closed:
            return
        self.off()
        self._closed = True
        self._file.close()

    def enable(self, high: bool) -> None:
        """The enable pin changed."""
        self._enabled = high
        self._update()

    def beat(self) -> None:
        """The heartbeat pin gave an edge."""
        self._update(edge=True)

    def _update(self, edge: bool = False) -> None:
        if self._closed:
            return
        now_ns = self._clock.now_ns()
        self._note_drop_out(now_ns)
        if edge:
            self._heartbeat_ns = now_ns
        alive = now_ns < self._heartbeat_ns + DROP_OUT_NS
        self._note(now_ns, self._duty if self._enabled and alive else 0.0)
        self._publish()

    def _note_drop_out(self, now_ns: int) -> None:
        dropped_ns = self._heartbeat_ns + DROP_OUT_NS
        if dropped_ns <= now_ns and self._changes:
            self._note(max(dropped_ns, self._changes[-1].at_ns), 0.0)

    def _note(self, at_ns: int, level: float) -> None:
        before = self._changes[-1].level if self._changes else 0.0
        if level != before:
            self._changes.append(Change(at_ns, level))

    def _publish(self) -> None:
        self._serial += 1
        body = bytearray(_SLOT_BYTES - 4)
        _HEAD.pack_into(body, 0, len(self._changes), self._serial, self._heartbeat_ns, 0)
        body[0:4] = _MAGIC
        for number, change in enumerate(self._changes):
            _CHANGE.pack_into(body, _HEAD.size + number * _CHANGE.size, change.at_ns, change.level)
        start = (self._serial % 2) * _SLOT_BYTES
        self._file[start : start + _SLOT_BYTES] = bytes(body) + zlib.crc32(body).to_bytes(4, "little")


class SimulatedRingReader:
    """What the simulated camera sees of the ring (the camera's ``LightSeen``). Dark while there is no ring."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._file: mmap.mmap | None = None

    def record(self) -> RingRecord | None:
        """The newest whole record; None while no ring was ever there."""
        if self._file is None and not self._open():
            return None
        assert self._file is not None
        return _newest(self._file)

    def over(self, start_ns: int, end_ns: int) -> float:
        """Exact mean duty, 0 to 1, between two moments (``end_ns`` not in the future)."""
        record = self.record()
        return record.mean_level(start_ns, end_ns) if record else 0.0

    def close(self) -> None:
        """Let the file go; may be called twice."""
        if self._file is not None:
            self._file.close()
            self._file = None

    def _open(self) -> bool:
        try:
            with self._path.open("rb") as file:
                if os.fstat(file.fileno()).st_size != _FILE_BYTES:
                    return False
                self._file = mmap.mmap(file.fileno(), _FILE_BYTES, prot=mmap.PROT_READ)
        except FileNotFoundError:
            return False
        return True


def _newest(file: mmap.mmap) -> RingRecord | None:
    # Both slots wrong at once: the writer lapped us twice within one copy. It cannot do so for long; an empty file stays empty.
    for _attempt in range(8):
        slots = [found for slot in (0, 1) if (found := _slot(file, slot)) is not None]
        if slots:
            return max(slots, key=lambda record: record.serial)
    return None


def _slot(file: mmap.mmap, slot: int) -> RingRecord | None:
    raw = file[slot * _SLOT_BYTES : (slot + 1) * _SLOT_BYTES]
    body = raw[:-4]
    if body[:4] != _MAGIC or zlib.crc32(body) != int.from_bytes(raw[-4:], "little"):
        return None
    count, serial, heartbeat_ns, _spare = _HEAD.unpack_from(body)
    changes = tuple(Change(*pair) for pair in _CHANGE.iter_unpack(body[_HEAD.size : _HEAD.size + count * _CHANGE.size]))
    return RingRecord(serial, heartbeat_ns, changes)
