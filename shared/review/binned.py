"""A camera of half the size: means of 2 x 2 pixels with their calibration, for pictures that have to be quick rather than fine."""

from dataclasses import replace

import numpy as np

from shared.calibration import Calibration
from shared.frame import Counts, Frame
from shared.live_picture import block_any, block_means


def binned_calibration(calibration: Calibration) -> Calibration:
    """Of the camera whose pixels are means of 2 x 2; an odd last row or column is left out.

    The variance of a mean of four is a quarter of one's: K (counts) / 4 + K^2 read^2 / 4, so that K becomes K / 4, and the read
    noise in the new electrons is twice the old. A block with a defect is one.
    """
    camera = calibration.camera
    height, width = camera.height // 2, camera.width // 2
    even = slice(0, 2 * height), slice(0, 2 * width)
    scale = camera.mm_per_px
    return replace(
        calibration,
        camera=replace(camera, height=height, width=width, mm_per_px=None if scale is None else 2.0 * scale),
        dark_counts=block_means(calibration.dark_counts[even]).astype(np.float32),
        flat=block_means(calibration.flat[even]).astype(np.float32),
        defects=block_any(calibration.defects[even]),
        counts_per_electron=calibration.counts_per_electron / 4.0,
        read_noise_electrons=2.0 * calibration.read_noise_electrons,
    )


def binned_frame(frame: Frame, calibration: Calibration) -> Frame:
    """The frame as that camera gives it: a block with a saturated pixel is saturated. ``calibration`` is the whole camera's."""
    height, width = (side // 2 for side in frame.pixels.shape)
    pixels = frame.pixels[: 2 * height, : 2 * width]
    quarters = [pixels[row::2, column::2] for row in (0, 1) for column in (0, 1)]
    total = quarters[0].astype(np.uint32)
    brightest = quarters[0]
    for quarter in quarters[1:]:
        total += quarter
        brightest = np.maximum(brightest, quarter)
    mean: Counts = ((total + 2) // 4).astype(np.uint16)
    top = np.uint16(calibration.saturation_counts)
    good = ~calibration.defects[: 2 * height, : 2 * width]
    clipped = block_any((pixels >= top) & good) if bool((brightest >= top).any()) else None
    below = np.minimum(mean, top - np.uint16(1))
    return replace(frame, pixels=below if clipped is None else np.where(clipped, top, below))
