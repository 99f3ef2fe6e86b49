"""The compressed form of one frame as every reader of Zarr knows it: its words in the specification, and the way back to counts."""

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from numcodecs import blosc
from numpy.typing import NDArray

from shared.frame import Counts

Unpack = Callable[[NDArray[np.uint8], tuple[int, int]], Counts]
"""``unpack_frame``, or what does the same."""
LEVEL = 1
CODECS: tuple[Mapping[str, Any], ...] = (
    {"name": "bytes", "configuration": {"endian": "little"}},
    {
        "name": "blosc",
        "configuration": {"typesize": 2, "cname": "lz4", "clevel": LEVEL, "shuffle": "bitshuffle", "blocksize": 0},
    },
    {"name": "crc32c"},
)
"""In the words of the Zarr v3 specification, for whoever opens a recording with another tool."""

# numcodecs drops the interpreter lock only where it does not use its own pool of threads
blosc.use_threads = False


def unpack_frame(packed: bytes | NDArray[np.uint8], shape: tuple[int, int]) -> Counts:
    """The counts again, read-only; raises ValueError or RuntimeError where the bytes are not a frame of that shape."""
    pixels = np.frombuffer(blosc.decompress(packed), "<u2")
    if pixels.size != shape[0] * shape[1]:
        raise ValueError(f"holds {pixels.size} pixels, not {shape[0] * shape[1]}")
    return pixels.reshape(shape)
