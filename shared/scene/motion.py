"""Where the hand has moved the picture to."""

import math

import numpy as np

from shared.scene.description import Scene

LARGEST_MARGIN_PX = 256
_FOLLOWED_S = 120.0
_TREMOR_SPREAD = (0.83, 1.0, 1.21)


class HandMotion:
    """Displacement of tissue in the picture, a pure function of time for a scene and seed.

    Tremor is three sinusoids near ``tremor_hz`` on each axis with seeded phases, of the stated rms; drift is steady until it comes
    to the drawn margin, where the hand trembles on. Motion within one exposure (blur) is not modelled.
    """

    def __init__(self, scene: Scene, seed: int) -> None:
        motion = scene.motion
        self._mm_per_px = scene.optics.mm_per_px
        self._phases = np.random.default_rng([seed, 71]).uniform(0, 2 * math.pi, (2, 3))
        self._rates = 2 * math.pi * motion.tremor_hz * np.array(_TREMOR_SPREAD)
        self._amplitude_mm = motion.tremor_mm * math.sqrt(2.0 / 3.0)
        direction = math.radians(motion.drift_direction_deg)
        self._drift_mm_s = motion.drift_mm_s * np.array([math.cos(direction), math.sin(direction)])
        reach_mm = 3 * self._amplitude_mm + abs(motion.drift_mm_s) * _FOLLOWED_S
        self.margin_px = min(math.ceil(reach_mm / self._mm_per_px) + 1, LARGEST_MARGIN_PX) if reach_mm > 0 else 0
        self._drift_ends_px = max(self.margin_px - 1 - 3 * self._amplitude_mm / self._mm_per_px, 0.0)

    def displacement_px(self, time_s: float) -> tuple[float, float]:
        """(x, y) by which tissue is shifted to the right and down, in pixels, held within the drawn margin."""
        if self.margin_px == 0:
            return 0.0, 0.0
        tremor = self._amplitude_mm * np.sin(self._rates * time_s + self._phases).sum(axis=1)
        drift_px = np.clip(self._drift_mm_s * time_s / self._mm_per_px, -self._drift_ends_px, self._drift_ends_px)
        x, y = np.clip(tremor / self._mm_per_px + drift_px, 1 - self.margin_px, self.margin_px - 1)
        return float(x), float(y)
