"""Flat field: sensitivity times illumination of every pixel, from an even target lit by the ring."""

import math
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from shared.bounded import Within
from shared.commissioning.nonuniformity import smooth
from shared.commissioning.stack import F64, Stack, same_size
from shared.errors import Refused
from shared.signal import SATURATED_SHARE, DefectSources

LEAST_FRAMES = 8
WORST_NOISE_PERCENT = 1.0
"""Relative standard uncertainty of the median pixel of the flat."""
DARKEST_SHARE = 0.15
"""Of the brightest place: a corner darker than this is noise, or outside the lens's image circle."""
UNEVEN_BY, UNEVEN_SHARE = 0.1, 0.02
"""A target may differ by so much from a smooth field on no more of the picture; dust on a sensor is smaller (design choice, no
source)."""
STEEPEST_TILT = 0.25
"""Relative change from one side of the picture to the other that the even part of lens and ring cannot explain."""


@dataclass(frozen=True)
class Flat:
    """``noise_percent`` is the median pixel's relative standard uncertainty; ``darkest_percent`` the darkest place of the smooth
    field beside the brightest; ``tilt_*_percent`` the change from left to right and from top to bottom.

    ``full_signal`` is the brightest place's, in counts a millisecond at unit gain and full light, which leakage is compared with.
    """

    exposure_us: Annotated[float, Within(1, 1e7)]
    gain: Annotated[float, Within(1, 64)]
    frames: Annotated[int, Within(2, 100_000)]
    brightest_counts: Annotated[float, Within(0, 65535)]
    full_signal: Annotated[float, Within(0, 1e9)]
    noise_percent: Annotated[float, Within(0, 100)]
    darkest_percent: Annotated[float, Within(0, 100)]
    tilt_right_percent: Annotated[float, Within(-200, 200)]
    tilt_down_percent: Annotated[float, Within(-200, 200)]


def flat(
    lit: Stack, unlit: Stack, defects: NDArray[np.bool_], saturation_counts: int, output: float = 1.0
) -> tuple[Flat, NDArray[np.float32]]:
    """Figures and the plane (height, width), 1 where the smooth field is brightest. ``output`` is the ring's at the level used.

    Unlit frames take off the dark and what lamps give. Raises Refused: saturated, too dark, uneven, too steep, mismatched.
    """
    same_size([("the lit frames", lit.mean), ("the unlit frames", unlit.mean), ("the defects", defects)])
    if min(lit.frames, unlit.frames) < LEAST_FRAMES:
        raise Refused("too few frames for a flat field", min(lit.frames, unlit.frames), f"at least {LEAST_FRAMES}")
    good = ~defects
    refuse_saturated(lit, good, saturation_counts)
    signal = lit.mean - unlit.mean
    DefectSources.around(defects).replace(signal)
    field = smooth(signal, good, order=6)
    mean = float(signal[good].mean())
    noise = _noise_percent(lit, unlit, np.maximum(signal, 1e-9), good)
    if noise > WORST_NOISE_PERCENT or float(signal.min()) <= 0:
        raise Refused(
            "the flat target is too dark",
            f"{mean:.0f} counts, {noise:.1f} % noise a pixel",
            "go nearer, take a brighter target, or expose longer",
        )
    uneven = float(np.mean(np.abs(signal / (field * mean) - 1.0)[good] > UNEVEN_BY))
    if uneven > UNEVEN_SHARE:
        raise Refused(
            "the target is not even",
            f"{uneven:.0%} of the picture is {UNEVEN_BY:.0%} and more from a smooth field",
            "fill the picture with an even, dull card without marks",
        )
    right, down = _tilt(field)
    darkest = float(field.min() / field.max())
    _refuse_steep(right, down, darkest)
    brightest = float(field.max()) * mean
    found = Flat(
        exposure_us=lit.exposure_us,
        gain=lit.gain,
        frames=lit.frames,
        brightest_counts=brightest,
        full_signal=brightest / (lit.exposure_us / 1000 * lit.gain * output),
        noise_percent=noise,
        darkest_percent=100 * darkest,
        tilt_right_percent=100 * right,
        tilt_down_percent=100 * down,
    )
    return found, (signal / brightest).astype(np.float32)


def refuse_saturated(lit: Stack, good: NDArray[np.bool_], saturation_counts: int) -> None:
    """Raise Refused, with a shorter exposure to take, where the mean of more than half a percent of the pixels nears saturation."""
    share = float(np.mean(lit.mean[good] > saturation_counts - 3 * np.sqrt(lit.variance[good]) - 1))
    if share > SATURATED_SHARE:
        fits_us = 0.6 * lit.exposure_us
        raise Refused(
            "the target saturates", f"{share:.1%} of the pixels", f"expose {fits_us:.0f} us or less, or go farther away"
        )


def _noise_percent(lit: Stack, unlit: Stack, signal: F64, good: NDArray[np.bool_]) -> float:
    variance = lit.variance / lit.frames + unlit.variance / unlit.frames
    return 100 * math.sqrt(float(np.median((variance / signal**2)[good])))


def _tilt(field: F64) -> tuple[float, float]:
    """Change of a plane fitted to the field, side to side, relative to its mean: to the right, and down."""
    height, width = field.shape
    across, down = np.linspace(-1, 1, width), np.linspace(-1, 1, height)
    mean = float(field.mean())
    right = 2 * float((field.mean(axis=0) * across).sum() / (across**2).sum()) / mean
    return right, 2 * float((field.mean(axis=1) * down).sum() / (down**2).sum()) / mean


def _refuse_steep(right: float, down: float, darkest: float) -> None:
    if max(abs(right), abs(down)) > STEEPEST_TILT:
        raise Refused(
            "the light on the target is lopsided",
            f"{right:+.0%} to the right, {down:+.0%} down",
            "hold the handheld square to the middle of the target, and switch lamps off",
        )
    if darkest < DARKEST_SHARE:
        raise Refused(
            "a corner is too dark to be corrected",
            f"{darkest:.0%} of the brightest place",
            "let the target fill the picture, and go farther away or spread the ring's light",
        )
