"""Skin's relief, so that the picture before the dye has something to frame by."""

import numpy as np
from numpy.typing import NDArray

Bands = tuple[tuple[float, float], ...]
RELIEF_BANDS_MM: Bands = ((1.1, 0.55), (3.5, 0.35), (22.0, 0.75))
"""Wavelength of each band of a skin's relief, and its rms beside the others': furrows, folds, slow unevenness. Chosen by eye."""
MOTTLE_BANDS_MM: Bands = ((2.5, 0.4), (6.0, 0.8), (14.0, 0.6))
"""The same for the unevenness of perfusion within a tissue."""


def relief(shape: tuple[int, int], mm_per_px: float, bands_mm: Bands, rng: np.random.Generator) -> NDArray[np.float32]:
    """Random relief of ``shape`` (height, width), float32, mean 0 and standard deviation 1, of the bands given."""
    noise = np.fft.rfft2(rng.standard_normal(shape, np.float32))
    upward = np.fft.fftfreq(shape[0], mm_per_px)[:, np.newaxis]
    sideways = np.fft.rfftfreq(shape[1], mm_per_px)[np.newaxis, :]
    per_mm = np.hypot(upward, sideways).astype(np.float32)
    response = np.zeros_like(per_mm)
    for wavelength_mm, strength in bands_mm:
        centre = 1.0 / wavelength_mm
        band = np.exp(-0.5 * ((per_mm - centre) / (0.35 * centre)) ** 2)
        power = float(np.square(band).mean())
        if power > 0:
            response += band * np.float32(strength / np.sqrt(power))
    response[0, 0] = 0
    plane = np.fft.irfft2(noise * response, shape).astype(np.float32)
    deviation = float(plane.std())
    return plane / np.float32(deviation) if deviation > 0 else plane
