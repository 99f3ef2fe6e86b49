"""Sharpness: modulation transfer from a slightly slanted edge (e-SFR of ISO 12233), four times oversampled."""

import math
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from shared.bounded import Length, Within
from shared.commissioning.line import line
from shared.commissioning.stack import F64
from shared.errors import Refused

OVERSAMPLING = 4
LEAST_ROWS = 40
LEAST_COLUMNS = 24
LEAST_LEAN_DEG, GREATEST_LEAN_DEG = 2.0, 15.0
LEAST_CONTRAST_TO_NOISE = 8.0
LEAST_CONTRAST = 0.2


@dataclass(frozen=True)
class Sharpness:
    """``mtf50_cycles_per_px`` is where the contrast has halved. ``frequency_cycles_per_px`` and ``contrast`` pair up, to 0.5.

    ``mtf50_cycles_per_mm`` is None where the scale is not known. ``lean_deg`` is the edge's, from the nearer axis.
    """

    mtf50_cycles_per_px: Annotated[float, Within(0, 1)]
    mtf50_cycles_per_px_u: Annotated[float, Within(0, 1)]
    lean_deg: Annotated[float, Within(-45, 45)]
    frequency_cycles_per_px: Annotated[tuple[float, ...], Length(2, 1000)]
    contrast: Annotated[tuple[float, ...], Length(2, 1000)]
    mtf50_cycles_per_mm: Annotated[float, Within(0, 1e4)] | None = None


def sharpness(plane: NDArray[np.floating], mm_per_px: float | None = None) -> Sharpness:
    """From a (height, width) part of a picture, linear in light, crossed by one straight edge that leans 2 to 15 degrees.

    The uncertainty is half the difference between the halves of the edge, taken as evenly likely. Raises Refused.
    """
    upright = _upright(np.asarray(plane, np.float64))
    frequency, contrast, lean = _transfer(upright)
    half = len(upright) // 2
    mtf50 = _half_contrast(frequency, contrast)
    parts = [_half_contrast(*_transfer(part)[:2]) for part in (upright[:half], upright[half:])]
    return Sharpness(
        mtf50_cycles_per_px=mtf50,
        mtf50_cycles_per_px_u=abs(parts[0] - parts[1]) / 2 / math.sqrt(3),
        lean_deg=lean,
        frequency_cycles_per_px=tuple(round(float(one), 5) for one in frequency),
        contrast=tuple(round(float(one), 5) for one in contrast),
        mtf50_cycles_per_mm=None if mm_per_px is None else mtf50 / mm_per_px,
    )


def _upright(plane: F64) -> F64:
    """The same with the edge running down and the dark side left. Raises Refused where it cannot be one."""
    if plane.ndim != 2 or not np.isfinite(plane).all():
        raise Refused("the picture of the edge holds values that are not numbers", plane.shape, "measure again")
    if np.abs(np.diff(plane.mean(axis=0))).max() < np.abs(np.diff(plane.mean(axis=1))).max():
        plane = plane.T
    if plane.shape[0] < LEAST_ROWS or plane.shape[1] < LEAST_COLUMNS:
        raise Refused(
            "the part with the edge is too small", plane.shape, f"at least {LEAST_ROWS} along, {LEAST_COLUMNS} across"
        )
    quarter = plane.shape[1] // 5
    left, right = plane[:, :quarter], plane[:, -quarter:]
    if right.mean() < left.mean():
        plane, left, right = plane[:, ::-1], right[:, ::-1], left[:, ::-1]
    low, high = float(left.mean()), float(right.mean())
    noise = math.hypot(float(np.diff(left, axis=0).std()), float(np.diff(right, axis=0).std())) / 2
    if high - low < max(LEAST_CONTRAST * abs(high), LEAST_CONTRAST_TO_NOISE * noise):
        raise Refused(
            "no clear edge is seen",
            f"{low:.1f} beside {high:.1f}, noise {noise:.1f}",
            "put the slanted edge in the middle of the picture, brighter",
        )
    return plane


def _transfer(plane: F64) -> tuple[F64, F64, float]:
    """Frequencies (cycles a pixel), contrast at them, and the lean in degrees."""
    rows, columns = plane.shape
    position, lean = _edge(plane)
    slope = math.cos(math.radians(lean))  # distances are taken across the edge, not along the row
    distance = (np.arange(columns)[np.newaxis, :] - position[:, np.newaxis]) * slope
    reach = min(float(position.min()), columns - 1 - float(position.max()), 32.0) * slope
    if reach < 6:
        raise Refused("the edge runs out of the part looked at", f"{reach:.1f} px", "put it in the middle")
    bins = int(reach * OVERSAMPLING) * 2
    index = np.floor(distance * OVERSAMPLING).astype(np.int64) + bins // 2
    inside = (index >= 0) & (index < bins)
    number = np.bincount(index[inside], minlength=bins)
    if (number == 0).any():
        raise Refused("the edge is too short for its lean", rows, "take a longer piece of it, or lean it by 5 degrees")
    profile = np.bincount(index[inside], plane[inside], bins) / number
    spread = np.convolve(profile, [0.5, 0.0, -0.5], "valid")
    spread = spread * np.hamming(len(spread))
    size = 64 * OVERSAMPLING * 4
    spectrum = np.abs(np.fft.rfft(spread, size))
    frequency = np.fft.rfftfreq(size, 1 / OVERSAMPLING)
    step = (
        2.0 / OVERSAMPLING
    )  # what the three-point difference blurs (ISO 12233 corrects for it), and bins of a quarter pixel
    correction = np.sinc(frequency * step) * np.sinc(frequency / OVERSAMPLING)
    shown = frequency <= 0.5
    return np.asarray(frequency[shown]), np.asarray((spectrum / spectrum[0] / correction)[shown]), lean


def _edge(plane: F64) -> tuple[F64, float]:
    """Where the edge crosses each row (fractional columns), from a line through the rows' centroids; and its lean in degrees."""
    rows = np.arange(len(plane), dtype=np.float64)
    gradient = np.diff(plane, axis=1)
    columns = np.arange(gradient.shape[1]) + 0.5
    window = np.hamming(gradient.shape[1])[np.newaxis, :]
    fit = None
    for _ in range(3):
        weighted = gradient * window
        total = weighted.sum(axis=1)
        if (total <= 0).any():
            raise Refused("the edge is lost in noise", remedy="take a brighter edge, or more of the picture about it")
        fit = line(rows, (weighted * columns).sum(axis=1) / total)
        middle = fit.offset.value + fit.slope.value * rows
        window = np.exp(-0.5 * ((columns[np.newaxis, :] - middle[:, np.newaxis]) / 6.0) ** 2)
    assert fit is not None
    lean = math.degrees(math.atan(fit.slope.value))
    if not LEAST_LEAN_DEG <= abs(lean) <= GREATEST_LEAN_DEG:
        raise Refused("the edge leans by", f"{lean:.1f} degrees", "turn the target until it leans by about 5 degrees")
    return middle, lean


def _half_contrast(frequency: F64, contrast: F64) -> float:
    """First frequency at which the contrast is half, between neighbours; the last one where it never is."""
    below = np.flatnonzero(contrast < 0.5)
    if not len(below):
        return float(frequency[-1])
    after = int(below[0])
    high, low = contrast[after - 1], contrast[after]
    return float(np.interp(0.5, [low, high], [frequency[after], frequency[after - 1]]))
