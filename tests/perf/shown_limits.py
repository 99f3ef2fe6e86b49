"""Between which percentages a block keeps its colour, worked out once for frames that are all alike; for the yardsticks."""

from dataclasses import dataclass

import numpy as np

from shared.calibration import Calibration
from shared.live_picture import Look, block_means
from shared.picture_noise import SteadiedNoise, frame_noise
from shared.settings import PictureSettings

SETTLED = 100


@dataclass(frozen=True, eq=False)
class Limits:
    """Percentages, (rows, columns) of blocks: too dark to tell below ``least``, too uncertain above ``most``."""

    least: np.ndarray
    most: np.ndarray


def limits(calibration: Calibration, settings: PictureSettings, look: Look, gain: float, factor: float) -> Limits:
    """For a settled picture without a baseline: where its variance, a p + b, meets p^2, and where it meets the widest one."""
    steadied = SteadiedNoise(settings.steadying)
    for _ in range(SETTLED):
        noise = steadied.take(frame_noise(calibration, gain, factor))
    shown = look.percent_noise(noise, settings.smoothing)
    inverse_flat = block_means(1.0 / calibration.flat)
    still = shown.own_variance(np.zeros_like(inverse_flat), inverse_flat)
    per_percent = shown.own_variance(np.ones_like(inverse_flat), inverse_flat) - still
    half = settings.least_signal_to_noise**2 * per_percent / 2.0
    least = half + np.sqrt(half**2 + settings.least_signal_to_noise**2 * still)
    room, share = settings.widest_u_percent**2 - still, shown.relative_u**2
    most = 2.0 * room / (per_percent + np.sqrt(per_percent**2 + 4.0 * share * np.maximum(room, 0.0)))
    return Limits(least, most)
