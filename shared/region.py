"""A named area of the picture, given as on the command line: ``tip:10,20,30,40`` or ``tip:polygon:1,1,9,1,5,9``."""

import re
from dataclasses import dataclass
from functools import cached_property
from typing import Literal, Self

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from shared.errors import Refused

_NAME = re.compile(r"[^\W_][\w .\-]{0,39}")
_HOW = "write name:x,y,width,height or name:polygon:x1,y1,x2,y2,x3,y3 in pixels"


@dataclass(frozen=True)
class Region:
    """``numbers`` are x, y, width, height of a rectangle, or x1, y1, x2, y2, ... of a polygon, in sensor pixels."""

    name: str
    shape: Literal["rectangle", "polygon"]
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

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read the command line's form; raises Refused saying what is wrong with it."""
        name, _, rest = text.partition(":")
        shape: Literal["rectangle", "polygon"] = "rectangle"
        if rest.startswith("polygon:"):
            shape, rest = "polygon", rest.removeprefix("polygon:")
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
        kind = "polygon:" if self.shape == "polygon" else ""
        return f"{self.name}:{kind}{','.join(map(str, self.numbers))}"

    @cached_property
    def bounds(self) -> tuple[int, int, int, int]:
        """(left, top, right, bottom), right and bottom exclusive, not yet clipped to a picture."""
        if self.shape == "rectangle":
            x, y, width, height = self.numbers
            return x, y, x + width, y + height
        xs, ys = self.numbers[0::2], self.numbers[1::2]
        return min(xs), min(ys), max(xs) + 1, max(ys) + 1

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
        rows, columns = np.nonzero(inside)
        return (rows + top) * width + columns + left
