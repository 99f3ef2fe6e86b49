"""The simulated sensor's fixed pattern, drawn once for a scene and seed."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from shared.scene.description import Scene
from shared.scene.kernel import DARK_STEP_COUNTS, NORMAL_BITS, SENSITIVITY_STEP

_HOT_ELECTRONS_PER_S = (2e4, 8e5)


@dataclass(frozen=True)
class Sensor:
    """Planes are (height, width): ``lit`` is sensitivity times the ring's fall-off, ``unlit`` sensitivity alone (both 16-bit, in
    SENSITIVITY_STEP), ``dark`` the count at no light and no time (in DARK_STEP_COUNTS). ``hot_indices`` are flat,
    with the electrons a second of each.
    """

    lit: NDArray[np.uint16]
    unlit: NDArray[np.uint16]
    dark: NDArray[np.uint16]
    hot_indices: NDArray[np.int64]
    hot_electrons_per_s: NDArray[np.float32]

    @classmethod
    def drawn(cls, scene: Scene, seed: int) -> "Sensor":
        """The one sensor that ``seed`` gives."""
        camera, noise = scene.camera, scene.camera.noise
        shape = (camera.height, camera.width)
        rng = np.random.default_rng([seed, 74])
        uneven = 1.0 + noise.prnu_percent / 100 * rng.standard_normal(shape, np.float32)
        corner2 = _corner_share(shape)
        unlit = np.clip(uneven, 0.92, 1.08) * (1.0 - scene.optics.vignetting * corner2)
        lit = unlit * (1.0 - scene.light.fall_off * corner2)
        dark = camera.black_level + noise.dsnu_counts * rng.standard_normal(shape, np.float32)
        hot = rng.choice(shape[0] * shape[1], min(noise.hot_pixels, shape[0] * shape[1]), replace=False)
        low, high = np.log(_HOT_ELECTRONS_PER_S)
        return cls(
            lit=_steps(lit, SENSITIVITY_STEP),
            unlit=_steps(unlit, SENSITIVITY_STEP),
            dark=_steps(dark, DARK_STEP_COUNTS),
            hot_indices=np.sort(hot),
            hot_electrons_per_s=np.exp(rng.uniform(low, high, hot.size)).astype(np.float32),
        )


def normal_table() -> NDArray[np.float32]:
    """Standard normal quantiles at the middles of 4096 equal steps of probability, scaled to variance 1; reaches 3.7."""
    count = 1 << NORMAL_BITS
    quantiles = ndtri((np.arange(count) + 0.5) / count)
    table: NDArray[np.float32] = (quantiles / np.sqrt(np.square(quantiles).mean())).astype(np.float32)
    return table


def _corner_share(shape: tuple[int, int]) -> NDArray[np.float32]:
    """Squared distance from the middle, 1 in the corners."""
    y = np.linspace(-1, 1, shape[0], dtype=np.float32)[:, np.newaxis] * shape[0]
    x = np.linspace(-1, 1, shape[1], dtype=np.float32)[np.newaxis, :] * shape[1]
    return np.asarray((x * x + y * y) / (shape[0] ** 2 + shape[1] ** 2), np.float32)


def _steps(plane: NDArray[np.float32], step: float) -> NDArray[np.uint16]:
    steps: NDArray[np.uint16] = np.clip(np.rint(plane / step), 0, 65535).astype(np.uint16)
    return steps
