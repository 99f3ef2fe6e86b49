"""Leakage: excitation that the filter lets through, beside the full signal of the dye card, over the picture."""

import math
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from shared.bounded import Length, Within
from shared.commissioning.stack import F64, Stack, same_size
from shared.errors import Refused

BLOCKS = (5, 7)
"""Rows and columns of the map; odd, so that there is a middle."""
LEAST_FRAMES = 8
SEEN_SIGMAS = 3.0
"""No filter is so good that a card under the ring shows less than noise over a part of the picture: the lens is capped."""


@dataclass(frozen=True)
class Leakage:
    """Percent of the dye card's signal at the same place (its own leakage is in that too), from a target without dye.

    ``map_percent`` goes row by row over 5 x 7 parts of the picture; ``corner_percent`` is the mean of the four corners. Light from
    off the axis shifts an interference filter's band, so corners leak more.
    """

    middle_percent: Annotated[float, Within(-100, 1000)]
    middle_percent_u: Annotated[float, Within(0, 1000)]
    corner_percent: Annotated[float, Within(-100, 1000)]
    worst_percent: Annotated[float, Within(-100, 1000)]
    map_percent: Annotated[tuple[float, ...], Length(35, 35)]
    signal: Annotated[float, Within(-1e9, 1e9)]


def leakage(
    lit: Stack, unlit: Stack, flat: NDArray[np.floating], full_signal: float, good: NDArray[np.bool_], output: float
) -> Leakage:
    """From lit and unlit frames of a plain card, the flat field, and the dye card's signal (counts a ms at unit gain, full light).

    Lamps and dark are in the unlit frames and so taken off. Raises Refused.
    """
    same_size([("the lit frames", lit.mean), ("the unlit frames", unlit.mean), ("the flat", flat)])
    if min(lit.frames, unlit.frames) < LEAST_FRAMES:
        raise Refused("too few frames for leakage", min(lit.frames, unlit.frames), f"at least {LEAST_FRAMES}")
    if not full_signal > 0:
        raise Refused("the dye card's signal is not known", full_signal, "start with: tapetum calibrate flat")
    to_signal = 1.0 / (lit.exposure_us / 1000 * lit.gain * output)
    percent = 100 * to_signal * (lit.mean - unlit.mean) / flat / full_signal
    variance = (100 * to_signal / flat / full_signal) ** 2 * (lit.variance / lit.frames + unlit.variance / unlit.frames)
    parts = _parts(percent, good)
    middle = parts[len(parts) // 2]
    rows, columns = BLOCKS
    corners = [parts[index] for index in (0, columns - 1, (rows - 1) * columns, rows * columns - 1)]
    part_pixels = good.sum() / len(parts)
    middle_u = math.sqrt(float(np.median(variance)) / part_pixels)
    if middle <= SEEN_SIGMAS * middle_u:
        raise Refused(
            "nothing of the ring's light is seen",
            f"{middle:.1g} ± {middle_u:.1g} % of the dye card's signal",
            "take the cap off the lens, and put white card before it",
        )
    return Leakage(
        middle_percent=middle,
        middle_percent_u=middle_u,
        corner_percent=sum(corners) / 4,
        worst_percent=max(parts),
        map_percent=tuple(parts),
        signal=middle / 100 * full_signal,
    )


def _parts(plane: F64, good: NDArray[np.bool_]) -> list[float]:
    rows = np.array_split(np.arange(plane.shape[0]), BLOCKS[0])
    columns = np.array_split(np.arange(plane.shape[1]), BLOCKS[1])
    found = []
    for down in rows:
        for across in columns:
            part, used = plane[np.ix_(down, across)], good[np.ix_(down, across)]
            found.append(float(part[used].mean()) if used.any() else math.nan)
    if not np.isfinite(found).all():
        raise Refused("a part of the picture has no good pixel", remedy="calibrate the defects again")
    return found
