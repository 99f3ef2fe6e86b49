"""The live picture as plain arithmetic: slow, exact, and the truth that the fused kernel is tested against.

correct -> steady -> smooth -> percent of the reference -> colour over grey -> marks, as Y, U and V planes for JPEG 4:2:0.

Percent, colour, contours and marks live on blocks of 2 x 2 pixels, as JPEG's chroma does; the grey beneath keeps the full
resolution.
"""

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from shared.calibration import Calibration
from shared.colour import NEUTRAL, PercentColours, tone
from shared.frame import Frame
from shared.picture_noise import NO_NOISE, Noise, PercentNoise, SteadiedNoise, frame_noise
from shared.protocol.control import View
from shared.relative import relative_percent
from shared.settings import PictureSettings
from shared.signal import DefectSources, corrected_counts, saturated

Plane = NDArray[np.uint8]
Floats = NDArray[np.float64]
Number = TypeVar("Number", np.bool_, np.int8, np.uint8, np.float64)

SCALES = 4.0
"""A block with a clipped pixel counts as so many full scales, far above every colour: no more is known than "at least"."""

SMOOTHED_SHARE, SMOOTHED_BLOCK_SHARE, BLOCK_SHARE = (6 / 16) ** 2, (5 / 16) ** 2, (1 / 2) ** 2
"""What is left of a pixel's variance by the 3 x 3 binomial (the sum of its squared weights: 1 2 1 over 4 each way), by that and the
mean of 2 x 2 (1 3 3 1 over 8), and by the mean of 2 x 2 alone.
"""

LIGHT_STROKE, DARK_STROKE = 245, 15
STRIPE_LIGHT, STRIPE_DARK = 255, 30
DOT_LIGHT, DOT_DARK = 165, 55
DASH_LIGHT, DASH_DARK = 185, 45
PATTERN_PERIOD = 8
"""Marks repeat after so many blocks, down and across."""


@dataclass(frozen=True, eq=False)
class Look:
    """What to draw. ``reference`` is the reference's signal above its baseline, None while there is none to compare with, and
    ``reference_u`` its standard uncertainty.

    ``baseline`` is (height, width) float32 in signal units, already smoothed, or None; ``baseline_noise`` that of its pixels before
    they were smoothed.
    """

    view: View = "grey"
    contours_percent: tuple[float, ...] = ()
    reference: float | None = None
    baseline: NDArray[np.float32] | None = None
    reference_u: float = 0.0
    baseline_noise: Noise = NO_NOISE

    def percent_noise(self, steadied: Noise, smoothing: bool) -> PercentNoise:
        """Of what is shown of a picture whose steadied pixels have this noise; there must be a reference."""
        assert self.reference is not None
        if self.view == "side by side":
            share = SMOOTHED_BLOCK_SHARE if smoothing else BLOCK_SHARE
        else:
            share = SMOOTHED_SHARE if smoothing else 1.0
        baseline = NO_NOISE if self.baseline is None else self.baseline_noise * share
        return PercentNoise(steadied * share, self.reference, self.reference_u, baseline)


@dataclass(frozen=True, eq=False)
class Planes:
    """A picture for JPEG: ``y`` (height, width) uint8, ``u`` and ``v`` half of that, rounded up. Lent until the next picture."""

    y: Plane
    u: Plane
    v: Plane


def smoothed(plane: Floats) -> Floats:
    """3 x 3 binomial mean (1 2 1 each way, over 16), edges repeated."""
    padded = np.pad(plane, 1, mode="edge")
    down = (padded[:-2] + 2.0 * padded[1:-1] + padded[2:]) / 4.0
    result: Floats = (down[:, :-2] + 2.0 * down[:, 1:-1] + down[:, 2:]) / 4.0
    return result


def block_means(plane: NDArray[np.floating]) -> Floats:
    """Means of 2 x 2 blocks, an odd last row or column repeated."""
    even = np.pad(plane, [(0, size % 2) for size in plane.shape], mode="edge")
    result: Floats = (even[0::2, 0::2] + even[0::2, 1::2] + even[1::2, 0::2] + even[1::2, 1::2]) / 4.0
    return result


