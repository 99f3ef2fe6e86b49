"""Frames of the same thing, added up: their mean and their temporal variance, pixel by pixel."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from shared.errors import Refused
from shared.frame import Counts

F64 = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Stack:
    """``mean`` and ``variance`` over ``frames`` frames, (height, width) float64 in counts and counts squared.

    ``frame_means`` are the means of the whole frames in their order; ``exposure_us``, ``gain`` and ``level`` were the same for all.
    """

    mean: F64
    variance: F64
    frame_means: tuple[float, ...]
    exposure_us: float = 0.0
    gain: float = 1.0
    level: float = 0.0

    @property
    def frames(self) -> int:
        """How many went in."""
        return len(self.frame_means)

    @classmethod
    def of(
        cls, frames: Iterable[Counts], least: int = 2, exposure_us: float = 0.0, gain: float = 1.0, level: float = 0.0
    ) -> Self:
        """Add up frames, (height, width) of whole counts each. Raises Refused for fewer than ``least``, or of different sizes.

        Sums are whole numbers, so that the variance of many bright frames loses nothing.
        """
        total: NDArray[np.int64] | None = None
        means: list[float] = []
        for frame in frames:
            counts = _whole(frame)
            if total is None:
                total, squares = np.zeros(counts.shape, np.int64), np.zeros(counts.shape, np.int64)
            if counts.shape != total.shape:
                raise Refused("frames of different sizes", f"{total.shape} and {counts.shape}", "measure again")
            total += counts
            squares += counts * counts
            means.append(float(counts.mean()))
        number = len(means)
        if total is None or number < max(least, 2):
            raise Refused("too few frames", number, f"at least {max(least, 2)} are needed: measure again")
        variance = (number * squares - total * total) / (number * (number - 1))
        return cls(total / number, variance, tuple(means), exposure_us, gain, level)

    def within(self, region: tuple[slice, slice]) -> Self:
        """The same of a part of the picture; ``frame_means`` stay those of the whole."""
        same = (self.frame_means, self.exposure_us, self.gain, self.level)
        return type(self)(self.mean[region], self.variance[region], *same)


def _whole(frame: NDArray[np.generic]) -> NDArray[np.int64]:
    if frame.ndim != 2:
        raise Refused("a frame has height and width", frame.shape, "give one plane of counts a frame")
    if np.issubdtype(frame.dtype, np.floating) and not np.isfinite(frame).all():
        raise Refused("a frame holds values that are not numbers", remedy="measure again")
    return frame.astype(np.int64)


def same_size(planes: Sequence[tuple[str, NDArray[np.generic]]]) -> None:
    """Raise Refused, with the names, where two planes differ in size or one is not finite."""
    (first, plane), *others = planes
    for name, other in others:
        if other.shape != plane.shape:
            raise Refused(
                f"{name} and {first} differ in size", f"{other.shape} and {plane.shape}", "measure both with one sensor"
            )
    for name, other in planes:
        if not np.isfinite(other).all():
            raise Refused(f"{name} holds values that are not numbers", remedy="measure it again")


def middle(shape: tuple[int, int]) -> tuple[slice, slice]:
    """The middle third each way, where vignetting matters least."""
    height, width = shape
    return slice(height // 3, height - height // 3), slice(width // 3, width - width // 3)
