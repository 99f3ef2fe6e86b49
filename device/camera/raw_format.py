"""Where a raw format keeps its counts: pure, and checked against the pixels themselves.

Names are libcamera's: ``R10`` is monochrome, 10 bits right-justified in 16-bit words; ``R16`` holds the sensor's bits
left-justified, which is what a Pi 5 makes of an unpacked request. Packed (``_CSI2P``) and compressed (``_PISP_COMP1``, lossy)
formats are refused, never unpacked in silence.
"""

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shared.errors import Refused
from shared.frame import Counts

_UNPACKED = re.compile(r"(R|S[RGB]{4})(10|12|16)")


@dataclass(frozen=True)
class RawFormat:
    """``bit_depth`` bits of each 16-bit word, ``shift`` bits above its lowest; ``stride_bytes`` from row to row."""

    name: str
    width: int
    height: int
    stride_bytes: int
    bit_depth: int
    shift: int

    @classmethod
    def reported(cls, name: str, size: tuple[int, int], stride_bytes: int, sensor_bits: int | None) -> "RawFormat":
        """From what the camera system says it will give; raises Refused for a format whose counts would not be the sensor's."""
        match = _UNPACKED.fullmatch(name)
        if match is None:
            raise Refused("the camera gives a raw format that is not plain 16-bit words", name, "use R10, R12 or R16")
        word_bits = int(match[2])
        if word_bits == 16:
            if sensor_bits is None or not 8 <= sensor_bits <= 16:
                raise Refused(
                    "the camera does not say how many bits its sensor gives in format R16",
                    sensor_bits,
                    "update libcamera",
                )
            bit_depth, shift = sensor_bits, 16 - sensor_bits
        else:
            bit_depth, shift = word_bits, 0
        width, height = size
        if stride_bytes < 2 * width or stride_bytes % 2:
            raise Refused(f"the camera's rows of {width} pixels cannot lie in {stride_bytes} bytes", name)
        return cls(name, width, height, stride_bytes, bit_depth, shift)

    def words(self, rows: NDArray[np.uint8]) -> Counts:
        """(height, width) uint16 view of the buffer, (height, stride) uint8, without row padding and without a copy."""
        return rows[: self.height, : 2 * self.width].view(np.uint16)

    def check(self, words: Counts) -> None:
        """Raise Refused where a word has bits set outside those the format has: then the counts would be wrong by powers of two."""
        used = ((1 << self.bit_depth) - 1) << self.shift
        stray = int(np.bitwise_or.reduce(words, axis=None)) & ~used & 0xFFFF
        if stray:
            raise Refused(
                f"pixels of format {self.name} have bits set outside the {self.bit_depth} that belong to the sensor",
                f"{stray:#06x}",
                "this camera system justifies its words otherwise; do not trust its counts",
            )

    def counts_into(self, words: Counts, out: Counts) -> Counts:
        """Counts of ``words``: the words themselves where they are counts already and contiguous, else written to ``out``."""
        if self.shift == 0 and words.flags.c_contiguous:
            return words
        return np.right_shift(words, self.shift, out=out)
