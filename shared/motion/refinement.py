"""Shift and rotation to a fraction of a pixel: least squares between two textures (Lucas & Kanade 1981).

The picture is taken as a x reference, moved: each step solves for a, a dx, a dy and a dtheta at once, with the reference's own
gradients, over the texels that both pictures show. The strength a is free because the dye changes it.
"""

import math
from pathlib import Path

import numpy as np
from numba import njit
from numpy.typing import NDArray

import shared.motion.resample
from shared.lanes import compiler
from shared.motion.resample import sample_row, seen_columns

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
Mask = NDArray[np.bool_]

compiled = compiler(Path(__file__), Path(shared.motion.resample.__file__), reorder=True)

_STEPS = 5
_SETTLED_TEXELS = 0.1
"""A step shorter than this is the last: the next one would be some hundredths of it."""
_ENOUGH_TEXELS = 20_000
"""Rows are left out down to about this many texels. Which ones goes by turns, for what pulls at some of them is fixed."""
_LONGEST_STEP_TEXELS = 4.0
BIAS_TEXELS = 0.02
"""Measured on scenes and real pictures: 0.01 to 0.04."""
STEP_SHARE = 0.65
"""Part of each step that is taken: differences make gradients of so fine a texture too small, steps too long (measured: 1.6)."""
WHOLE: Mask = np.ones((1, 1), np.bool_)
"""Parts of a picture, down and across, that count: it is one, and does."""
_SUMS = 15


def refined(
    reference: F32, texture: F32, start: tuple[float, float, float], turn: int = 0, counted: Mask = WHOLE
) -> tuple[float, float, float, float]:
    """Better (dx, dy, radians) than ``start``, in texels from the centre, and how alike the pictures then are (-1 to 1).

    Likeness 0 says that there was nothing to refine with. Another ``turn`` looks at other rows of large pictures. The reference is
    cut into as many parts, down and across, as ``counted`` has, and those that it holds False for are not looked at.
    """
    step = _row_step(reference)
    dx, dy, radians, likeness = _refined(reference, texture, *start, 1 + turn % step, step, counted)
    return (dx, dy, radians, likeness) if likeness != 0.0 else (*start, 0.0)


def normal_equations(
    reference: F32, texture: F32, place: tuple[float, float, float], turn: int, parts: tuple[int, int]
) -> F64:
    """(down, across, 3, 4): of each of ``parts`` (down, across), for strength, dx and dy where the whole lies at ``place``, the
    right-hand side in the last column. ``place`` and ``turn`` as ``refined`` has them.
    """
    step, (dx, dy, radians), sums = _row_step(reference), place, np.empty((*parts, _SUMS))
    _accumulate(reference, texture, dx, dy, math.cos(radians), math.sin(radians), (1 + turn % step, step), sums)
    return np.asarray(sums[..., [[0, 1, 2, 10], [1, 4, 5, 11], [2, 5, 7, 12]]])


def compared_texels(reference: F32) -> int:
    """How many texels a likeness comes from, where both pictures show them all."""
    return reference.size // _row_step(reference)


def place_u_texels(likeness: float, texels: int) -> float:
    """Standard uncertainty of a shift along each axis, in texels: noise, and what interpolation and dye do besides."""
    return math.hypot(BIAS_TEXELS, noise_u_texels(likeness, texels))


def noise_u_texels(likeness: float, texels: int) -> float:
    """What noise does to a shift along each axis, in texels.

    It follows from least squares: a texture of rms 1 whose gradient has an rms of about 1/2 is placed to
    2 sqrt((1 - L^2) / L^2 / n) by n independent texels, which go about in fours.
    """
    unlike = max(1.0 - likeness * likeness, 0.0) / (likeness * likeness)
    return 2.0 * math.sqrt(4.0 * unlike / texels)


def view_share(reference: F32) -> float:
    """Part of what noise does to a shift that all frames share, for it is the reference's: half of the variance, and as much less
    as other rows are looked at by turns.

    Measured, means over many frames before any dye came: off by 0.024 px where all rows are looked at (200 small tissues; 0.028
    said), by 0.01 to 0.02 on the flap (0.03), by 0.01 to 0.03 on the limb (0.05), of which every fifth row is.
    """
    return math.sqrt(0.5 / _row_step(reference))


def likeness_u(likeness: float, texels: int) -> float:
    """What noise does to a likeness: the standard error of a correlation, (1 - L^2) / sqrt(n) (Pearson 1898, from memory), of
    texels that go about in fours.
    """
    return 2.0 * (1.0 - likeness * likeness) / math.sqrt(texels)


