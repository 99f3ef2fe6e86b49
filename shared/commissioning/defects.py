"""Pixels that are to be replaced by their neighbours: hot or noisy in the dark, dead or odd in light."""

import math
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from shared.bounded import Within
from shared.commissioning.stack import F64, Stack, same_size
from shared.errors import Refused

FAR = 8.0
"""Robust standard deviations from the median that make a pixel hot: of a million normal pixels none lies so far out."""
ABOVE_NOISE = 4.0
"""Times the median pixel's temporal noise that it must lie off besides: less goes off with the dark, and is seen in no picture."""
NOISY = 4.0
"""Times the median pixel's temporal noise."""
ODD_RESPONSE = 0.2
"""Share by which the response of a pixel may differ from its neighbours' median (common practice, no source)."""
LARGEST_SHARE = 0.002


@dataclass(frozen=True)
class Defects:
    """How many pixels of each kind; one may be of several."""

    hot: Annotated[int, Within(0, 1e8)]
    noisy: Annotated[int, Within(0, 1e8)]
    odd_in_light: Annotated[int, Within(0, 1e8)]
    all: Annotated[int, Within(0, 1e8)]
    share: Annotated[float, Within(0, 1)]


def hot_pixels(plane: F64, variance: F64) -> NDArray[np.bool_]:
    """Pixels of a dark mean (height, width) that lie far off the plane's median; ``variance`` is each pixel's over time."""
    off = np.abs(plane - np.median(plane))
    spread = 1.4826 * float(np.median(off))
    noise = math.sqrt(float(np.median(variance)))
    return np.asarray(off > max(FAR * spread, ABOVE_NOISE * noise, 0.5))


def noisy_pixels(variance: F64, frames: int) -> NDArray[np.bool_]:
    """Pixels whose temporal noise is far above the median pixel's; a variance from few frames scatters by sqrt(2 / (n - 1))."""
    allowed = NOISY**2 + FAR * np.sqrt(2.0 / (frames - 1))
    return np.asarray(variance > allowed * max(float(np.median(variance)), 1 / 12))


def odd_pixels(signal: F64) -> NDArray[np.bool_]:
    """Pixels of a lit mean above dark whose response is not that of their 5 x 5 neighbourhood."""
    around = median_filter(signal, size=5, mode="nearest")
    if float(np.median(around)) <= 0:
        raise Refused("the target is not brighter than the dark", float(np.median(around)), "light the target")
    return np.asarray(np.abs(signal - around) > ODD_RESPONSE * np.maximum(around, 1e-9))


def defects(
    dark_mean: F64, dark_variance: F64, dark_frames: int, lit: Stack, unlit: Stack
) -> tuple[Defects, NDArray[np.bool_]]:
    """Counts of defects and their mask (height, width), from the dark of the dark step and frames of a flat target, lit and unlit.

    Raises Refused where they are more than 0.2 % of all pixels, which no replacement by neighbours should hide.
    """
    planes = [("the dark plane", dark_mean), ("the lit frames", lit.mean), ("the unlit frames", unlit.mean)]
    same_size([*planes, ("the dark noise", dark_variance)])
    hot, noisy = hot_pixels(dark_mean, dark_variance), noisy_pixels(dark_variance, dark_frames)
    odd = odd_pixels(lit.mean - unlit.mean)
    mask = hot | noisy | odd
    number, share = int(mask.sum()), float(mask.mean())
    if share > LARGEST_SHARE:
        raise Refused(
            "too many defective pixels",
            f"{number}, {share:.2%} of all: {hot.sum()} hot, {noisy.sum()} noisy, {odd.sum()} odd in light",
            "take an even target without marks and clean the lens; if it stays so, the sensor is faulty",
        )
    return Defects(int(hot.sum()), int(noisy.sum()), int(odd.sum()), number, share), mask
