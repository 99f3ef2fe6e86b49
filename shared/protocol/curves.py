"""What is asked and answered about the curves that grow beside the picture. Standard library only."""

from dataclasses import dataclass
from typing import Annotated

from shared.bounded import Within


@dataclass(frozen=True)
class GetCurves:
    """Points of the growing curves later than ``after_ms``, on the sensor's clock. Answered by Curves."""

    after_ms: Annotated[int, Within(-1, 2**53)] = -1


@dataclass(frozen=True)
class Curve:
    """How the signal of one place went: counts a millisecond at unit gain and full light, steadied as in the picture, with one
    standard uncertainty; None where it could not be measured. ``place`` is a region's text after its name. What was there before
    the dye (``baseline``, 0 where it is not known) is not taken off.
    """

    place: str
    signal: tuple[float | None, ...]
    signal_u: tuple[float | None, ...]
    baseline: float
    baseline_u: float


@dataclass(frozen=True)
class Happened:
    """A mark beside the curves: "light" (percent, 0 off), "trip" (the reason), "gap" (frames), "note" (its beginning)."""

    time_ms: int
    kind: str
    text: str


@dataclass(frozen=True)
class Curves:
    """The points asked for, at common times on the sensor's clock; with ``more`` there are others after them.

    Places stand here that are watched no longer: a region put back goes on with its curve. ``injections_ms``: when dye went in.
    ``happened`` is all that is remembered, whatever was asked for.
    """

    times_ms: tuple[int, ...]
    curves: tuple[Curve, ...]
    injections_ms: tuple[int, ...]
    more: bool
    happened: tuple[Happened, ...] = ()
