"""The yardstick of the maps' gathering: the same sums by plain numpy."""

import numpy as np

from shared.calibration import Calibration
from shared.frame import Frame
from shared.inflow.maps_slots import Bins


class PlainMaps:
    """Corrects, bins and sums each frame in float64; marks what is saturated."""

    def __init__(self, calibration: Calibration) -> None:
        self._calibration, self._bins = calibration, Bins.of(calibration)
        shape = self._bins.dark.shape
        self.sums, self.clipped = np.zeros(shape), np.zeros(shape, np.uint16)

    def add(self, frame: Frame) -> None:
        """Take one frame in."""
        known, (height, width) = self._calibration, self.sums.shape
        factor = known.counts_to_signal(frame.exposure_us, frame.gain, frame.light_level)
        counts = np.where(known.defects, 0.0, frame.pixels - known.dark_counts.astype(np.float64))
        binned = counts.reshape(height, 2, width, 2).sum(axis=(1, 3))
        self.sums += binned * self._bins.inverse_flat * factor
        over = (frame.pixels >= known.saturation_counts) & ~known.defects
        self.clipped += over.reshape(height, 2, width, 2).sum(axis=(1, 3)).astype(np.uint16)
