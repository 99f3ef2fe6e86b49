"""One motion: where the tissue of a reference view is found in another picture."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Motion:
    """What was at p in the reference view is at R p + d in the frame, both counted from the picture's centre in pixels.

    ``dx_px`` is to the right, ``dy_px`` down, ``rotation_deg`` clockwise as seen. ``confidence`` (0 to 1) is 1 - rival / peak: by
    how much the best place matches better than the best other place; below the limit there is no lock. ``likeness`` (-1 to 1) is
    the correlation of the two textures once they lie on each other: noise and dye lower it without making the place unsure.
    ``u_px`` is the standard uncertainty of the shift along each axis.
    """

    dx_px: float = 0.0
    dy_px: float = 0.0
    rotation_deg: float = 0.0
    confidence: float = 1.0
    locked: bool = True
    likeness: float = 1.0
    u_px: float = 0.0

    @property
    def is_none(self) -> bool:
        """Whether nothing moved at all, as where nothing is followed."""
        return self.dx_px == 0.0 and self.dy_px == 0.0 and self.rotation_deg == 0.0

    @property
    def shift_px(self) -> float:
        """How far the picture's centre has moved."""
        return math.hypot(self.dx_px, self.dy_px)

    def then(self, later: Self) -> "Motion":
        """Both, this one first: ``later`` is from this motion's frame to another. As sure as the less sure of the two."""
        cosine, sine = _turn(later.rotation_deg)
        return Motion(
            cosine * self.dx_px - sine * self.dy_px + later.dx_px,
            sine * self.dx_px + cosine * self.dy_px + later.dy_px,
            self.rotation_deg + later.rotation_deg,
            min(self.confidence, later.confidence),
            self.locked and later.locked,
            min(self.likeness, later.likeness),
            math.hypot(self.u_px, later.u_px),
        )

    def back(self) -> "Motion":
        """The opposite: from the frame to the reference view."""
        cosine, sine = _turn(-self.rotation_deg)
        return Motion(
            -(cosine * self.dx_px - sine * self.dy_px),
            -(sine * self.dx_px + cosine * self.dy_px),
            -self.rotation_deg,
            self.confidence,
            self.locked,
            self.likeness,
            self.u_px,
        )

    def to_frame(self, shape: tuple[int, int]) -> NDArray[np.float64]:
        """(2, 3) matrix from indices (x, y, 1) of the reference view to indices (x, y) of the frame; ``shape`` (height, width)."""
        cosine, sine = _turn(self.rotation_deg)
        x0, y0 = (shape[1] - 1) / 2, (shape[0] - 1) / 2
        return np.array(
            [
                [cosine, -sine, self.dx_px + x0 - cosine * x0 + sine * y0],
                [sine, cosine, self.dy_px + y0 - sine * x0 - cosine * y0],
            ]
        )


def line_through(times_s: Sequence[float], motions: Sequence[Motion], at_s: float) -> Motion:
    """Motion at ``at_s`` on a straight line through motions that differ little in rotation: drift without tremor (least squares).

    Their mean where there are fewer than three, or where ``at_s`` lies beyond them. As sure as the least sure of them. Raises
    ValueError where there are none.
    """
    if not motions:
        raise ValueError("no motion to draw a line through")
    numbers = np.array([(motion.dx_px, motion.dy_px, motion.rotation_deg) for motion in motions])
    since_s = np.asarray(times_s) - np.mean(times_s)
    level, spread = numbers.mean(axis=0), float(np.square(since_s).sum())
    if len(motions) > 2 and spread > 0 and min(times_s) <= at_s <= max(times_s):
        level += (at_s - np.mean(times_s)) * (since_s @ numbers) / spread
    dx_px, dy_px, rotation_deg = (float(each) for each in level)
    u_px = max(motion.u_px for motion in motions)
    return Motion(dx_px, dy_px, rotation_deg, min(motion.confidence for motion in motions), u_px=u_px)


def _turn(degrees: float) -> tuple[float, float]:
    radians = math.radians(degrees)
    return math.cos(radians), math.sin(radians)
