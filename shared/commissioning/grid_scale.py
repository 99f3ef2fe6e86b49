"""Scale: millimetres a pixel and the lens's distortion, from dark dots on a bright sheet, evenly spaced."""

import math
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import center_of_mass, gaussian_filter, label, uniform_filter

from shared.bounded import Within
from shared.commissioning.nonuniformity import smooth
from shared.commissioning.stack import F64
from shared.errors import Refused

LEAST_DOTS = 25
WORST_RESIDUAL_PX = 0.5
STEEPEST_TILT = 0.1
"""Change of scale over half the picture's diagonal: more means that the sheet does not lie square to the handheld."""


@dataclass(frozen=True)
class Scale:
    """``mm_per_px`` is in the middle of the picture, at ``distance_mm`` as the person said it. ``distortion_percent`` is how far
    the lens moves a corner outwards (radially, cubic); ``residual_px`` what the fit leaves, root mean square.
    """

    mm_per_px: Annotated[float, Within(1e-4, 100)]
    mm_per_px_u: Annotated[float, Within(0, 100)]
    distance_mm: Annotated[float, Within(1, 10_000)]
    distortion_percent: Annotated[float, Within(-100, 100)]
    distortion_percent_u: Annotated[float, Within(0, 100)]
    dots: Annotated[int, Within(1, 100_000)]
    residual_px: Annotated[float, Within(0, 1000)]
    tilt_percent: Annotated[float, Within(0, 1000)]


def grid_scale(plane: NDArray[np.floating], pitch_mm: float, distance_mm: float) -> Scale:
    """From a (height, width) picture, linear in light, of dots ``pitch_mm`` apart. Raises Refused with what is wrong."""
    if plane.ndim != 2 or not np.isfinite(plane).all():
        raise Refused("the picture of the grid holds values that are not numbers", plane.shape, "measure again")
    places = dots(plane)
    number, steps = _numbered(places, plane.shape)
    used = np.isfinite(number).all(axis=1)
    if np.count_nonzero(used) < LEAST_DOTS:
        raise Refused(
            "too few dots of the grid are seen",
            int(np.count_nonzero(used)),
            f"at least {LEAST_DOTS} in even rows are needed: light the sheet evenly, fill the picture with it",
        )
    return _fitted(places[used], number[used], steps, plane.shape, pitch_mm, distance_mm)


def dots(plane: NDArray[np.floating]) -> F64:
    """Middles of dark dots, (n, 2) as x, y in pixels, where the centre of the first pixel is at 0.5; those at the rim left out."""
    blurred = gaussian_filter(np.asarray(plane, np.float64), 1.0)
    depth = 1.0 - blurred / np.maximum(_sheet(blurred), 1e-9)
    least = max(0.4 * float(np.percentile(depth, 99.5)), 0.1)
    dark = depth > least
    labels, number = label(dark)
    if number == 0:
        return np.empty((0, 2))
    sizes = np.bincount(labels.reshape(-1))[1:]
    fit = np.flatnonzero((sizes >= 4) & (sizes > 0.4 * np.median(sizes)) & (sizes < 2.5 * np.median(sizes))) + 1
    weight = np.where(dark, depth - least, 0.0)  # nothing at the rim, which falls between pixels
    middles = np.array(center_of_mass(weight, labels, fit)).reshape(-1, 2)[:, ::-1] + 0.5
    rim = 1.5 * math.sqrt(float(np.median(sizes)))
    inside = ((middles > rim) & (middles < np.array(plane.shape)[::-1] - rim)).all(axis=1)
    return np.asarray(middles[inside], np.float64)


