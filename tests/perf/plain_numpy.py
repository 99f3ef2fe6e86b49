"""The yardstick: the live picture in plain numpy (float64, red, green and blue) and Pillow, as one writes it first."""

import io

import numpy as np
from PIL import Image

from shared.calibration import Calibration
from shared.colour import CLEAR_PERCENT, COVERED_PERCENT, TONE_KNOTS, VIRIDIS
from shared.frame import Frame
from shared.live_picture import (
    Look,
    block_any,
    block_means,
    contour_strokes,
    dash_pattern,
    dot_pattern,
    neighbourhood,
    smoothed,
    stripe_pattern,
)
from shared.settings import PictureSettings
from shared.signal import DefectSources
from tests.perf.shown_limits import Limits, limits


class PlainNumpy:
    """Draws frame after frame; keeps the steadied signal between them."""

    def __init__(self, calibration: Calibration, settings: PictureSettings, look: Look) -> None:
        assert look.reference is not None
        self.calibration, self.settings, self.look = calibration, settings, look
        self.dark = calibration.dark_counts.astype(np.float64)
        self.flat = calibration.flat.astype(np.float64)
        self.sources = DefectSources.around(calibration.defects)
        self.range_counts = calibration.saturation_counts - self.dark.mean()
        self.blocks = block_means(self.flat).shape
        self.stripes, self.dots = stripe_pattern(self.blocks), dot_pattern(self.blocks)
        self.dashes = dash_pattern(self.blocks)
        self.limits: Limits | None = None
        self.table = VIRIDIS.astype(np.float64)
        self.steadied: np.ndarray | None = None

    def drawn(self, frame: Frame) -> np.ndarray:
        """(height, width, 3) uint8."""
        settings, look = self.settings, self.look
        factor = self.calibration.counts_to_signal(frame.exposure_us, frame.gain, frame.light_level)
        signal = (frame.pixels.astype(np.float64) - self.dark) / self.flat
        self.sources.replace(signal)
        signal *= factor
        if self.steadied is None:
            self.steadied = signal
        else:
            self.steadied = settings.steadying * self.steadied + (1 - settings.steadying) * signal
        shown = smoothed(self.steadied)
        percent = 100.0 * shown / look.reference
        grey = 255.0 * np.interp(shown / factor / self.range_counts, *zip(*TONE_KNOTS, strict=True))
        index = np.clip(percent * (255.0 / settings.full_scale_percent), 0, 255).astype(np.uint8)
        cover = np.interp(percent, (CLEAR_PERCENT, COVERED_PERCENT), (0.0, settings.overlay_opacity))[..., None]
        picture = grey[..., None] * (1.0 - cover) + self.table[index] * cover
        return self.marked(picture, percent, factor, frame)

    def marked(self, picture: np.ndarray, percent: np.ndarray, factor: float, frame: Frame) -> np.ndarray:
        """Contours, dots and stripes laid over the picture."""
        mean = block_means(percent)
        clipped = (frame.pixels >= self.calibration.saturation_counts) & ~self.calibration.defects
        over = block_any(neighbourhood(clipped, np.logical_or))
        if self.limits is None:
            self.limits = limits(self.calibration, self.settings, self.look, frame.gain, factor)
        ink = np.where(mean > self.limits.most, self.dashes, contour_strokes(mean, self.look.contours_percent))
        ink = np.where(mean < self.limits.least, self.dots, ink)
        ink = np.where(over, self.stripes, ink)
        height, width = frame.pixels.shape
        inked = ink.repeat(2, axis=0).repeat(2, axis=1)[:height, :width, None]
        return np.where(inked > 0, inked, np.rint(picture)).astype(np.uint8)

    def jpeg(self, frame: Frame) -> bytes:
        """The whole way to JPEG, 4:2:0."""
        out = io.BytesIO()
        Image.fromarray(self.drawn(frame)).save(out, "JPEG", quality=self.settings.jpeg_quality, subsampling=2)
        return out.getvalue()
