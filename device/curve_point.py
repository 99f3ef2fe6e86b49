"""What one frame adds to the curve of a region."""

from dataclasses import dataclass


@dataclass(frozen=True)
class CurvePoint:
    """A region's steadied signal in one frame, and what was there before the dye: counts a millisecond at unit gain and full light.

    ``place`` is the region without its name. ``signal`` and ``signal_u`` are NaN where the frame does not tell them.
    """

    place: str
    signal: float
    signal_u: float
    baseline: float
    baseline_u: float
