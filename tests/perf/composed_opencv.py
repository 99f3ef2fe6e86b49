"""The live picture composed of OpenCV calls on one thread, every buffer made beforehand, encoded by simplejpeg."""

import cv2
import numpy as np
import simplejpeg

from shared.calibration import Calibration
from shared.colour import VIRIDIS, PercentColours, tone
from shared.frame import Frame
from shared.live_picture import DARK_STROKE, LIGHT_STROKE, Look, dash_pattern, dot_pattern, stripe_pattern
from shared.settings import PictureSettings
from shared.signal import DefectSources
from tests.perf.shown_limits import limits

_SQUARE = np.ones((3, 3), np.uint8)


class ComposedOpenCV:
    """Draws frame after frame. Percent is held as one byte, 255 for the full scale, as the colour table wants it."""

    def __init__(self, calibration: Calibration, settings: PictureSettings, look: Look) -> None:
        assert look.reference is not None
        cv2.setNumThreads(1)
        self.calibration, self.settings, self.look = calibration, settings, look
        shape = calibration.camera.shape
        self.shape, self.blocks = shape, (shape[0] // 2, shape[1] // 2)
        self.dark = calibration.dark_counts
        self.inverse_flat = (1.0 / calibration.flat).astype(np.float32)
        self.sources = DefectSources.around(calibration.defects)
        self.range_counts = calibration.saturation_counts - float(self.dark.mean())
        self.least, self.most = (np.empty(0, np.float32) for _ in range(2))
        self._make_tables()
        self._make_buffers()
        self.first = True

    def _make_tables(self) -> None:
        steps = np.arange(256) * (self.settings.full_scale_percent / 255.0)
        colours = PercentColours(self.settings.full_scale_percent, self.settings.overlay_opacity)
        cover = colours.opacity_at(steps)[:, None]
        self.colour_tables = [
            np.ascontiguousarray(channel) for channel in np.rint(VIRIDIS[:, ::-1] * cover).astype(np.uint8).T
        ]
        self.clear_table = np.rint(255 * (1 - cover[:, 0])).astype(np.uint8)
        self.tone_table = np.rint(255 * tone(np.arange(256) / 255.0)).astype(np.uint8)
        band = np.searchsorted(np.asarray(self.look.contours_percent), steps, side="right")
        self.band_table = band.astype(np.uint8)
        self.not_defect = np.where(self.calibration.defects, 0, 255).astype(np.uint8)
        self.dots, self.dashes, self.stripes = (
            pattern(self.blocks) for pattern in (dot_pattern, dash_pattern, stripe_pattern)
        )

    def _make_buffers(self) -> None:
        self.counts, self.steadied, self.shown = (np.empty(self.shape, np.float32) for _ in range(3))
        self.index, self.grey, self.clipped, self.wide_ink = (np.empty(self.shape, np.uint8) for _ in range(4))
        self.picture, self.overlay = (np.empty((*self.shape, 3), np.uint8) for _ in range(2))
        self.channels = [np.empty(self.shape, np.uint8) for _ in range(3)]
        self.clear = np.empty(self.shape, np.uint8)
        self.half_shown = np.empty(self.blocks, np.float32)
        self.band, self.grown, self.shrunk, self.half_index, self.mask, self.ink, self.over = (
            np.empty(self.blocks, np.uint8) for _ in range(7)
        )

    def drawn(self, frame: Frame) -> np.ndarray:
        """(height, width, 3) uint8, blue, green, red."""
        settings = self.settings
        cv2.subtract(frame.pixels, self.dark, self.counts, dtype=cv2.CV_32F)
        cv2.multiply(self.counts, self.inverse_flat, self.counts)
        self.sources.replace(self.counts)
        if self.first:
            np.copyto(self.steadied, self.counts)
            self.first = False
        else:
            cv2.accumulateWeighted(self.counts, self.steadied, 1.0 - settings.steadying)
        cv2.GaussianBlur(self.steadied, (3, 3), 0, self.shown, borderType=cv2.BORDER_REPLICATE)
        factor = self.calibration.counts_to_signal(frame.exposure_us, frame.gain, frame.light_level)
        per_count = 255.0 * 100.0 * factor / (self.look.reference * settings.full_scale_percent)
        if not self.least.size:
            found = limits(self.calibration, settings, self.look, frame.gain, factor)
            to_counts = self.look.reference / (100.0 * factor)
            self.least, self.most = ((plane * to_counts).astype(np.float32) for plane in (found.least, found.most))
        cv2.convertScaleAbs(cv2.max(self.shown, 0.0, self.counts), self.index, per_count)
        cv2.convertScaleAbs(self.counts, self.grey, 255.0 / self.range_counts)
        cv2.LUT(self.grey, self.tone_table, self.grey)
        cv2.LUT(self.index, self.clear_table, self.clear)
        cv2.multiply(self.grey, self.clear, self.grey, 1.0 / 255.0)
        for table, channel in zip(self.colour_tables, self.channels, strict=True):
            cv2.LUT(self.index, table, channel)
            cv2.add(channel, self.grey, channel)
        cv2.merge(self.channels, self.picture)
        self._mark(frame, per_count)
        return self.picture

    def _mark(self, frame: Frame, per_count: float) -> None:
        blocks = self.blocks[::-1]
        cv2.resize(self.shown, blocks, self.half_shown, interpolation=cv2.INTER_AREA)
        cv2.convertScaleAbs(cv2.max(self.half_shown, 0.0), self.half_index, per_count)
        cv2.LUT(self.half_index, self.band_table, self.band)
        cv2.dilate(self.band, _SQUARE, self.grown, borderType=cv2.BORDER_REPLICATE)
        cv2.erode(self.band, _SQUARE, self.shrunk, borderType=cv2.BORDER_REPLICATE)
        self.ink[:] = 0
        cv2.compare(self.band, self.grown, cv2.CMP_LT, self.mask)
        self.ink[:] = cv2.bitwise_and(self.mask, DARK_STROKE)
        cv2.compare(self.band, self.shrunk, cv2.CMP_GT, self.mask)
        cv2.copyTo(_filled(self.ink, LIGHT_STROKE), self.mask, self.ink)
        for plane, relation, pattern in ((self.most, cv2.CMP_GT, self.dashes), (self.least, cv2.CMP_LT, self.dots)):
            cv2.compare(self.half_shown, plane, relation, self.mask)
            cv2.copyTo(pattern, self.mask, self.ink)
        cv2.inRange(frame.pixels, float(self.calibration.saturation_counts), 65535.0, self.clipped)
        cv2.bitwise_and(self.clipped, self.not_defect, self.clipped)
        cv2.dilate(self.clipped, _SQUARE, self.clipped)
        cv2.resize(self.clipped, blocks, self.over, interpolation=cv2.INTER_AREA)
        cv2.copyTo(self.stripes, self.over, self.ink)
        cv2.resize(self.ink, self.shape[::-1], self.wide_ink, interpolation=cv2.INTER_NEAREST)
        cv2.copyTo(cv2.cvtColor(self.wide_ink, cv2.COLOR_GRAY2BGR, self.overlay), self.wide_ink, self.picture)

    def jpeg(self, frame: Frame) -> bytes:
        """The whole way to JPEG, 4:2:0."""
        encoded: bytes = simplejpeg.encode_jpeg(self.drawn(frame), self.settings.jpeg_quality, "BGR", "420")
        return encoded


_constants: dict[tuple[tuple[int, ...], int], np.ndarray] = {}


def _filled(like: np.ndarray, value: int) -> np.ndarray:
    """A plane of one value, made once."""
    key = (like.shape, value)
    if key not in _constants:
        _constants[key] = np.full_like(like, value)
    return _constants[key]
