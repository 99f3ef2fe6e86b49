"""A named area of the picture, given as on the command line.

``tip:10,20,30,40`` is a rectangle, ``tip:polygon:1,1,9,1,5,9`` a polygon, and ``vessel:line:5,10,80,60,20,90,25`` a line five
pixels wide along a vessel. The value of each is the mean of its pixels; a line's pixels are those nearer to it than half its width.
"""

import itertools
import re
from dataclasses import dataclass
from functools import cached_property
from typing import Literal, Self

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from shared.errors import Refused

_NAME = re.compile(r"[^\W_][\w .\-]{0,39}")
_HOW = "write name:x,y,width,height or name:polygon:x1,y1,x2,y2,x3,y3 or name:line:width,x1,y1,x2,y2 in pixels"
_WIDEST_LINE = 400

Shape = Literal["rectangle", "polygon", "line"]


@dataclass(frozen=True)
class Region:
    """``numbers`` are x, y, width, height of a rectangle, x1, y1, x2, y2, ... of a polygon, or a line's width and then its points
    in the same way, all in sensor pixels.
    """

    name: str
    shape: Shape
    numbers: tuple[int, ...]

    def __post_init__(self) -> None:
        if not _NAME.fullmatch(self.name):
            raise Refused(
                "a region's name is 1 to 40 letters, digits, spaces, dots or dashes", self.name, "choose another name"
            )
        if self.shape == "rectangle" and (len(self.numbers) != 4 or min(self.numbers[2:]) < 1):
            raise Refused("a rectangle needs x, y and a positive width and height", self.numbers, _HOW)
        if self.shape == "polygon" and (len(self.numbers) < 6 or len(self.numbers) % 2 or len(self.numbers) > 400):
            raise Refused("a polygon needs 3 to 200 corners, each x,y", self.numbers, _HOW)
        if self.shape == "line" and (len(self.numbers) < 5 or not len(self.numbers) % 2 or len(self.numbers) > 401):
            raise Refused("a line needs its width and 2 to 200 points, each x,y", self.numbers, _HOW)
        if self.shape == "line" and not 1 <= self.numbers[0] <= _WIDEST_LINE:
            raise Refused(f"a line is 1 to {_WIDEST_LINE} pixels wide", self.numbers[0], "choose another width")

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read the command line's form; raises Refused saying what is wrong with it."""
        name, _, rest = text.partition(":")
        shape: Shape = "rectangle"
        if rest.startswith("polygon:"):
            shape, rest = "polygon", rest.removeprefix("polygon:")
        elif rest.startswith("line:"):
            shape, rest = "line", rest.removeprefix("line:")
        try:
            numbers = tuple(round(float(part)) for part in rest.split(","))
        except (ValueError, OverflowError):
            raise Refused("not a region", text, _HOW) from None
        return cls(name.strip(), shape, numbers)

    @classmethod
    def around(cls, name: str, x: int, y: int, radius: int) -> Self:
        """Square centred on a touched point."""
        return cls(name, "rectangle", (x - radius, y - radius, 2 * radius + 1, 2 * radius + 1))

    def __str__(self) -> str:
        return f"{self.name}:{self.place}"

    @property
    def place(self) -> str:
        """Where it is, without its name: what two regions of one place have in common."""
        kind = "" if self.shape == "rectangle" else f"{self.shape}:"
        return f"{kind}{','.join(map(str, self.numbers))}"

    @cached_property
    def bounds(self) -> tuple[int, int, int, int]:
        """(left, top, right, bottom), right and bottom exclusive, not yet clipped to a picture."""
        if self.shape == "rectangle":
            x, y, width, height = self.numbers
            return x, y, x + width, y + height
        points = self.numbers[self.shape == "line" :]
        reach = self.numbers[0] // 2 if self.shape == "line" else 0
        xs, ys = points[0::2], points[1::2]
        return min(xs) - reach, min(ys) - reach, max(xs) + 1 + reach, max(ys) + 1 + reach

    def share_inside(self, picture_shape: tuple[int, int]) -> float:
        """Share of its bounding box that lies inside a (height, width) picture, 0 to 1."""
        left, top, right, bottom = self.bounds
        height, width = picture_shape
        inside = max(min(right, width) - max(left, 0), 0) * max(min(bottom, height) - max(top, 0), 0)
        return inside / ((right - left) * (bottom - top))

    def indices(self, picture_shape: tuple[int, int]) -> NDArray[np.intp]:
        """Flat indices (row-major) of the region's pixels in a (height, width) picture; raises Refused when none lie inside."""
        height, width = picture_shape
        left, top, right, bottom = self.bounds
        left, top, right, bottom = max(left, 0), max(top, 0), min(right, width), min(bottom, height)
        if left >= right or top >= bottom:
            raise Refused("region lies outside the picture", str(self), f"the picture is {width} x {height} pixels")
        inside = np.ones((bottom - top, right - left), np.bool_)
        if self.shape == "polygon":
            corners = [(x - left, y - top) for x, y in zip(self.numbers[0::2], self.numbers[1::2], strict=True)]
            stencil = Image.new("1", (right - left, bottom - top))
            ImageDraw.Draw(stencil).polygon(corners, fill=1, outline=1)
            inside = np.asarray(stencil, np.bool_)
        elif self.shape == "line":
            inside = _near_line(self.numbers, (left, top), inside.shape)
        rows, columns = np.nonzero(inside)
        return (rows + top) * width + columns + left


def _near_line(numbers: tuple[int, ...], corner: tuple[int, int], shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """Pixels of a (height, width) patch, whose top left pixel is ``corner``, nearer than half the width to the line's pieces.

    Distance of a point to a segment: elementary geometry. Each piece looks only at the box that it can reach.
    """
    near = np.zeros(shape, np.bool_)
    reach = numbers[0] // 2
    points = np.reshape(numbers[1:], (-1, 2)) - corner
    for (ax, ay), (bx, by) in itertools.pairwise(points):
        left, top = max(min(ax, bx) - reach, 0), max(min(ay, by) - reach, 0)
        box = near[top : max(max(ay, by) + reach + 1, 0), left : max(max(ax, bx) + reach + 1, 0)]
        ys, xs = np.ogrid[top : top + box.shape[0], left : left + box.shape[1]]
        along = (xs - ax) * (bx - ax) + (ys - ay) * (by - ay)
        share = np.clip(along / max((bx - ax) ** 2 + (by - ay) ** 2, 1), 0.0, 1.0)
        box |= np.hypot(xs - ax - share * (bx - ax), ys - ay - share * (by - ay)) <= numbers[0] / 2
    return near
