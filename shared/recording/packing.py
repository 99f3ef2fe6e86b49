"""How one frame is compressed: a Blosc frame, bit planes sorted out and LZ4 on each, as DECISION-store.md measured.

numcodecs drops the interpreter lock while it works only without its own thread pool, so that is switched off here.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numcodecs import blosc

from shared.frame import Counts

LEVEL = 1
CODECS: tuple[Mapping[str, Any], ...] = (
    {"name": "bytes", "configuration": {"endian": "little"}},
    {
        "name": "blosc",
        "configuration": {"typesize": 2, "cname": "lz4", "clevel": LEVEL, "shuffle": "bitshuffle", "blocksize": 0},
    },
    {"name": "crc32c"},
)
"""The same in the words of the Zarr v3 specification, for whoever opens a recording with another tool."""

blosc.use_threads = False


def pack_frame(pixels: Counts) -> bytes:
    """Compress (height, width) uint16 counts, lossless."""
    return bytes(blosc.compress(np.ascontiguousarray(pixels, "<u2"), b"lz4", LEVEL, blosc.BITSHUFFLE, 0))


def unpack_frame(packed: bytes | memoryview, shape: tuple[int, int]) -> Counts:
    """The counts again, read-only; raises ValueError or RuntimeError where the bytes are not a frame of that shape."""
    pixels = np.frombuffer(blosc.decompress(packed), "<u2")
    if pixels.size != shape[0] * shape[1]:
        raise ValueError(f"holds {pixels.size} pixels, not {shape[0] * shape[1]}")
    return pixels.reshape(shape)
