"""How parts of a picture move beside the whole of it: what moves alone is the dye's doing and not the hand's.

The whole is placed by least squares, and few parts of strong contrast pull all of it: light that dye sends sideways through tissue
makes the rim of a drape look moved by one or two pixels while nothing else moves (measured). So each part is placed by least
squares too, with a strength of its own, and in the middle of them those count little that disagree (Tukey's biweight: Beaton &
Tukey 1974, Technometrics 16:147; from memory).
"""

import math
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from shared.motion.refinement import STEP_SHARE, Mask, normal_equations

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

PARTS = 6, 8
"""Down and across."""
_LEAST_STRENGTH = 0.25
"""Of the whole's: weaker parts show another picture by now, and say nothing."""
_LEAST_KNOWN = 0.5
"""Share of the parts that must say something."""
_ALONE = 3.5
"""In standard deviations of the parts: what has moved by more, away from most, has moved alone (normal ones: 1 in 2000)."""
_ROUNDS = 8
PULLED_ALIKE = 1.75
"""Times what is unsure of parts that dye pulls each by itself, for it pulls neighbours alike. How far places were off in the second
half of an inflow beside its beginning, and what is said of that, rms: 0.059 px over two small tissues (100 runs; 0.062 said), 0.033
in the small scene (12; 0.040), 0.095 there in a bright room (12; 0.144), 0.074 on the flap (8; 0.068).
"""
_LEAST_AGREE = 0.25
"""Of what would hold the middle if all parts that count agreed; 0.7 where they are normal, less where they are of two minds."""
_MOST_ALONE = 0.35
"""Of all that places the whole; where more has moved, none of it is alone."""
_OF_MEDIAN = 1.4826
"""Standard deviation beside the median of absolute deviations, of normal ones."""


@dataclass(eq=False)
class Parts:
    """How far parts lay from where the whole did, over some frames: sums of texels right and down times weight, and of weights
    (2, down, across); a weight is the inverse of the square of what noise does, but for a factor.
    """

    offsets: F64 = field(default_factory=lambda: np.zeros((2, *PARTS)))
    weights: F64 = field(default_factory=lambda: np.zeros((2, *PARTS)))
    frames: int = 0

    def add(self, reference: F32, texture: F32, place: tuple[float, float, float], turn: int) -> None:
        """A frame whose ``texture`` shows the ``reference`` at ``place``, dx and dy texels from the centre and radians."""
        equations = normal_equations(reference, texture, place, turn, PARTS)
        normal, right_side = equations[..., :3], equations[..., 3]
        squares = np.diagonal(normal, axis1=-2, axis2=-1)
        singular = 1e-9 * max(float(squares[..., 0].max()), 1.0) * np.eye(3)  # parts that are out of view, or even
        strength, by_x, by_y = np.moveaxis(np.linalg.solve(normal + singular, right_side[..., None])[..., 0], -1, 0)
        least = _LEAST_STRENGTH * right_side[..., 0].sum() / max(float(squares[..., 0].sum()), 1e-12)
        told = strength > max(least, 0.0)
        strength = np.where(told, strength, 1.0)
        weights = np.where(told, strength**2 * np.stack([squares[..., 1], squares[..., 2]]), 0.0)
        # the gradients are the reference's: the picture moved by +d shows reference(p - d)
        self.offsets += weights * -STEP_SHARE * np.stack([by_x, by_y]) / strength
        self.weights += weights
        self.frames += 1

    def moved(self, before: "Parts") -> "MovedParts":
        """What parts have moved by since ``before``, while the whole has moved as it was found to."""
        known = (self.weights > 0) & (before.weights > 0)
        now, then = (each.offsets / np.where(known, each.weights, 1.0) for each in (self, before))
        return MovedParts(np.where(known, now - then, np.nan), np.where(known, self.weights, 0.0))


@dataclass(frozen=True, eq=False)
class MovedParts:
    """By how many texels right and down parts have moved beside the whole, nan where nothing says so, and how much each weighs in
    it; (2, down, across) each.
    """

    texels: F64
    weights: F64

    @property
    def middle(self) -> tuple[float, float]:
        """Where most of the picture has gone, beside the whole; (0, 0) where too few parts are known."""
        (right, _), (down, _) = self._middles
        return right, down

    @property
    def middle_u(self) -> float | None:
        """Standard uncertainty of that along each axis, texels, as parts disagree; None where too few are known."""
        (_, right), (_, down) = self._middles
        return None if right is None or down is None else PULLED_ALIKE * math.hypot(right, down) / math.sqrt(2.0)

    @cached_property
    def _middles(self) -> list[tuple[float, float | None]]:
        return [_middle(*axis) for axis in zip(self.texels, self.weights, strict=True)]

    @property
    def alone(self) -> Mask:
        """Parts (down, across) that have moved while most have not; none where too few are known, or too many have."""
        nobody = np.zeros(PARTS, np.bool_)
        if np.isfinite(self.texels).mean() < _LEAST_KNOWN:
            return nobody
        away = np.abs(self.texels - np.nanmedian(self.texels, axis=(1, 2), keepdims=True))
        scale = _OF_MEDIAN * np.nanmedian(away, axis=(1, 2), keepdims=True)
        found = np.asarray((np.nan_to_num(away) > _ALONE * scale).any(axis=0))
        return found if self.weights[:, found].sum() < _MOST_ALONE * self.weights.sum() else nobody


def shifted(counted: Mask, right: float, down: float) -> Mask:
    """Which parts count (down, across) once the picture has moved by so many widths and heights of one; what came into it does."""
    before, after = np.broadcast_to(counted, PARTS), np.ones(PARTS, np.bool_)
    rows, columns = np.arange(PARTS[0]) - round(down), np.arange(PARTS[1]) - round(right)
    shown = np.ix_((rows >= 0) & (rows < PARTS[0]), (columns >= 0) & (columns < PARTS[1]))
    after[shown] = before[np.ix_(rows[shown[0].ravel()], columns[shown[1].ravel()])]
    return after


def _middle(texels: F64, weights: F64) -> tuple[float, float | None]:
    """Where most are, and the standard uncertainty of that if each were pulled by itself (the asymptotic variance of an M-estimate:
    Huber 1964, Ann Math Stat 35:73; from memory); None where too few are known.
    """
    known = np.isfinite(texels)
    if known.mean() < _LEAST_KNOWN:
        return 0.0, None
    texels, weights = texels[known], weights[known]
    middle = float(np.median(texels))
    counted, by_middle = weights, float(weights.sum())
    for _ in range(_ROUNDS):
        away = np.abs(texels - middle)
        reach = _ALONE * _OF_MEDIAN * float(np.median(away))
        if not reach > 0:
            break
        near = np.maximum(1.0 - (away / reach) ** 2, 0.0)
        counted, by_middle = weights * near**2, float(weights @ (near * (5.0 * near - 4.0)))
        middle = float(counted @ texels / counted.sum())
    by_middle = max(by_middle, _LEAST_AGREE * float(counted.sum()))
    return middle, float(np.linalg.norm(counted * (texels - middle))) / by_middle