def block_any(plane: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Whether any pixel of each 2 x 2 block is set."""
    even = np.pad(plane, [(0, size % 2) for size in plane.shape], mode="edge")
    result: NDArray[np.bool_] = even[0::2, 0::2] | even[0::2, 1::2] | even[1::2, 0::2] | even[1::2, 1::2]
    return result


def neighbourhood(plane: NDArray[Number], pick: np.ufunc) -> NDArray[Number]:
    """``pick`` (np.maximum, np.minimum or np.logical_or) over each 3 x 3 neighbourhood, edges repeated."""
    padded = np.pad(plane, 1, mode="edge")
    down = pick(pick(padded[:-2], padded[1:-1]), padded[2:])
    result: NDArray[Number] = pick(pick(down[:, :-2], down[:, 1:-1]), down[:, 2:])
    return result


def stripe_pattern(shape: tuple[int, int]) -> Plane:
    """Slanting stripes that mark saturated blocks: luma for each block of a (rows, columns) picture."""
    rows, columns = np.indices(shape)
    return np.where((rows + columns) % PATTERN_PERIOD < PATTERN_PERIOD // 2, STRIPE_LIGHT, STRIPE_DARK).astype(np.uint8)


def dot_pattern(shape: tuple[int, int]) -> Plane:
    """Sparse dots, a light block beside a dark one, that mark blocks too dark to tell: luma, or 0 where the picture shows."""
    rows, columns = np.indices(shape)
    place = (columns + 4 * (rows // 4 % 2)) % PATTERN_PERIOD
    dots = np.where(place == 0, DOT_LIGHT, np.where(place == 1, DOT_DARK, 0))
    return np.where(rows % 4 == 0, dots, 0).astype(np.uint8)


def dash_pattern(shape: tuple[int, int]) -> Plane:
    """Level dashes, light above dark, that mark blocks whose value is too uncertain: luma, or 0 where the picture shows."""
    rows, columns = np.indices(shape)
    dash = (columns + 4 * (rows // 4 % 2)) % PATTERN_PERIOD < 5
    return np.where(dash & (rows % 4 == 1), DASH_LIGHT, np.where(dash & (rows % 4 == 2), DASH_DARK, 0)).astype(np.uint8)


class PlainPicture:
    """Draws frame after frame; keeps the steadied signal between them."""

    def __init__(self, calibration: Calibration, settings: PictureSettings) -> None:
        self._calibration = calibration
        self._settings = settings
        self._sources = DefectSources.around(calibration.defects)
        self._colours = PercentColours(settings.full_scale_percent, settings.overlay_opacity)
        self._range_counts = calibration.saturation_counts - float(calibration.dark_counts.mean())
        self._steadied: Floats | None = None
        self._noise = SteadiedNoise(settings.steadying)
        self._inverse_flat = 1.0 / calibration.flat.astype(np.float64)
        self._ambient: Floats | None = None
        self._ambient_counts = self._ambient_variance = 0.0
        self._known_noise = NO_NOISE
        """Of what is taken off, which no mean of frames lessens."""

    def take_ambient_off(self, counts: NDArray[np.floating] | None, variance_counts2: float = 0.0) -> None:
        """From now on ``counts`` (height, width) are what ambient light adds to a frame, each known with this variance."""
        self._ambient_counts = 0.0 if counts is None else float(counts.mean(dtype=np.float64))
        self._ambient_variance = variance_counts2
        self._ambient = None if counts is None else counts * self._inverse_flat
        if self._ambient is not None:
            self._sources.replace(self._ambient)

    def restart(self) -> None:
        """Forget the frames before; the next one stands alone."""
        self._steadied = None
        self._noise.restart()

    def draw(self, frame: Frame, look: Look) -> Planes:
        """Take the frame in and draw it. An unlit frame is drawn in grey by itself and leaves the steadied signal alone."""
        counts = corrected_counts(frame.pixels, self._calibration, self._sources)
        if self._ambient is not None:
            counts -= self._ambient
        if frame.lit:
            factor = self._calibration.counts_to_signal(frame.exposure_us, frame.gain, frame.light_level)
            self._noise.take(frame_noise(self._calibration, frame.gain, factor, self._ambient_counts))
            self._known_noise = Noise(still=self._ambient_variance * factor**2)
            counts = self._steady(counts * factor) / factor
        else:
            factor, look = 1.0, Look("side by side" if look.view == "side by side" else "grey")
        clipped = saturated(frame.pixels, self._calibration)
        if self._settings.smoothing:
            counts, clipped = smoothed(counts), neighbourhood(clipped, np.logical_or)
        share = counts / self._range_counts
        percent = self._percent(counts * factor, look)
        if look.view != "side by side":
            return self._painted(share, clipped, percent if look.view == "relative" else None, look)
        return self._side_by_side(share, clipped, percent, look)

    def shown(self, look: Look) -> tuple[Floats, Floats]:
        """Percent of the newest picture at every pixel, and its standard uncertainty, (height, width) each."""
        assert self._steadied is not None
        signal = smoothed(self._steadied) if self._settings.smoothing else self._steadied
        percent = self._percent(signal, look)
        assert percent is not None
        baseline = 0.0 if look.baseline is None else look.baseline.astype(np.float64)
        return percent, np.sqrt(self._percent_noise(look).variance(percent, self._inverse_flat, baseline))

    def _steady(self, signal: Floats) -> Floats:
        kept = self._settings.steadying
        if self._steadied is None:
            self._steadied = signal
        else:
            self._steadied = kept * self._steadied + (1.0 - kept) * signal
        return self._steadied

    def _percent(self, signal: Floats, look: Look) -> Floats | None:
        """Percent of the reference at every pixel; None without one."""
        if look.reference is None:
            return None
        baseline = 0.0 if look.baseline is None else look.baseline
        return relative_percent(signal - baseline, look.reference)

    def _percent_noise(self, look: Look) -> PercentNoise:
        assert self._noise.noise is not None
        return look.percent_noise(self._noise.noise + self._known_noise, self._settings.smoothing)

    def _marks(self, percent: Floats, look: Look) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Blocks that cannot be told from their own noise, and blocks whose percentage is too uncertain, from their percentages."""
        halved = look.view == "side by side"
        here = slice(0, 2 * (percent.shape[0] * 2)), slice(0, 2 * (percent.shape[1] * 2))

        def blocks(plane: NDArray[np.floating]) -> Floats:
            return block_means(block_means(plane[here])) if halved else block_means(plane)

        inverse_flat = blocks(self._inverse_flat)
        baseline = 0.0 if look.baseline is None else blocks(look.baseline)
        noise = self._percent_noise(look)
        own = noise.own_variance(percent, inverse_flat, baseline)
        too_dark = percent * np.abs(percent) < self._settings.least_signal_to_noise**2 * own
        whole = noise.variance(percent, inverse_flat, baseline)
        return too_dark, whole > self._settings.widest_u_percent**2

    def _side_by_side(self, share: Floats, clipped: NDArray[np.bool_], percent: Floats | None, look: Look) -> Planes:
        height, width = share.shape[0] // 2, share.shape[1] // 4 * 2
        here = slice(0, 2 * height), slice(0, 2 * width)
        share, clipped = block_means(share[here]), block_any(clipped[here])
        left = self._painted(share, clipped, None, look)
        right = left if percent is None else self._painted(share, clipped, block_means(percent[here]), look)
        return Planes(*(np.hstack(pair) for pair in ((left.y, right.y), (left.u, right.u), (left.v, right.v))))

    def _painted(self, share: Floats, clipped: NDArray[np.bool_], percent: Floats | None, look: Look) -> Planes:
        luma = 255.0 * tone(share)
        blocks = ((share.shape[0] + 1) // 2, (share.shape[1] + 1) // 2)
        blue = red = np.full(blocks, float(NEUTRAL))
        ink = np.zeros(blocks, np.uint8)
        if percent is not None:
            limit = SCALES * self._settings.full_scale_percent
            mean_percent = np.where(block_any(clipped), limit, np.clip(block_means(percent), -limit, limit))
            too_dark, uncertain = self._marks(mean_percent, look)
            cover = np.where(uncertain, 0.0, self._colours.opacity_at(mean_percent))
            luma += _wide(cover, share.shape) * (_wide(self._colours.luma(mean_percent), share.shape) - luma)
            blue, red = self._colours.chroma(mean_percent)
            ink = np.where(uncertain, dash_pattern(blocks), contour_strokes(mean_percent, look.contours_percent))
            ink = np.where(too_dark, dot_pattern(blocks), ink)
            neutral = too_dark | uncertain | (ink > 0)
            blue, red = np.where(neutral, NEUTRAL, blue), np.where(neutral, NEUTRAL, red)
        overexposed = block_any(clipped)
        ink = np.where(overexposed, stripe_pattern(blocks), ink)
        blue, red = np.where(overexposed, NEUTRAL, blue), np.where(overexposed, NEUTRAL, red)
        inked = _wide(ink, share.shape)
        y = np.where(inked > 0, inked, luma)
        return Planes(*(np.rint(plane).astype(np.uint8) for plane in (y, blue, red)))


def _wide(blocks: NDArray[Number], shape: tuple[int, ...]) -> NDArray[Number]:
    """Each block's value at its four pixels, as many as the picture has."""
    wide: NDArray[Number] = blocks.repeat(2, axis=0).repeat(2, axis=1)[: shape[0], : shape[1]]
    return wide


def contour_strokes(percent: Floats, levels: tuple[float, ...]) -> Plane:
    """Luma of the contours on a plane of percentages: a light stroke on the higher side, a dark one on the lower; 0 elsewhere."""
    band = np.searchsorted(np.asarray(levels), percent, side="right").astype(np.int8)
    light = band > neighbourhood(band, np.minimum)
    dark = band < neighbourhood(band, np.maximum)
    return np.where(light, LIGHT_STROKE, np.where(dark, DARK_STROKE, 0)).astype(np.uint8)
