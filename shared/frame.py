"""A frame: pixels, and what makes them comparable with another frame's."""

from dataclasses import dataclass, replace
from typing import Annotated, Literal, Self

import numpy as np
from numpy.typing import NDArray

from shared.bounded import Length, Within

Counts = NDArray[np.uint16]


@dataclass(frozen=True)
class CameraDescription:
    """What stays the same from frame to frame. ``black_level`` is the count of a pixel that saw nothing."""

    model: Annotated[str, Length(1, 80)]
    width: Annotated[int, Within(16, 8192)]
    height: Annotated[int, Within(16, 8192)]
    bit_depth: Annotated[int, Within(8, 16)] = 10
    black_level: Annotated[float, Within(0, 65535)] = 0.0
    shutter: Literal["global", "rolling"] = "global"
    frame_interval_us: Annotated[float, Within(100, 1e8)] = 33_333.0
    mm_per_px: Annotated[float, Within(1e-4, 100)] | None = None

    @property
    def shape(self) -> tuple[int, int]:
        """(height, width), as numpy orders them."""
        return self.height, self.width

    @property
    def white_level(self) -> int:
        """Largest count the converter can give."""
        return (1 << self.bit_depth) - 1


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """One exposure. ``pixels`` is (height, width) uint16 raw counts, read-only, valid while the camera's ``with`` is open.

    ``sensor_time_ns`` is when readout began, so exposure ran from ``exposure_us`` before it. ``light_level`` is the mean duty of
    the ring (0 to 1) over that exposure; ``lit`` says whether it was on at all. ``half_lit``: the light changed meanwhile, or may
    have, so that the frame counts for no figure. ``sequence`` counts every frame the sensor gave, so a step of more than one is a
    loss.
    """

    pixels: Counts
    sequence: int
    sensor_time_ns: int
    exposure_us: float
    gain: float = 1.0
    light_level: float = 1.0
    lit: bool = True
    half_lit: bool = False

    def __post_init__(self) -> None:
        if self.pixels.dtype != np.uint16 or self.pixels.ndim != 2:
            raise ValueError(
                f"a frame holds (height, width) uint16 counts, not {self.pixels.dtype} of shape {self.pixels.shape}"
            )
        if self.pixels.flags.writeable:
            view = self.pixels.view()
            view.flags.writeable = False
            object.__setattr__(self, "pixels", view)

    @property
    def exposure_start_ns(self) -> int:
        """When the exposure began, on the clock of ``sensor_time_ns``."""
        return self.sensor_time_ns - round(self.exposure_us * 1000)

    def with_light(self, level: float, lit: bool, half_lit: bool = False) -> Self:
        """Same pixels, seen under a light whose state became known after readout."""
        return replace(self, light_level=level, lit=lit, half_lit=half_lit)

    def kept(self) -> Self:
        """Copy that owns its pixels and so outlives the camera's buffer."""
        return replace(self, pixels=self.pixels.copy())
