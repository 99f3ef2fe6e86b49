"""How one frame is compressed: a Blosc frame, bit planes sorted out and LZ4 on each block, as DECISION-store.md measured."""

import numpy as np
from numcodecs import blosc
from numpy.typing import NDArray

from shared.frame import Counts
from shared.fresh_pages import fresh_zeros
from shared.recording.bit_planes import BLOCK_PIXELS, GROUP, PAD, SLACK, pack_planes, sort_planes
from shared.recording.frame_codec import LEVEL


class FrameRoom:
    """Room for one frame of ``shape`` (height, width) while it waits to be packed, held as bit planes.

    Planes that no pixel needs take no memory: six of sixteen, for a camera of 10 bits. Where the pixels are not a multiple of 64
    it holds the counts themselves.
    """

    def __init__(self, shape: tuple[int, int]) -> None:
        self.pixels = shape[0] * shape[1]
        block, blocks = min(BLOCK_PIXELS, self.pixels), -(-self.pixels // BLOCK_PIXELS)
        self.planes = fresh_zeros((blocks, PAD + 2 * block + SLACK), np.uint8)
        self.used = np.zeros(blocks, np.uint8)
        self.counts: Counts | None = np.empty(self.pixels, np.uint16) if self.pixels % GROUP else None

    def take(self, pixels: Counts) -> None:
        """Take in (height, width) uint16 counts, as fast as a copy; drops the interpreter lock."""
        flat = np.ascontiguousarray(pixels, "<u2").reshape(-1)
        if flat.size != self.pixels:
            raise ValueError(f"{flat.size} pixels, not {self.pixels}")
        if self.counts is not None:
            np.copyto(self.counts, flat)
        else:
            sort_planes(flat, self.planes, self.used)


class FramePacker:
    """Compresses frames of one shape, lossless, in a buffer it keeps. Belongs to one thread; drops the interpreter lock.

    A shape whose pixels are not a multiple of 64 is compressed by the Blosc library instead of our own kernel, to the same
    format.
    """

    def __init__(self, shape: tuple[int, int]) -> None:
        pixels = shape[0] * shape[1]
        block, blocks = min(BLOCK_PIXELS, pixels), -(-pixels // BLOCK_PIXELS)
        self._same, self._starts = (np.zeros(2 * block // 64 + 2, np.uint64) for _ in range(2))
        self._out = fresh_zeros((16 + blocks * (4 + 4 + 2 * block + block // 64 + 64) + SLACK,), np.uint8)

    def pack(self, room: FrameRoom) -> NDArray[np.uint8]:
        """Compress the frame in ``room``; the bytes, (n,) uint8, are lent until the next call."""
        if room.counts is not None:
            return np.frombuffer(blosc.compress(room.counts, b"lz4", LEVEL, blosc.BITSHUFFLE, 0), np.uint8)
        return self._out[: pack_planes(room.pixels, room.planes, room.used, self._same, self._starts, self._out)]
