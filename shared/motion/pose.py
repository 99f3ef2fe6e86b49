"""One motion: where the tissue of a reference view is found in another picture."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Self

import numpy as np
from numpy.typing import NDArray

_SCATTERED = 5
"""Motions whose scatter tells how sure their mean is: along two axes that are 8 degrees of freedom."""
MARKING_S = 1.0
"""A region belongs where a line through the motion this long before and after it was marked has it: a finger follows no tremor."""


@dataclass(frozen=True)
class Motion:
    """What was at p in the reference view is at m R p + d in the frame, both counted from the picture's centre in pixels.

    ``dx_px`` is to the right, ``dy_px`` down, ``rotation_deg`` clockwise as seen. ``confidence`` (0 to 1) is 1 - rival / peak: by
    how much the best place matches better than the best other place; below the limit there is no lock. ``likeness`` (-1 to 1) is
    the correlation of the two textures once they lie on each other: noise and dye lower it without making the place unsure.
    ``u_px`` is the standard uncertainty of the shift along each axis, and ``own_px`` the part of it that is another in each frame,
    as no hand holds a picture to a part of a texel. ``magnification`` m is 1 within a recording, whose distance counts as one;
    between two, 1.1 says that the frame shows the tissue a tenth larger.
    """

    dx_px: float = 0.0
    dy_px: float = 0.0
    rotation_deg: float = 0.0
    confidence: float = 1.0
    locked: bool = True
    likeness: float = 1.0
    u_px: float = 0.0
    magnification: float = 1.0
    own_px: float = 0.0

    @property
    def is_none(self) -> bool:
        """Whether nothing moved at all, as where nothing is followed."""
        return (self.dx_px, self.dy_px, self.rotation_deg, self.magnification) == (0.0, 0.0, 0.0, 1.0)

    @property
    def shift_px(self) -> float:
        """How far the picture's centre has moved."""
        return math.hypot(self.dx_px, self.dy_px)

    @property
    def shared_px(self) -> float:
        """What of ``u_px`` the frames round this one have in common."""
        return math.sqrt(max(self.u_px**2 - self.own_px**2, 0.0))

    def then(self, later: Self) -> "Motion":
        """Both, this one first: ``later`` is from this motion's frame to another. As sure as the less sure of the two."""
        cosine, sine = _turn(later.rotation_deg, later.magnification)
        return Motion(
            cosine * self.dx_px - sine * self.dy_px + later.dx_px,
            sine * self.dx_px + cosine * self.dy_px + later.dy_px,
            self.rotation_deg + later.rotation_deg,
            min(self.confidence, later.confidence),
            self.locked and later.locked,
            min(self.likeness, later.likeness),
            math.hypot(self.u_px, later.u_px),
            self.magnification * later.magnification,
            math.hypot(self.own_px, later.own_px),
        )

    def back(self) -> "Motion":
        """The opposite: from the frame to the reference view."""
        cosine, sine = _turn(-self.rotation_deg, 1.0 / self.magnification)
        return Motion(
            -(cosine * self.dx_px - sine * self.dy_px),
            -(sine * self.dx_px + cosine * self.dy_px),
            -self.rotation_deg,
            self.confidence,
            self.locked,
            self.likeness,
            self.u_px,
            1.0 / self.magnification,
            self.own_px,
        )

    def to_frame(self, shape: tuple[int, int]) -> NDArray[np.float64]:
        """(2, 3) matrix from indices (x, y, 1) of the reference view to indices (x, y) of the frame; ``shape`` (height, width)."""
        cosine, sine = _turn(self.rotation_deg, self.magnification)
        x0, y0 = (shape[1] - 1) / 2, (shape[0] - 1) / 2
        return np.array(
            [
                [cosine, -sine, self.dx_px + x0 - cosine * x0 + sine * y0],
                [sine, cosine, self.dy_px + y0 - sine * x0 - cosine * y0],
            ]
        )


def to_frames(places: NDArray[np.float64], shape: tuple[int, int]) -> NDArray[np.float64]:
    """``Motion.to_frame`` of many, (n, 2, 3); ``places`` (n, 4) are ``dx_px``, ``dy_px``, ``rotation_deg``, ``magnification``."""
    right, down, degrees, magnification = places.T
    cosine, sine = magnification * np.cos(np.radians(degrees)), magnification * np.sin(np.radians(degrees))
    x0, y0 = (shape[1] - 1) / 2, (shape[0] - 1) / 2
    found = np.empty((len(places), 2, 3))
    found[:, 0] = np.stack([cosine, -sine, right + x0 - cosine * x0 + sine * y0], axis=1)
    found[:, 1] = np.stack([sine, cosine, down + y0 - sine * x0 - cosine * y0], axis=1)
    return found


def mean_motion(motions: Sequence[Motion]) -> Motion:
    """Of several that are nearly the same: all who go by it share what it is off by.

    What they have of their own is judged by their scatter (type A: JCGM 100:2008, GUM, 4.2.3) where there are ``_SCATTERED`` or
    more, else as the first says; what they share is the first's.
    """
    numbers = np.array([(motion.dx_px, motion.dy_px, motion.rotation_deg) for motion in motions])
    dx_px, dy_px, rotation_deg = (float(each) for each in numbers.mean(axis=0))
    scattered = len(motions) >= _SCATTERED
    own_px = math.sqrt(numbers[:, :2].var(axis=0, ddof=1).mean()) if scattered else motions[0].own_px
    u_px = _u_of_mean(motions[0].shared_px, own_px, len(motions))
    return replace(motions[0], dx_px=dx_px, dy_px=dy_px, rotation_deg=rotation_deg, u_px=u_px, own_px=0.0)


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
    least_sure = max(motions, key=lambda motion: motion.u_px)
    confidence = min(motion.confidence for motion in motions)
    return Motion(
        dx_px, dy_px, rotation_deg, confidence, u_px=_u_of_mean(least_sure.shared_px, least_sure.own_px, len(motions))
    )


def place_near(times_s: Sequence[float], sure: Callable[[int], Motion | None], at_s: float) -> Motion:
    """Motion to the view at ``at_s``, tremor smoothed out; ``sure`` gives that of a frame, None where it is not known.

    Where none is known nearby, the last one before counts, and no motion where there is none.
    """
    first, last = np.searchsorted(times_s, (at_s - MARKING_S, at_s + MARKING_S))
    first = min(int(first), len(times_s) - 1)
    last = max(min(int(last), len(times_s)), first + 1)
    near = [(number, motion) for number in range(first, last) if (motion := sure(number)) is not None]
    if near:
        return line_through([times_s[number] for number, _ in near], [motion for _, motion in near], at_s)
    earlier = (sure(number) for number in reversed(range(first)))
    return next((motion for motion in earlier if motion is not None), Motion())


def _u_of_mean(shared_px: float, own_px: float, number: int) -> float:
    """Standard uncertainty of a mean of a ``number`` of frames, each with a part of its own and one that all have alike."""
    return math.hypot(shared_px, own_px / math.sqrt(number))


def _turn(degrees: float, magnification: float) -> tuple[float, float]:
    radians = math.radians(degrees)
    return magnification * math.cos(radians), magnification * math.sin(radians)
