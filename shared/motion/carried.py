"""A region marked in one view, as it lies in another."""

import numpy as np

from shared.motion.pose import Motion
from shared.region import Region

_UPRIGHT_DEG = 0.5


def carried(region: Region, motion: Motion, picture_shape: tuple[int, int]) -> Region:
    """The region after ``motion``, to the nearest pixel; a rectangle that turns becomes a polygon, a line stays one.

    ``picture_shape`` is (height, width), about whose centre it turns.
    """
    matrix = motion.to_frame(picture_shape)
    if region.shape == "rectangle" and abs(motion.rotation_deg) < _UPRIGHT_DEG:
        x, y, width, height = region.numbers
        middle = np.array([x + (width - 1) / 2, y + (height - 1) / 2])
        right, down = matrix @ [*middle, 1.0] - middle
        return Region(region.name, "rectangle", (x + round(right), y + round(down), width, height))
    points = np.reshape(_points(region), (-1, 2))
    moved = np.rint(points @ matrix[:, :2].T + matrix[:, 2]).astype(int)
    numbers = tuple(int(number) for number in moved.ravel())
    if region.shape == "line":
        return Region(region.name, "line", (region.numbers[0], *numbers))
    return Region(region.name, "polygon", numbers)


def _points(region: Region) -> tuple[int, ...]:
    if region.shape == "polygon":
        return region.numbers
    if region.shape == "line":
        return region.numbers[1:]
    left, top, right, bottom = region.bounds
    return (left, top, right - 1, top, right - 1, bottom - 1, left, bottom - 1)
