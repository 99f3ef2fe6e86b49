"""Frames of a small camera that watches patches of tissue: the scene's own dye, with the camera's own noise, and its truth."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from shared.calibration import Calibration
from shared.frame import CameraDescription, Frame
from shared.scene.dye import tissue_curve

F64 = NDArray[np.float64]

EXPOSURE_US = 15_000.0
COUNTS_PER_ELECTRON, READ_NOISE_E = 0.1, 3.0


@dataclass(frozen=True)
class Patch:
    """A column of the picture: ``peak`` and ``left_over`` (level before the dye) in counts a millisecond."""

    peak: float
    onset_s: float = 20.0
    alpha: float = 3.0
    rise_s: float = 15.0
    left_over: float = 2.0
    half_life_s: float = 100.0
    recirculation: float = 0.6

    def above(self, times_s: F64) -> F64:
        """What the dye adds, counts a millisecond."""
        since_s = times_s - self.onset_s
        return self.peak * tissue_curve(
            since_s, self.alpha, self.rise_s / self.alpha, self.half_life_s, self.recirculation
        )

    def signal(self, times_s: F64) -> F64:
        """Counts a millisecond."""
        return self.left_over + self.above(times_s)


@dataclass(frozen=True)
class Light:
    """What the camera and the ring do in a frame."""

    exposure_us: float = EXPOSURE_US
    gain: float = 1.0
    level: float = 1.0


def calibration(height: int, width: int, defects: tuple[tuple[int, int], ...] = ()) -> Calibration:
    """A camera with uneven dark and flat."""
    rng = np.random.default_rng(7)
    camera = CameraDescription("simulated", width, height, frame_interval_us=100_000.0)
    bad = np.zeros(camera.shape, np.bool_)
    for row, column in defects:
        bad[row, column] = True
    return Calibration(
        camera,
        (20.0 + rng.uniform(0, 2, camera.shape)).astype(np.float32),
        rng.uniform(0.85, 1.0, camera.shape).astype(np.float32),
        bad,
        COUNTS_PER_ELECTRON,
        READ_NOISE_E,
        camera.white_level,
    )


def frames(
    known: Calibration,
    patches: tuple[Patch, ...],
    seconds: float = 120.0,
    rate_hz: float = 10.0,
    seed: int = 0,
    light_at: tuple[tuple[float, Light], ...] = ((0.0, Light()),),
    ambient: Callable[[float], float] = lambda _: 0.0,
    unlit_every: int = 0,
) -> Iterator[Frame]:
    """Frames from 0 s on; ``patches`` stand side by side in columns of equal width.

    ``ambient`` is the room's light at a moment, counts a millisecond; every so many frames one is ``unlit``.
    """
    rng = np.random.default_rng(seed)
    height, width = known.camera.shape
    column = np.minimum(np.arange(width) * len(patches) // width, len(patches) - 1)
    for number in range(round(seconds * rate_hz)):
        time_ns = round(number / rate_hz * 1e9)
        light = [each for since_s, each in light_at if since_s <= time_ns / 1e9][-1]
        if unlit_every and number % unlit_every == 0:
            light = replace(light, level=0.0)
        middle = np.array([time_ns / 1e9 - light.exposure_us / 2e6])
        signal = np.array([float(patch.signal(middle)[0]) for patch in patches])[column]
        given = signal * (known.output_at(light.level) if light.level > 0 else 0.0) + ambient(float(middle[0]))
        per_ms = light.exposure_us / 1000.0
        electrons = rng.poisson(given[None, :] * known.flat * (per_ms / COUNTS_PER_ELECTRON)).astype(np.float32)
        electrons += READ_NOISE_E * rng.standard_normal((height, width), dtype=np.float32)
        counts = known.dark_counts + COUNTS_PER_ELECTRON * light.gain * electrons
        pixels = np.clip(np.rint(counts), 0, known.camera.white_level).astype(np.uint16)
        pixels[known.defects] = known.camera.white_level
        yield Frame(pixels, number, time_ns, light.exposure_us, light.gain, light.level, light.level > 0)
