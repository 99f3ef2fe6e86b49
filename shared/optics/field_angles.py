"""Angles at which light meets the emission filter, by place in the picture and by the filter's place.

In front of the lens the chief ray's angle is the field angle, atan(r / f), r being the distance from the picture's centre on the
sensor. Behind the lens it is the angle at which the lens sends its chief ray to the sensor (on its data sheet; its tangent grows
with r), and every point gets a cone of half-angle atan(1 / 2N). In front, the cone is only f / 2N over the distance wide.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from shared.optics.spectrum import F64

Place = Literal["front", "behind"]
Position = Literal["centre", "edge", "corner"]
POSITIONS: tuple[Position, ...] = ("centre", "edge", "corner")
_RINGS, _SPOKES = 8, 8
_NARROW = 0.01


@dataclass(frozen=True, eq=False)
class Rays:
    """Rays of a place in the picture: field angle, and angles to the filter: chief ray, outermost ray, and all over the pupil."""

    position: Position
    field_angle_deg: float
    chief_deg: float
    steepest_deg: float
    angles_deg: F64


def radius_mm(position: Position, width_mm: float, height_mm: float) -> float:
    """Distance from the picture's centre on the sensor: 0, half the longer side, half the diagonal."""
    return {
        "centre": 0.0,
        "edge": max(width_mm, height_mm) / 2,
        "corner": math.hypot(width_mm, height_mm) / 2,
    }[position]


def field_angle_deg(radius_on_sensor_mm: float, focal_length_mm: float) -> float:
    """Angle to the optical axis of what is seen at that radius, for a lens without distortion focused far away."""
    return math.degrees(math.atan(radius_on_sensor_mm / focal_length_mm))


def steepest_deg(chief_deg: float, cone_tangent: float) -> float:
    """Angle to the axis of the outermost ray of a cone."""
    return math.degrees(math.atan(math.tan(math.radians(chief_deg)) + cone_tangent))


def cone_deg(chief_deg: float, cone_tangent: float) -> F64:
    """Angles to the axis of rays spread evenly (by area) over a round pupil, whose rim is ``cone_tangent`` from the chief ray.

    A cone of less than about half a degree is taken as its chief ray.
    """
    if cone_tangent < _NARROW:
        return np.array([chief_deg])
    rings = np.sqrt((np.arange(_RINGS) + 0.5) / _RINGS)[:, None] * cone_tangent
    spokes = (np.arange(_SPOKES)[None, :] + 0.5) / _SPOKES * np.pi  # half a pupil: the other half is its mirror image
    along = math.tan(math.radians(chief_deg)) + rings * np.cos(spokes)
    across = rings * np.sin(spokes)
    return np.degrees(np.arctan(np.hypot(along, across))).ravel()