def _sheet(plane: F64) -> F64:
    """What the sheet would be without dots: a smooth surface through all that is not darker than its neighbourhood.

    A running mean would not do: beside the outermost dots it is brighter on one side, and moves them.
    """
    paper = plane > 0.97 * uniform_filter(plane, max(15, min(plane.shape) // 8), mode="nearest")
    return smooth(plane, paper, order=6) * float(plane[paper].mean())


def _numbered(places: F64, shape: tuple[int, ...]) -> tuple[F64, F64]:
    """Column and row of each dot, (n, 2), nan where it has none, walking from dot to dot from the middle; and the two steps, px."""
    number = np.full((len(places), 2), np.nan)
    if len(places) < 5:
        return number, np.eye(2)
    middle = int(np.argmin(((places - np.array(shape)[::-1] / 2) ** 2).sum(axis=1)))
    steps = _steps(places, middle)
    number[middle] = (0, 0)
    waiting = [(middle, steps)]
    while waiting:
        at, step = waiting.pop()
        for way in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            expected = places[at] + np.array(way) @ step
            off = np.hypot(*(places - expected).T)
            nearest = int(np.argmin(off))
            if off[nearest] < 0.25 * np.hypot(*step[0]) and np.isnan(number[nearest, 0]):
                number[nearest] = number[at] + way
                found = step.copy()
                axis, sign = (0, way[0]) if way[0] else (1, way[1])
                found[axis] = 0.5 * step[axis] + 0.5 * sign * (places[nearest] - places[at])
                waiting.append((nearest, found))
    return number, steps


def _steps(places: F64, middle: int) -> F64:
    """Steps to the neighbours right and down, (2, 2), from the four nearest dots."""
    away = places - places[middle]
    near = away[np.argsort(np.hypot(*away.T))[1:5]]
    right = near[np.argmax(near[:, 0] - np.abs(near[:, 1]))]
    down = near[np.argmax(near[:, 1] - np.abs(near[:, 0]))]
    return np.array([right, down])


def _fitted(places: F64, number: F64, steps: F64, shape: tuple[int, ...], pitch_mm: float, distance_mm: float) -> Scale:
    """Scale, turn, place, tilt of the sheet and radial distortion about the picture's middle, by least squares."""
    middle = np.array(shape)[::-1] / 2
    radius = float(np.hypot(*middle))

    def off(figures: F64) -> F64:
        px, turn, x, y, tilt_x, tilt_y, bend = figures
        cosine, sine = math.cos(turn), math.sin(turn)
        flat = px * (number @ np.array([[cosine, sine], [-sine, cosine]])) + np.array([x, y])
        flat = flat / (1.0 + flat @ np.array([tilt_x, tilt_y]) / radius)[:, np.newaxis]
        seen = flat * (1.0 + bend * ((flat / radius) ** 2).sum(axis=1))[:, np.newaxis]
        return np.asarray((seen + middle - places).reshape(-1), np.float64)

    turn = math.atan2(steps[0, 1], steps[0, 0])
    start = places[np.argmin((number**2).sum(axis=1))] - middle
    # here, because the imager, which only reads a calibration, needs nothing of these 25 MB
    from scipy.optimize import least_squares

    found = least_squares(off, np.array([np.hypot(*steps[0]), turn, *start, 0.0, 0.0, 0.0]), x_scale="jac")
    px, _turn, _x, _y, tilt_x, tilt_y, bend = found.x
    residual = math.sqrt(2 * found.cost / len(places))
    tilt = math.hypot(tilt_x, tilt_y)
    _refuse_bad(residual, tilt)
    spread = np.linalg.inv(found.jac.T @ found.jac) * (2 * found.cost / (len(found.fun) - len(found.x)))
    mm_per_px = pitch_mm / float(px)
    return Scale(
        mm_per_px=mm_per_px,
        mm_per_px_u=mm_per_px * math.sqrt(spread[0, 0]) / float(px),
        distance_mm=distance_mm,
        distortion_percent=100 * float(bend),
        distortion_percent_u=100 * math.sqrt(spread[6, 6]),
        dots=len(places),
        residual_px=residual,
        tilt_percent=100 * tilt,
    )


def _refuse_bad(residual: float, tilt: float) -> None:
    if residual > WORST_RESIDUAL_PX:
        raise Refused(
            "the dots do not lie on an even grid",
            f"{residual:.2f} px off",
            "print the sheet anew on stiff paper, lay it flat, and keep it still",
        )
    if tilt > STEEPEST_TILT:
        raise Refused(
            "the sheet is tilted", f"{tilt:.0%} change of scale", "hold the handheld square to the sheet's middle"
        )
