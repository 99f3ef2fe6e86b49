"""The frame bus: newest picture of one writer for any number of readers, in memory that all of them map.

Layout (little-endian): a page with the geometry and the number of the newest publication, then a ring of slots, each a 64-byte
head and the payload (header, then JPEG). The writer fills the slot after the newest one and only then moves the number, so a
writer killed at any instruction leaves the last whole picture in place.

A reader takes a slot's head, copies the payload, takes the head again, and then checks a CRC-32C over head and payload. The two
equal heads are a seqlock and find nearly every overtaking writer; the checksum is the proof. Python offers no memory barrier,
and an ARM core may show another core the moved number before the payload it stands for. Such a copy fails its checksum and is
taken again. Cost, measured on x86-64: 6 us for 100 kB with the processor's own CRC instruction (which ARMv8 boards have too),
51 us with zlib's CRC-32; see ``tests/perf/frame_bus.py``.
"""

import fcntl
import logging
import mmap
import os
import select
import socket
import struct
import time
from dataclasses import dataclass
from pathlib import Path
from secrets import token_hex
from types import TracebackType
from typing import Self

import google_crc32c

from shared.errors import Refused
from shared.unix_address import reachable

_log = logging.getLogger(__name__)

_MAGIC = b"tpmbus01"
_GEOMETRY = struct.Struct("<8sIxxxxQ")  # magic, slots, slot_bytes
_NEWEST_AT = 64  # on its own cache line
_NUMBER = struct.Struct("Q")  # native, so that it is written and read in one piece
_PAGE = 4096
_HEAD = struct.Struct("<QqqII")  # publication (0 while being filled), sequence, published_ns, header bytes, JPEG bytes
_CHECK = struct.Struct("<I")
_HEAD_ROOM = 64
_TRIES = 64


@dataclass(frozen=True, slots=True)
class BusPicture:
    """One publication: ``header`` is JSON as the writer gave it, ``published_ns`` on CLOCK_MONOTONIC."""

    publication: int
    sequence: int
    published_ns: int
    header: bytes
    jpeg: bytes


