"""What is known of one camera and ring, so that counts can become a signal."""

import math
from bisect import bisect_left
from dataclasses import dataclass
from operator import itemgetter
from typing import Literal, Self

import numpy as np
from numpy.typing import NDArray

from shared.errors import Refused
from shared.frame import CameraDescription

Origin = Literal["commissioned", "scene truth", "assumed"]

_LEVEL = itemgetter(0)


@dataclass(frozen=True, eq=False)
class Calibration:
    """Per-pixel and per-camera figures.

    ``dark_counts`` is (height, width) float32, the count at no light; ``flat`` (height, width) float32, relative sensitivity times
    illumination, 1.0 where it is greatest; ``defects`` (height, width) bool, pixels that are replaced by their neighbours.
    ``counts_per_electron`` (K) and ``read_noise_electrons`` are those of the photon transfer curve at unit gain (EMVA 1288).
    ``light_output`` pairs level (0 to 1) with output relative to full level, rising, between which one interpolates;
    ``light_measured_at`` says when it was measured, empty where it is assumed to be proportional.
    ``origin`` says how far to trust it: "commissioned" was measured on this device, "scene truth" comes from a simulated scene,
    "assumed" stands in where nothing is known.
    """

    camera: CameraDescription
    dark_counts: NDArray[np.float32]
    flat: NDArray[np.float32]
    defects: NDArray[np.bool_]
    counts_per_electron: float
    read_noise_electrons: float
    saturation_counts: int
    light_output: tuple[tuple[float, float], ...] = ((0.0, 0.0), (1.0, 1.0))
    origin: Origin = "assumed"
    made_at: str = ""
    light_measured_at: str = ""

    def __post_init__(self) -> None:
        for name in ("dark_counts", "flat", "defects"):
            plane: NDArray[np.generic] = getattr(self, name)
            if plane.shape != self.camera.shape:
                raise Refused(
                    f"calibration {name} is for another frame size",
                    plane.shape,
                    f"this camera gives {self.camera.shape}",
                )
            plane.flags.writeable = False
        if not (self.counts_per_electron > 0 and self.read_noise_electrons >= 0):
            raise Refused("calibration gain must be positive and read noise not negative", self.counts_per_electron)
        if not np.isfinite(self.dark_counts).all() or not (np.isfinite(self.flat).all() and float(self.flat.min()) > 0):
            raise Refused("calibration planes must be finite and the flat positive", remedy="calibrate again")

    @classmethod
    def assumed(cls, camera: CameraDescription) -> Self:
        """Stand in where nothing was measured: black level as dark, an even field, no defects, 10 electrons a count."""
        return cls(
            camera=camera,
            dark_counts=np.full(camera.shape, camera.black_level, np.float32),
            flat=np.ones(camera.shape, np.float32),
            defects=np.zeros(camera.shape, np.bool_),
            counts_per_electron=0.1,
            read_noise_electrons=3.0,
            saturation_counts=camera.white_level,
        )

    def output_at(self, level: float) -> float:
        """Light output at ``level``, relative to full level (piecewise linear through ``light_output``)."""
        points = self.light_output  # a handful, asked for several times a frame: numpy would take longer to be called
        above = bisect_left(points, level, key=_LEVEL)
        if math.isnan(level) or above in (0, len(points)):
            return level if math.isnan(level) else points[min(above, len(points) - 1)][1]
        (here, low), (there, high) = points[above - 1 : above + 1]
        return low + (high - low) * (level - here) / (there - here)

    def counts_to_signal(self, exposure_us: float, gain: float, light_level: float) -> float:
        """Factor from corrected counts to signal: counts a millisecond at unit gain and full light. Raises Refused when unlit."""
        output = self.output_at(light_level)
        if output <= 0:
            raise Refused("an unlit frame has no fluorescence signal", light_level, "switch the light on")
        return 1000.0 / (exposure_us * gain * output)
