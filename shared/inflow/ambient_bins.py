"""Ambient light of the maps' bins, measured in unlit frames; shared/ambient.py says how."""

import math

import numpy as np
from numpy.typing import NDArray

from shared.ambient import LONGEST_BETWEEN_S, RunningRate
from shared.calibration import Calibration
from shared.frame import Frame
from shared.inflow.maps_kernel import add_frame
from shared.signal import counts_variance

F32 = NDArray[np.float32]


class AmbientBins:
    """Takes unlit frames, gives what is to be taken off the sums of lit ones: 12 bytes a bin."""

    def __init__(self, calibration: Calibration, dark: F32, pixels: NDArray[np.uint8]) -> None:
        """``dark`` and ``pixels`` (height, width) as in ``Bins``."""
        self._calibration, self._dark, self._pixels = calibration, dark, int(pixels.sum())
        self._running = RunningRate(dark.shape)
        self._sums, self._clipped = np.zeros(dark.shape, np.uint32), np.zeros(dark.shape, np.uint16)
        self._taken_with = 1000.0, 1.0
        self._seen_s = -math.inf

    def take(self, frame: Frame, time_s: float, pairs: NDArray[np.uint32], defects: NDArray[np.int32]) -> None:
        """Mix an unlit frame in, which ``pairs`` show two pixels a word; ``defects`` (n, 2) count for nothing."""
        self._sums[:] = 0
        add_frame(pairs, defects, np.uint32(0xFFFF), self._sums, self._clipped)
        counts = self._sums.astype(np.float32) - self._dark
        per_ms = 1000.0 / (frame.exposure_us * frame.gain)
        mean = float(counts.sum(dtype=np.float64)) / self._pixels
        noise = float(counts_variance(mean, frame.gain, self._calibration)) / self._pixels
        counts *= np.float32(per_ms)
        self._running.mix(counts, mean * per_ms, math.sqrt(noise) * per_ms)
        self._taken_with, self._seen_s = (frame.exposure_us, frame.gain), time_s

    def is_known(self, time_s: float) -> bool:
        """Whether ambient light was measured shortly before; farther from an unlit frame it would be guessed."""
        return time_s - self._seen_s <= LONGEST_BETWEEN_S

    def dark_into(self, exposure_us: float, gain: float, out: F32) -> None:
        """Dark counts and those of ambient light, sums over a bin's pixels, (height, width)."""
        np.multiply(self._running.rate, np.float32(exposure_us * gain / 1000.0), out=out)
        out += self._dark

    def pixel_counts(self, exposure_us: float, gain: float) -> float:
        """What ambient light adds to a pixel, on average over the picture."""
        return max(self._running.mean, 0.0) * exposure_us * gain / 1000.0

    def variance_counts2(self, exposure_us: float, gain: float) -> float:
        """How far off that may be in one pixel, on average over the picture, counts squared: the running mean keeps some noise."""
        taken_us, taken_gain = self._taken_with
        noise = float(counts_variance(self.pixel_counts(taken_us, taken_gain), taken_gain, self._calibration))
        return noise * self._running.noise_share * (exposure_us * gain / (taken_us * taken_gain)) ** 2

    @property
    def age(self) -> float:
        """Of the running mean, as in ``RunningRate``."""
        return self._running.age
