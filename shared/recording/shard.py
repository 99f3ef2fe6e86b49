"""One shard: a file of up to ``SHARD_FRAMES`` compressed frames that is a valid zarr v3 shard after every write.

The layout is that of the ``sharding_indexed`` codec of the Zarr v3 specification with ``index_location`` "start": first a table of
(offset, length) pairs, little-endian uint64, one a frame, all ones where a frame is missing, closed by its CRC-32C; then the
frames, each a Blosc frame (bitshuffle, LZ4) followed by its own CRC-32C (the ``crc32c`` codec). A frame is appended first and the
table rewritten in place after it, so whoever reads at any moment, even after a kill, finds only whole frames.
"""

import os
import struct
from pathlib import Path
from typing import Self

import google_crc32c
import numpy as np
from numpy.typing import NDArray

from shared.errors import Refused
from shared.frame import Counts
from shared.recording.durable import write_all
from shared.recording.frame_codec import Unpack, unpack_frame

SHARD_FRAMES = 64
INDEX_BYTES = SHARD_FRAMES * 16 + 4
MISSING = 0xFFFF_FFFF_FFFF_FFFF
_CRC = struct.Struct("<I")


class ShardWriter:
    """Appends compressed frames to a new file at ``path``."""

    def __init__(self, path: Path) -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        self.handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o644)
        self._entries = np.full((SHARD_FRAMES, 2), MISSING, "<u8")
        self.count = 0
        self.end = INDEX_BYTES
        try:
            self._write_index()
        except OSError:
            os.close(self.handle)
            raise

    @property
    def full(self) -> bool:
        """Whether no further frame fits."""
        return self.count == SHARD_FRAMES

    def append(self, packed: NDArray[np.uint8]) -> int:
        """Add one frame as ``FrameRoom`` packed it; returns the bytes it took. An OSError leaves the shard as it was."""
        length = write_all(self.handle, (packed.data, _CRC.pack(google_crc32c.value(packed))), self.end)
        self._entries[self.count] = self.end, length
        try:
            self._write_index()
        except OSError:
            self._entries[self.count] = MISSING
            raise
        self.count += 1
        self.end += length
        return length

    def forget(self) -> None:
        """Give back the memory in which the kernel still holds what has been flushed, so that a long recording does not fill it."""
        os.posix_fadvise(self.handle, 0, 0, os.POSIX_FADV_DONTNEED)

    def close(self) -> None:
        """Close the file; may be called twice."""
        if self.handle >= 0:
            os.close(self.handle)
            self.handle = -1

    def _write_index(self) -> None:
        table = self._entries.tobytes()
        write_all(self.handle, (table, _CRC.pack(google_crc32c.value(table))), 0)


class ShardReader:
    """Reads the frames of one shard file of frames of ``shape`` (height, width)."""

    def __init__(self, path: Path, shape: tuple[int, int], unpack: Unpack = unpack_frame) -> None:
        self.path = path
        self._shape, self._unpack = shape, unpack
        self._handle = os.open(path, os.O_RDONLY)
        try:
            self._entries = self._read_index()
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def present(self) -> int:
        """How many frames, from the first one on without a hole, the table names."""
        missing = np.flatnonzero(self._entries[:, 0] == MISSING)
        return int(missing[0]) if missing.size else SHARD_FRAMES

    def frame(self, slot: int) -> Counts:
        """Pixels (height, width) uint16 of frame ``slot``; raises Refused naming file and offset when they are damaged."""
        packed = self.packed(slot)
        try:
            return self._unpack(packed, self._shape)
        except (RuntimeError, ValueError) as error:
            raise self._damaged(slot, str(error)) from None

    def packed(self, slot: int) -> NDArray[np.uint8]:
        """The compressed frame ``slot``, its CRC-32C checked and taken off; raises Refused when it does not agree."""
        offset, length = (int(number) for number in self._entries[slot])
        if offset == MISSING:
            raise Refused(f"{self.path}: frame {slot} of this shard is missing", remedy=_REMEDY)
        if not 4 < length < 1 << 40 or offset < INDEX_BYTES:
            raise self._damaged(slot, f"{length} bytes at {offset} cannot be")
        stored = os.pread(self._handle, length, offset)
        if len(stored) < length:
            raise self._damaged(slot, "the file ends inside it")
        packed = np.frombuffer(stored, np.uint8)[:-4]
        if google_crc32c.value(packed) != _CRC.unpack(stored[-4:])[0]:
            raise self._damaged(slot, "its checksum does not agree")
        return packed

    def whole(self, slot: int) -> bool:
        """Whether frame ``slot`` is there and its checksum agrees."""
        try:
            self.packed(slot)
        except Refused:
            return False
        return True

    def close(self) -> None:
        """Close the file; may be called twice."""
        if self._handle >= 0:
            os.close(self._handle)
            self._handle = -1

    def _damaged(self, slot: int, how: str) -> Refused:
        offset = int(self._entries[slot, 0])
        return Refused(f"{self.path}: frame {slot} of this shard, at byte {offset}, is damaged: {how}", remedy=_REMEDY)

    def _read_index(self) -> NDArray[np.uint64]:
        stored = os.pread(self._handle, INDEX_BYTES, 0)
        if len(stored) == INDEX_BYTES and google_crc32c.value(stored[:-4]) == _CRC.unpack(stored[-4:])[0]:
            return np.frombuffer(stored[:-4], "<u8").reshape(SHARD_FRAMES, 2)
        return self._walked()

    def _walked(self) -> NDArray[np.uint64]:
        """Table rebuilt from the frames themselves, whose Blosc headers tell their length, where power was cut on the table."""
        entries = np.full((SHARD_FRAMES, 2), MISSING, "<u8")
        offset = INDEX_BYTES
        for slot in range(SHARD_FRAMES):
            header = os.pread(self._handle, 16, offset)
            if len(header) < 16:
                break
            length = struct.unpack_from("<I", header, 12)[0] + 4
            stored = os.pread(self._handle, length, offset)
            if length < 20 or len(stored) < length or google_crc32c.value(stored[:-4]) != _CRC.unpack(stored[-4:])[0]:
                break
            entries[slot] = offset, length
            offset += length
        return entries


_REMEDY = "copy the recording again from where it was made; frames before this one can still be read"