@dataclass(frozen=True)
class _Geometry:
    slots: int
    slot_bytes: int

    @property
    def stride(self) -> int:
        return -(-(_HEAD_ROOM + self.slot_bytes) // 64) * 64

    @property
    def file_bytes(self) -> int:
        return _PAGE + self.slots * self.stride

    def slot_at(self, publication: int) -> int:
        return _PAGE + publication % self.slots * self.stride


def _geometry_of(memory: mmap.mmap) -> _Geometry | None:
    if len(memory) < _PAGE:
        return None
    magic, slots, slot_bytes = _GEOMETRY.unpack_from(memory, 0)
    geometry = _Geometry(slots, slot_bytes)
    return geometry if magic == _MAGIC and slots > 1 and geometry.file_bytes == len(memory) else None


def _newest(memory: mmap.mmap) -> int:
    return int(_NUMBER.unpack_from(memory, _NEWEST_AT)[0])


def _checksum(head: bytes, header: bytes, jpeg: bytes) -> int:
    return int(google_crc32c.extend(google_crc32c.extend(google_crc32c.value(head), header), jpeg))


def _doorbell_folder(path: Path) -> Path:
    return path.with_name(path.name + ".readers")


class FrameBusWriter:
    """The one writer. A writer that starts again goes on counting where the last one stopped.

    Raises Refused when another process writes to the same bus, or when there is no room for it.
    """

    def __init__(self, path: Path, slot_bytes: int = 4 << 20, slots: int = 4) -> None:
        if slots < 2 or slot_bytes < 1:
            raise Refused("a frame bus needs at least 2 slots of at least 1 byte", (slots, slot_bytes))
        self._path = path
        self._geometry = _Geometry(slots, slot_bytes)
        self._doorbells = _doorbell_folder(path)
        self._doorbells.mkdir(parents=True, exist_ok=True)
        self._lock = _lock_of(path)
        try:
            self._memory = self._mapped()
        except BaseException:
            os.close(self._lock)
            raise
        self._publication = _newest(self._memory)
        self._complained_of: set[Path] = set()
        self._ringer = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK)

    def publish(self, header: bytes, jpeg: bytes | memoryview, *, sequence: int, published_ns: int) -> int:
        """Make a picture the newest and ring every reader; returns its publication number. Never waits.

        Raises Refused for a picture larger than a slot; the picture before it stays the newest.
        """
        picture = jpeg if isinstance(jpeg, bytes) else bytes(jpeg)
        size = len(header) + len(picture)
        if size > self._geometry.slot_bytes:
            limit = self._geometry.slot_bytes
            raise Refused("picture too large for the frame bus", f"{size} bytes", f"its slots hold {limit} bytes")
        memory, publication = self._memory, self._publication + 1
        at = self._geometry.slot_at(publication)
        head = _HEAD.pack(publication, sequence, published_ns, len(header), len(picture))
        _NUMBER.pack_into(memory, at, 0)
        _CHECK.pack_into(memory, at + _HEAD.size, _checksum(head, header, picture))
        body = at + _HEAD_ROOM
        memory[body : body + len(header)] = header
        memory[body + len(header) : body + size] = picture
        memory[at : at + _HEAD.size] = head
        _NUMBER.pack_into(memory, _NEWEST_AT, publication)
        self._publication = publication
        self._ring()
        return publication

    def close(self) -> None:
        """Let go; the last picture stays for readers. May be called twice."""
        if self._lock >= 0:
            self._ringer.close()
            self._memory.close()
            os.close(self._lock)
            self._lock = -1

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _mapped(self) -> mmap.mmap:
        """The file that an earlier writer left if it has the same geometry, else a new one that goes on counting."""
        try:
            with self._path.open("r+b") as file:
                memory = mmap.mmap(file.fileno(), 0)
        except (FileNotFoundError, ValueError):
            return self._created(0)
        found = _geometry_of(memory)
        if found == self._geometry:
            return memory
        newest = _newest(memory) if found else 0
        memory.close()
        return self._created(newest)

    def _created(self, newest: int) -> mmap.mmap:
        """A new file, put in place whole.

        Its numbers go on from ``newest``, or from the milliseconds since boot when that is more: so they are above any that
        readers saw in a file now lost.
        """
        fresh = self._path.with_name(f"{self._path.name}.{os.getpid()}.new")
        try:
            with fresh.open("w+b") as file:
                os.fchmod(file.fileno(), 0o640)
                os.posix_fallocate(file.fileno(), 0, self._geometry.file_bytes)
                memory = mmap.mmap(file.fileno(), self._geometry.file_bytes)
            _GEOMETRY.pack_into(memory, 0, _MAGIC, self._geometry.slots, self._geometry.slot_bytes)
            _NUMBER.pack_into(memory, _NEWEST_AT, max(newest, time.monotonic_ns() // 1_000_000))
            fresh.replace(self._path)
        except OSError as error:
            fresh.unlink(missing_ok=True)
            needed = f"{self._geometry.file_bytes / 1e6:.0f} MB"
            raise Refused(
                f"frame bus cannot be made ({error.strerror})", str(self._path), f"make room for {needed} there"
            ) from None
        return memory

    def _ring(self) -> None:
        """One byte to each reader's doorbell. A full one has rung already; one that nobody holds is taken down."""
        try:
            bells = list(self._doorbells.iterdir())
        except FileNotFoundError:  # somebody emptied the run folder; the next reader makes it again
            return
        for bell in bells:
            try:
                with reachable(bell) as address:
                    self._ringer.sendto(b"\0", address)
            except (BlockingIOError, FileNotFoundError):
                continue
            except ConnectionRefusedError:
                bell.unlink(missing_ok=True)
            except OSError as error:  # a reader's fault must not stop the imaging
                if bell not in self._complained_of:
                    self._complained_of.add(bell)
                    _log.warning("reader %s cannot be rung: %s", bell, error)


def _lock_of(path: Path) -> int:
    lock = os.open(path.with_name(path.name + ".lock"), os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o640)
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        os.close(lock)
        raise Refused(
            "this frame bus has a writer already", str(path), "stop the other imager, or choose another run folder"
        ) from None
    return lock


class FrameBusReader:
    """One of many readers; may start before the writer and outlive it. Not for several threads at once.

    With ``doorbell`` the reader is rung at each publication: wait for ``fileno()`` with select or ``loop.add_reader``, then
    call ``latest``, which silences the bell before it looks, so no ring is lost.
    """

    def __init__(self, path: Path, *, doorbell: bool = True) -> None:
        self._path = path
        self._memory: mmap.mmap | None = None
        self._geometry: _Geometry | None = None
        self._identity: tuple[int, int] | None = None
        self._bell_path = _doorbell_folder(path) / f"{os.getpid()}-{token_hex(4)}"
        self.doorbell: socket.socket | None = self._hung() if doorbell else None

    def fileno(self) -> int:
        """Readable when something was published since the last look."""
        if self.doorbell is None:
            raise ValueError("this reader was made without a doorbell")
        return self.doorbell.fileno()

    def wait(self, timeout_s: float) -> bool:
        """Block until rung; False when nobody rang in time."""
        poll = select.poll()
        poll.register(self.fileno(), select.POLLIN)
        return bool(poll.poll(timeout_s * 1000))

    def latest(self, after_publication: int = -1) -> BusPicture | None:
        """Newest whole picture, or None when there is none newer than ``after_publication``."""
        self._silence()
        if (found := self._look(after_publication)) is None and self._remapped():
            found = self._look(after_publication)
        return found

    def close(self) -> None:
        """Take the doorbell down and let go of the memory. May be called twice."""
        if self.doorbell is not None:
            self.doorbell.close()
            self.doorbell = None
            self._bell_path.unlink(missing_ok=True)
        if self._memory is not None:
            self._memory.close()
            self._memory = self._geometry = self._identity = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _hung(self) -> socket.socket:
        self._bell_path.parent.mkdir(parents=True, exist_ok=True)
        bell = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK)
        try:
            with reachable(self._bell_path) as address:
                bell.bind(address)
            self._bell_path.chmod(0o660)
        except BaseException:
            bell.close()
            raise
        return bell

    def _silence(self) -> None:
        try:
            while self.doorbell is not None:
                self.doorbell.recv(1)
        except BlockingIOError:
            return

    def _remapped(self) -> bool:
        """Whether another file than the mapped one stands at the path now, and was mapped."""
        try:
            with self._path.open("rb") as file:
                status = os.fstat(file.fileno())
                if (status.st_dev, status.st_ino) == self._identity:
                    return False
                memory = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)
        except (FileNotFoundError, ValueError):
            return False
        if (geometry := _geometry_of(memory)) is None:
            memory.close()
            raise Refused("not a frame bus", str(self._path), "remove the file and start the imager again")
        if self._memory is not None:
            self._memory.close()
        self._memory, self._geometry, self._identity = memory, geometry, (status.st_dev, status.st_ino)
        return True

    def _look(self, after_publication: int) -> BusPicture | None:
        """Copy the newest slot until a copy is proven whole; overtaken each time, leave it to the next ring."""
        if self._memory is None or self._geometry is None:
            return None
        for _ in range(_TRIES):
            publication = _newest(self._memory)
            if publication <= after_publication:
                return None
            if (picture := _copied(self._memory, self._geometry, publication)) is not None:
                return picture
        return None


def _copied(memory: mmap.mmap, geometry: _Geometry, publication: int) -> BusPicture | None:
    """The picture of that publication, or None when its slot was being written meanwhile (or never was)."""
    at = geometry.slot_at(publication)
    head = memory[at : at + _HEAD.size]
    found, sequence, published_ns, header_bytes, jpeg_bytes = _HEAD.unpack(head)
    if found != publication or header_bytes + jpeg_bytes > geometry.slot_bytes:
        return None
    (check,) = _CHECK.unpack_from(memory, at + _HEAD.size)
    body = at + _HEAD_ROOM
    header = memory[body : body + header_bytes]
    jpeg = memory[body + header_bytes : body + header_bytes + jpeg_bytes]
    if memory[at : at + _HEAD.size] != head or _checksum(head, header, jpeg) != check:
        return None
    return BusPicture(publication, sequence, published_ns, header, jpeg)
