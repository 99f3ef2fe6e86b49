"""How one frame is compressed: a Blosc frame, bit planes sorted out and LZ4 on each block, as DECISION-store.md measured."""

import numpy as np
from numcodecs import blosc
from numpy.typing import NDArray

from shared.frame import Counts
from shared.fresh_pages import fresh_zeros
from shared.recording.bit_planes import BLOCK_PIXELS, GROUP, PAD, SLACK, pack_frame
from shared.recording.frame_codec import LEVEL


class FrameRoom:
    """Room for one frame of ``shape`` (height, width) while it waits for the disk, compressed without loss.

    It takes as much memory as the largest frame it held needs compressed. Where the pixels are not a multiple of 64 it holds the
    counts themselves, and the Blosc library compresses them, to the same format.
    """

    def __init__(self, shape: tuple[int, int]) -> None:
        self._pixels = shape[0] * shape[1]
        self._counts: Counts | None = np.empty(self._pixels, np.uint16) if self._pixels % GROUP else None
        block, blocks = min(BLOCK_PIXELS, self._pixels), -(-self._pixels // BLOCK_PIXELS)
        self._planes = np.zeros(PAD + 2 * block + SLACK, np.uint8)
        self._same, self._starts = (np.zeros(2 * block // 64 + 2, np.uint64) for _ in range(2))
        self._out = fresh_zeros((16 + blocks * (4 + 4 + 2 * block + block // 64 + 64) + SLACK,), np.uint8)
        self._length = 0

    def take(self, pixels: Counts) -> None:
        """Take in (height, width) uint16 counts, in about two copies' time; drops the interpreter lock."""
        flat = np.ascontiguousarray(pixels, "<u2").reshape(-1).view()
        flat.flags.writeable = False  # as a camera's frames are, so that one compiled form does for all
        if flat.size != self._pixels:
            raise ValueError(f"{flat.size} pixels, not {self._pixels}")
        if self._counts is not None:
            np.copyto(self._counts, flat)
        else:
            self._length = pack_frame(flat, self._planes, self._same, self._starts, self._out)

    def packed(self) -> NDArray[np.uint8]:
        """The frame taken in last, compressed; the bytes, (n,) uint8, are lent until the next one is."""
        if self._counts is not None:
            return np.frombuffer(blosc.compress(self._counts, b"lz4", LEVEL, blosc.BITSHUFFLE, 0), np.uint8)
        return self._out[: self._length]
