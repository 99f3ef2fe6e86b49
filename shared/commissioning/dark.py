"""Dark: what pixels count with no light at all, how much that scatters, and how it grows with exposure."""

import math
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from shared.bounded import Within
from shared.commissioning.stack import Stack, same_size
from shared.errors import Refused

LEAST_FRAMES = 8
GREATEST_RISE_PER_S = 0.1
"""Of the converter's range: dark that grows faster with exposure is light (common practice, no source)."""
GREATEST_SLOPE = 0.01
"""Of the converter's range, between the block means of the dark plane: more is light that leaks in at one side."""

OUTLYING = 8.0
"""Robust standard deviations from the median beyond which a pixel is left out of the mean."""

ROUNDING_VARIANCE = 1 / 12
"""Counts squared, of rounding to whole counts."""
HARMONICS = 50


@dataclass(frozen=True)
class Dark:
    """Counts. ``noise_counts`` is the median pixel's temporal noise, ``dsnu_counts`` what pixels differ by for good;
    ``current_counts_per_s`` at the gain measured with.
    """

    exposure_us: Annotated[float, Within(1, 1e7)]
    gain: Annotated[float, Within(1, 64)]
    frames: Annotated[int, Within(2, 100_000)]
    mean_counts: Annotated[float, Within(0, 65535)]
    mean_counts_u: Annotated[float, Within(0, 65535)]
    noise_counts: Annotated[float, Within(0, 65535)]
    dsnu_counts: Annotated[float, Within(0, 65535)]
    current_counts_per_s: float
    current_counts_per_s_u: Annotated[float, Within(0, 1e9)]


def dark(working: Stack, other: Stack, white_level: int) -> Dark:
    """Figures from two stacks with the lens capped: at the working exposure, and at another one well apart from it.

    The plane to be taken off is ``working.mean``. Raises Refused where light reaches the sensor, or a method needs more.
    """
    same_size([("the dark frames", working.mean), ("those of the other exposure", other.mean)])
    if min(working.frames, other.frames) < LEAST_FRAMES:
        raise Refused("too few dark frames", min(working.frames, other.frames), f"at least {LEAST_FRAMES} are needed")
    apart_s = (working.exposure_us - other.exposure_us) / 1e6
    if abs(apart_s) < 0.2 * max(working.exposure_us, other.exposure_us) / 1e6:
        raise Refused("the two dark exposures are too alike", other.exposure_us, "take one at most 80 % of the other")
    current = (mean_level(working) - mean_level(other)) / apart_s
    u_current = math.hypot(_u_of_mean(working), _u_of_mean(other)) / abs(apart_s)
    _refuse_light(working, current, u_current, white_level)
    return Dark(
        exposure_us=working.exposure_us,
        gain=working.gain,
        frames=working.frames,
        mean_counts=mean_level(working),
        mean_counts_u=_u_of_mean(working),
        noise_counts=math.sqrt(float(np.median(working.variance))),
        dsnu_counts=_dsnu(working),
        current_counts_per_s=current,
        current_counts_per_s_u=u_current,
    )


def _refuse_light(stack: Stack, current: float, u: float, white_level: int) -> None:
    if current > GREATEST_RISE_PER_S * white_level + 3 * u:
        raise Refused(
            "light reaches the sensor: the dark grows with exposure",
            f"{current:.0f} counts a second",
            "put the cap on, go to a darker place, and measure again",
        )
    slope = float(np.ptp(_block_medians(stack)))
    if slope > GREATEST_SLOPE * white_level:
        raise Refused(
            "light reaches the sensor: one side of the dark is brighter",
            f"by {slope:.1f} counts",
            "put the cap on, go to a darker place, and measure again",
        )


def mean_level(stack: Stack) -> float:
    """Mean of all pixels but those far off the median; a median alone would stick to whole counts."""
    off = np.abs(stack.mean - np.median(stack.mean))
    return float(stack.mean[off <= max(OUTLYING * 1.4826 * float(np.median(off)), 0.5)].mean())


def _u_of_mean(stack: Stack) -> float:
    """Of the whole plane's mean: its scatter from frame to frame, and what rounding to whole counts may do to all pixels alike."""
    scatter = float(np.std(stack.frame_means, ddof=1)) / math.sqrt(stack.frames)
    before_rounding = max(float(np.median(stack.variance)) - ROUNDING_VARIANCE, 0.0) + _dsnu(stack) ** 2
    return math.hypot(scatter, rounding_u(math.sqrt(before_rounding)))


def rounding_u(deviation: float) -> float:
    """Standard uncertainty, in counts, of a mean of values rounded to whole counts that scatter by ``deviation`` about anywhere.

    The error is a sum of sinusoids of where between two counts the mean lies, the k-th of amplitude exp(-2 (pi k sigma)^2) / (pi k)
    (Widrow and Kollar, Quantization Noise, 2008, for a normal distribution; from memory, checked against its own sum in the tests).
    """
    amplitudes = (math.exp(-2 * (math.pi * k * deviation) ** 2) / (math.pi * k) for k in range(1, HARMONICS + 1))
    return math.sqrt(sum(one**2 / 2 for one in amplitudes))


def _dsnu(stack: Stack) -> float:
    """Robust: 1.4826 x median absolute deviation (of a normal distribution its standard deviation), temporal noise taken off."""
    spread = 1.4826 * float(np.median(np.abs(stack.mean - np.median(stack.mean))))
    return math.sqrt(max(spread**2 - float(np.median(stack.variance)) / stack.frames, 0.0))


def _block_medians(stack: Stack, blocks: int = 4) -> list[float]:
    rows = np.array_split(np.arange(stack.mean.shape[0]), blocks)
    columns = np.array_split(np.arange(stack.mean.shape[1]), blocks)
    return [float(np.median(stack.mean[np.ix_(down, across)])) for down in rows for across in columns]
