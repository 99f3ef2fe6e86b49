"""How one frame is compressed: a Blosc frame, bit planes sorted out and LZ4 on each block, as DECISION-store.md measured."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numcodecs import blosc
from numpy.typing import NDArray

from shared.frame import Counts
from shared.recording.bit_planes import BLOCK_PIXELS, PAD, SLACK, pack_pixels

_LEVEL = 1
CODECS: tuple[Mapping[str, Any], ...] = (
    {"name": "bytes", "configuration": {"endian": "little"}},
    {
        "name": "blosc",
        "configuration": {"typesize": 2, "cname": "lz4", "clevel": _LEVEL, "shuffle": "bitshuffle", "blocksize": 0},
    },
    {"name": "crc32c"},
)
"""The same in the words of the Zarr v3 specification, for whoever opens a recording with another tool."""

# numcodecs drops the interpreter lock only where it does not use its own pool of threads
blosc.use_threads = False


class FramePacker:
    """Compresses frames of one shape, lossless, in buffers it keeps. Belongs to one thread; drops the interpreter lock.

    A shape whose pixels are not a multiple of 32 is compressed by the Blosc library instead of our own kernel, to the same
    format.
    """

    def __init__(self, shape: tuple[int, int]) -> None:
        self._pixels = shape[0] * shape[1]
        block = min(BLOCK_PIXELS, self._pixels)
        blocks = -(-self._pixels // BLOCK_PIXELS)
        self._flat = np.zeros(2 * block + PAD + SLACK, np.uint8)
        self._same, self._starts = (np.zeros(2 * block // 64 + 2, np.uint64) for _ in range(2))
        self._out = np.zeros(16 + blocks * (4 + 4 + 2 * block + block // 64 + 64) + SLACK, np.uint8)

    def pack(self, pixels: Counts) -> NDArray[np.uint8]:
        """Compress (height, width) uint16 counts; the bytes, (n,) uint8, are lent until the next call."""
        counts = np.ascontiguousarray(pixels, "<u2").reshape(-1)
        if counts.size != self._pixels:
            raise ValueError(f"{counts.size} pixels, not {self._pixels}")
        if counts.size % 32:
            return np.frombuffer(blosc.compress(counts, b"lz4", _LEVEL, blosc.BITSHUFFLE, 0), np.uint8)
        return self._out[: pack_pixels(counts, self._flat, self._same, self._starts, self._out)]


def unpack_frame(packed: bytes | NDArray[np.uint8], shape: tuple[int, int]) -> Counts:
    """The counts again, read-only; raises ValueError or RuntimeError where the bytes are not a frame of that shape."""
    pixels = np.frombuffer(blosc.decompress(packed), "<u2")
    if pixels.size != shape[0] * shape[1]:
        raise ValueError(f"holds {pixels.size} pixels, not {shape[0] * shape[1]}")
    return pixels.reshape(shape)