def _row_step(reference: F32) -> int:
    return max(reference.size // _ENOUGH_TEXELS, 1)


@compiled
def _refined(
    reference: F32, texture: F32, dx: float, dy: float, radians: float, first_row: int, row_step: int, counted: Mask
) -> tuple[float, float, float, float]:
    part_sums, sums = np.empty((counted.shape[0], counted.shape[1], _SUMS)), np.empty(_SUMS)
    normal, likeness = np.empty((4, 5)), 0.0
    radius = max(reference.shape[0], reference.shape[1]) / 2
    for _ in range(_STEPS):
        _accumulate(reference, texture, dx, dy, math.cos(radians), math.sin(radians), (first_row, row_step), part_sums)
        sums[:] = 0.0
        for i in range(counted.shape[0]):
            for j in range(counted.shape[1]):
                if counted[i, j]:
                    sums += part_sums[i, j]
        likeness = sums[10] / math.sqrt(sums[0] * sums[14]) if sums[0] > 0 and sums[14] > 0 else 0.0
        k = 0
        for i in range(4):
            for j in range(i, 4):
                normal[i, j] = normal[j, i] = sums[k]
                k += 1
            normal[i, 4] = sums[10 + i]
        if not _solve(normal) or not normal[0, 4] > 0:
            return dx, dy, radians, 0.0
        # the gradients are the reference's: the picture moved by +d shows reference(p - d)
        share = -STEP_SHARE / normal[0, 4]
        step_x, step_y, turn = share * normal[1, 4], share * normal[2, 4], share * normal[3, 4]
        largest = max(abs(step_x), abs(step_y), abs(turn) * radius)
        if not largest < _LONGEST_STEP_TEXELS:
            return dx, dy, radians, 0.0
        cosine, sine = math.cos(radians), math.sin(radians)
        dx, dy = dx + cosine * step_x - sine * step_y, dy + sine * step_x + cosine * step_y
        radians += turn
        if largest < _SETTLED_TEXELS:
            break
    return dx, dy, radians, likeness


@compiled
def _solve(normal: F64) -> bool:
    """Solve four positive definite equations, the right-hand side in the last column, in place; False where they are singular."""
    for i in range(4):
        if not normal[i, i] > 1e-12:
            return False
        for j in range(4, i - 1, -1):
            normal[i, j] /= normal[i, i]
        for k in range(4):
            if k != i:
                for j in range(4, i - 1, -1):
                    normal[k, j] -= normal[k, i] * normal[i, j]
    return True


@compiled
def _accumulate(
    reference: F32,
    texture: F32,
    dx: float,
    dy: float,
    cosine: float,
    sine: float,
    looked_at: tuple[int, int],
    sums: F64,
) -> None:
    """Normal equations of (reference, its x, y and turning derivatives) against the texture where the motion puts each texel.

    ``looked_at``: the first row, and how many on is the next. ``sums`` (parts down, parts across, 15): of each part of the
    reference, the upper triangle row by row (10), the right-hand side (4), and the texture's own square.
    """
    rows, columns = reference.shape
    down, across = sums.shape[0], sums.shape[1]
    middle_x, middle_y = 0.5 * (columns - 1), 0.5 * (rows - 1)
    seen = np.empty(columns, np.float32)
    sums[:] = 0.0
    for row in range(looked_at[0], rows - 1, looked_at[1]):
        y = row - middle_y
        x0 = dx + middle_x - sine * y - cosine * middle_x
        y0 = dy + middle_y + cosine * y - sine * middle_x
        begin, end = seen_columns(x0, y0, cosine, sine, rows, columns, 1, columns - 1)
        sample_row(texture, x0, y0, cosine, sine, begin, end, seen)
        above, here, below = reference[row - 1], reference[row], reference[row + 1]
        for part in range(across):
            left, right = max(begin, part * columns // across), min(end, (part + 1) * columns // across)
            _add_row(above, here, below, seen, left, right, middle_x, y, sums[row * down // rows, part])


@njit(inline="always")
def _add_row(
    above: F32, here: F32, below: F32, seen: F32, begin: int, end: int, middle_x: float, y: float, sums: F64
) -> None:
    tt = tx_t = ty_t = tr_t = xx = xy = xr = yy = yr = rr = ts = xs = ys = rs = ss = np.float32(0)
    middle, height, half = np.float32(middle_x), np.float32(y), np.float32(0.5)
    for column in range(begin, end):
        t, s = here[column], seen[column]
        by_x = half * (here[column + 1] - here[column - 1])
        by_y = half * (below[column] - above[column])
        by_turn = (np.float32(column) - middle) * by_y - height * by_x
        tt += t * t
        tx_t += t * by_x
        ty_t += t * by_y
        tr_t += t * by_turn
        xx += by_x * by_x
        xy += by_x * by_y
        xr += by_x * by_turn
        yy += by_y * by_y
        yr += by_y * by_turn
        rr += by_turn * by_turn
        ts += t * s
        xs += by_x * s
        ys += by_y * s
        rs += by_turn * s
        ss += s * s
    row_sums = (tt, tx_t, ty_t, tr_t, xx, xy, xr, yy, yr, rr, ts, xs, ys, rs, ss)
    for k in range(_SUMS):
        sums[k] += row_sums[k]
