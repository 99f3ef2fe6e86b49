"""How much pixels differ from each other: in the dark (DSNU) and in light (PRNU), the noise of the mean taken off (EMVA 1288)."""

import math
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from shared.bounded import Within
from shared.commissioning.stack import F64, Stack, same_size
from shared.errors import Refused

LEAST_FRAMES = 8


@dataclass(frozen=True)
class Nonuniformity:
    """``dsnu_electrons`` is the dark signal's standard deviation from pixel to pixel, ``prnu_percent`` the response's."""

    dsnu_electrons: Annotated[float, Within(0, 1e6)]
    prnu_percent: Annotated[float, Within(0, 100)]


def nonuniformity(
    dark: Stack, lit: Stack, counts_per_electron: float, good: NDArray[np.bool_] | None = None, shaded: bool = False
) -> Nonuniformity:
    """From stacks of one exposure, dark and lit to about half of saturation, at least 8 frames each; ``good`` leaves pixels out.

    ``shaded`` takes off what lens and ring do: the lit mean is divided by a smooth surface of fourth order first. EMVA 1288
    measures bare sensors under even light, where there is nothing to take off. Raises Refused.
    """
    same_size([("the dark mean", dark.mean), ("the lit mean", lit.mean)])
    if min(dark.frames, lit.frames) < LEAST_FRAMES:
        raise Refused("too few frames for DSNU and PRNU", min(dark.frames, lit.frames), f"at least {LEAST_FRAMES}")
    used = np.ones(dark.mean.shape, np.bool_) if good is None else good
    signal = lit.mean - dark.mean
    surface = smooth(signal, used) if shaded else np.ones_like(signal)
    level = float((signal / surface)[used].mean())
    if level <= 0:
        raise Refused("the lit frames are not brighter than the dark ones", level, "light the target")
    dark_variance = _spatial(dark.mean, dark, used)
    lit_variance = _spatial(dark.mean + signal / surface, lit, used)
    response = math.sqrt(max(lit_variance - dark_variance, 0.0)) / level
    return Nonuniformity(dsnu_electrons(dark, counts_per_electron, used), 100 * response)


def dsnu_electrons(dark: Stack, counts_per_electron: float, good: NDArray[np.bool_]) -> float:
    """Standard deviation of the dark signal from pixel to pixel, of ``good`` ones."""
    return math.sqrt(max(_spatial(dark.mean, dark, good), 0.0)) / counts_per_electron


def _spatial(plane: F64, stack: Stack, good: NDArray[np.bool_]) -> float:
    """Variance from pixel to pixel, less what the temporal noise leaves in a mean of so many frames."""
    return float(plane[good].var(ddof=1)) - float(stack.variance[good].mean()) / stack.frames


def smooth(plane: F64, good: NDArray[np.bool_], order: int = 4) -> F64:
    """Polynomial surface of ``order`` in x and y through the good pixels of a (height, width) plane, its mean 1 over them.

    Fitted to block means, which lose nothing of a smooth surface. Raises Refused where its mean is not positive.
    """
    height, width = plane.shape
    block = max(1, min(height, width) // 48)
    rows, columns = height // block, width // block
    weights = good[: rows * block, : columns * block].reshape(rows, block, columns, block).sum(axis=(1, 3))
    sums = np.where(good, plane, 0.0)[: rows * block, : columns * block].reshape(rows, block, columns, block)
    means = sums.sum(axis=(1, 3)) / np.maximum(weights, 1)
    y, x = (np.arange(rows) + 0.5) * block, (np.arange(columns) + 0.5) * block
    design = _terms(y, x, plane.shape, order).reshape(-1, rows * columns).T
    root = np.sqrt(weights.reshape(-1))
    found, *_ = np.linalg.lstsq(design * root[:, np.newaxis], means.reshape(-1) * root, rcond=None)
    surface = np.tensordot(found, _terms(np.arange(height) + 0.5, np.arange(width) + 0.5, plane.shape, order), 1)
    mean = float(surface[good].mean())
    if not mean > 0:
        raise Refused("the target is not brighter than the dark", mean, "light the target")
    return np.asarray(surface / mean, np.float64)


def _terms(y: NDArray[np.floating], x: NDArray[np.floating], shape: tuple[int, int], order: int) -> F64:
    """(terms, len(y), len(x)): products of powers of both, scaled to -1 ... 1."""
    down, across = 2 * y / shape[0] - 1, 2 * x / shape[1] - 1
    powers = [(i, j) for i in range(order + 1) for j in range(order + 1 - i)]
    return np.array([np.outer(down**i, across**j) for i, j in powers])
