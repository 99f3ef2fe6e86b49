"""The live picture, fast: prepares the whole numbers that the fused loops of ``live_kernel`` work with.

Draws what ``live_picture.PlainPicture`` draws, within two grey levels except where rounding moves a value over a threshold.
"""

from dataclasses import replace

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import NDArray

from shared.calibration import Calibration
from shared.colour import CLEAR_PERCENT, COVERED_PERCENT, PercentColours
from shared.frame import Frame
from shared.live_kernel import LARGEST, PERCENT_UNIT, RING, Numbers, Rows, draw_half, draw_whole, halve_whole
from shared.live_picture import (
    DARK_STROKE,
    LIGHT_STROKE,
    PATTERN_PERIOD,
    Look,
    Planes,
    block_means,
    dot_pattern,
    noise_share,
    smoothed,
    stripe_pattern,
)
from shared.settings import PictureSettings
from shared.signal import DefectSources, least_counts

Lane = NDArray[np.int16]

ONE = 32768
WORD = 257
"""Times a byte: the same byte twice in a 16-bit word."""

REMEMBERED_S = 0.7
"""Time constant of the slow mean that becomes the baseline: it reaches back about a second."""

REMEMBERED_EVERY = 4
"""Each row enters the slow mean every so many frames, so that it costs little."""

CHROMA_STEP_PERCENT = 0.25


class FusedPicture:
    """Draws frame after frame; keeps the steadied signal, and a slow mean of it, between them."""

    def __init__(self, calibration: Calibration, settings: PictureSettings) -> None:
        self._calibration = calibration
        self._settings = settings
        self._sources = DefectSources.around(calibration.defects)
        self._range_counts = calibration.saturation_counts - float(calibration.dark_counts.mean())
        height, width = calibration.camera.shape
        self._prepare_calibration()
        self._state = np.zeros((height, width), np.int16)
        self._unlit_state = np.zeros((height, width), np.int16)
        self._remembered = np.zeros((height, width), np.float32)
        self._rows = _scratch(height, width)
        self._half = np.zeros((height // 2, width // 4 * 2), np.int16)
        blocks = (width + 1) // 2
        self._whole_planes = _Canvas(height, width)
        self._half_planes = _Canvas(height // 2, width // 4 * 4)
        self._stripes = _words(stripe_pattern((PATTERN_PERIOD, blocks)))
        self._dots = _words(dot_pattern((PATTERN_PERIOD, blocks)))
        self._prepare_colours()
        self._baseline_key: tuple[object, ...] = ()
        self._baseline: Lane = np.zeros((1, 1), np.int16)
        self._least_key: tuple[object, ...] = ()
        self._least: Lane = np.zeros((1, 1), np.int16)
        self._factor = 0.0
        self.restart()
        self.forget()
        self.saturated_share = 0.0

    def restart(self) -> None:
        """Forget the frames before; the next one stands alone."""
        self._fresh = True

    def forget(self) -> None:
        """Begin the slow mean anew."""
        self._remembered_frames = 0
        self._remembered[:] = 0.0

    def remembered(self) -> NDArray[np.float32] | None:
        """Mean signal of about the last second, smoothed as the picture is, (height, width); None before enough frames."""
        if self._remembered_frames < REMEMBERED_EVERY:
            return None
        plane = self._remembered.astype(np.float64)
        return (smoothed(plane) if self._settings.smoothing else plane).astype(np.float32)

    @property
    def remembered_noise_share(self) -> float:
        """Part of a single frame's variance that the slow mean keeps (steadying taken as none, to be on the safe side)."""
        seconds = self._calibration.camera.frame_interval_us * 1e-6 * REMEMBERED_EVERY
        share = 1.0 - float(np.exp(-seconds / REMEMBERED_S))
        return max(share / (2.0 - share), 1.0 / max(self._remembered_frames // REMEMBERED_EVERY, 1))

    def draw(self, frame: Frame, look: Look) -> Planes:
        """Take the frame in and draw it. An unlit frame is drawn in grey by itself and leaves the steadied signal alone."""
        state = self._state
        if frame.lit:
            factor = self._calibration.counts_to_signal(frame.exposure_us, frame.gain, frame.light_level)
            numbers = self._frame_numbers(factor)
        else:
            factor, state = 1.0, self._unlit_state
            numbers = self._base._replace(fresh=1)
            look = replace(look, reference=None)
        with_percent = look.reference is not None and look.view != "grey"
        if with_percent:
            self._prepare_percent(frame.gain, factor, look)
            numbers = self._percent_numbers(numbers, factor, look)
        planes = self._drawn(frame, look, numbers, state, with_percent)
        if frame.lit:
            self._factor, self._fresh = factor, False
            self._remembered_frames += 1
        return planes

    def _drawn(self, frame: Frame, look: Look, numbers: Numbers, state: Lane, with_percent: bool) -> Planes:
        pixels = np.ascontiguousarray(frame.pixels)
        pixels.flags.writeable = False
        sources = (self._sources.pixels, self._sources.starts, self._sources.sources)
        planes = (self._dark, self._gain, *sources, state, self._remembered)
        marks = (self._chroma, self._stripes, self._dots, int(_word(LIGHT_STROKE)), int(_word(DARK_STROKE)))
        if look.view != "side by side":
            canvas = self._whole_planes
            clipped = draw_whole(
                pixels, *planes, self._baseline, self._least, *marks, numbers, self._rows, *canvas.arrays
            )
        else:
            canvas = self._half_planes
            clipped = halve_whole(pixels, *planes, self._half, numbers, self._rows)
            words = self._half.view(np.int32)
            for offset, part in ((0, numbers._replace(relative=0)), (self._half.shape[1] // 2, numbers)):
                draw_half(
                    self._half, words, self._baseline, self._least, *marks, part, self._rows, offset,
                    canvas.u.shape[0], *canvas.arrays,
                )  # fmt: skip
        self.saturated_share = clipped / frame.pixels.size
        return canvas.planes

    def _prepare_calibration(self) -> None:
        calibration = self._calibration
        depth = calibration.camera.bit_depth
        up, down = max(14 - depth, 0), max(depth - 14, 0)
        good_flat = calibration.flat[~calibration.defects]
        least_flat = float(good_flat.min())
        per_count = 2.0 ** (up - down)
        self._dark = np.rint(np.clip(calibration.dark_counts * per_count, -LARGEST, LARGEST)).astype(np.int16)
        gain = least_flat / calibration.flat.astype(np.float64) * (ONE - 1)
        self._gain = np.rint(np.minimum(gain, ONE - 1)).astype(np.int16)
        self._scale = per_count * least_flat * (ONE - 1) / ONE
        tone_shift, tone_limit, tone_share = _multiplier(16384.0 / (self._scale * self._range_counts), 16384)
        self._base = Numbers(**dict.fromkeys(Numbers._fields, 0))._replace(
            raw_down=down, raw_up=up, saturation=calibration.saturation_counts, fresh=1,
            new_share=min(round((1.0 - self._settings.steadying) * ONE), ONE - 1), rescale=65536,
            smooth=int(self._settings.smoothing), tone_shift=tone_shift, tone_limit=tone_limit, tone_share=tone_share,
            remember_phase=-1, remember_scale=0.0, remember_share=0.0,
        )  # fmt: skip

    def _prepare_colours(self) -> None:
        settings = self._settings
        colours = PercentColours(settings.full_scale_percent, settings.overlay_opacity)
        steps = (np.arange(1024) + 0.5) * CHROMA_STEP_PERCENT
        blue, red = (np.rint(plane).astype(np.uint16) for plane in colours.chroma(steps))
        self._chroma = (blue | red << 8).astype(np.uint16).view(np.int16)
        top = round(settings.full_scale_percent * PERCENT_UNIT)
        shift = int(np.floor(np.log2((ONE - 1) / top)))
        reach = (top << shift) / ONE
        ramp = round((COVERED_PERCENT - CLEAR_PERCENT) * PERCENT_UNIT)
        luma = np.rint(_luma_polynomial(colours) * 16384 / 255).astype(int)
        self._base = self._base._replace(
            clear=round(CLEAR_PERCENT * PERCENT_UNIT), ramp=ramp, cover_slope=int(settings.overlay_opacity * (ONE - 1) / ramp),
            scale_top=top, scale_shift=shift, scale_middle=(top << shift) // 2,
            scale_stretch=min(round((1.0 / reach - 1.0) * ONE), ONE - 1),
            **{f"luma_{power}": int(value) for power, value in enumerate(luma)},
        )  # fmt: skip

    def _frame_numbers(self, factor: float) -> Numbers:
        """How this frame enters the steadied plane and the slow mean."""
        fresh = self._fresh or self._settings.steadying == 0
        rescale = 65536 if fresh else round(65536 * self._factor / factor)
        seconds = self._calibration.camera.frame_interval_us * 1e-6 * REMEMBERED_EVERY
        visits = self._remembered_frames // REMEMBERED_EVERY + 1
        return self._base._replace(
            fresh=int(fresh),
            rescale=rescale,
            remember_phase=self._remembered_frames % REMEMBERED_EVERY,
            remember_scale=factor / self._scale,
            remember_share=max(1.0 / visits, 1.0 - float(np.exp(-seconds / REMEMBERED_S))),
        )

    def _percent_numbers(self, numbers: Numbers, factor: float, look: Look) -> Numbers:
        assert look.reference is not None
        shift, limit, share = _multiplier(
            100.0 * PERCENT_UNIT * factor / (self._scale * look.reference), 256 * PERCENT_UNIT
        )
        levels = [min(round(level * PERCENT_UNIT), ONE - 1) for level in look.contours_percent]
        a, b, c, d = (*levels, *[ONE - 1] * (4 - len(levels)))
        return numbers._replace(
            relative=1, percent_shift=shift, percent_limit=limit, percent_share=share,
            with_baseline=int(look.baseline is not None), level_0=a, level_1=b, level_2=c, level_3=d,
        )  # fmt: skip

    def _prepare_percent(self, gain: float, factor: float, look: Look) -> None:
        """Baseline and least tellable values in the units of the steadied plane, made anew only when something changed."""
        halved = look.view == "side by side"
        flat = self._calibration.flat.astype(np.float64)
        baseline_key = (id(look.baseline), halved, factor if look.baseline is not None else 0.0)
        if baseline_key != self._baseline_key:
            self._baseline_key = baseline_key
            if look.baseline is not None:
                plane = look.baseline * np.float32(self._scale / factor)
                self._baseline = _lanes(self._halved(plane) if halved else plane)
        coarse = round(np.log(factor) * 50) if look.baseline is not None else 0
        least_key = (id(look.baseline), halved, gain, coarse)
        if least_key != self._least_key:
            self._least_key = least_key
            below = 0.0 if look.baseline is None else look.baseline / factor * flat
            wanted = self._settings.least_signal_to_noise
            least = (
                least_counts(wanted, gain, self._calibration, noise_share(self._settings), below) / flat * self._scale
            )
            self._least = _lanes(block_means(self._halved(least) if halved else least))

    def _halved(self, plane: NDArray[np.floating]) -> NDArray[np.float64]:
        height, width = self._half.shape
        return block_means(plane[: 2 * height, : 2 * width])


class _Canvas:
    """Planes padded to even size, as the loops write them, and the views of them that are the picture."""

    def __init__(self, height: int, width: int) -> None:
        blocks = ((height + 1) // 2, (width + 1) // 2)
        padded = np.zeros((2 * blocks[0], 2 * blocks[1]), np.uint8)
        self.u = np.full(blocks, 128, np.uint8)
        self.v = np.full(blocks, 128, np.uint8)
        self.arrays = (padded.view(np.int16), self.u, self.v)
        self.planes = Planes(padded[:height, :width], self.u, self.v)


def _scratch(height: int, width: int) -> Rows:
    blocks = (width + 1) // 2
    wide = 2 * blocks
    smoothed_ring = np.zeros((RING, wide), np.int16)
    percent = np.zeros((2, wide), np.int16)
    luma = np.zeros((4, wide), np.uint8)
    block_rows = [np.zeros((4, blocks), np.int16) for _ in range(3)]
    return Rows(
        corrected=np.zeros(width, np.int16), clip=np.zeros((4, width), np.int16), clip_any=np.zeros(4, np.int64),
        column=np.zeros(wide + 2, np.int16), column_clip=np.zeros(wide + 2, np.int16),
        smoothed=smoothed_ring, smoothed_words=smoothed_ring.view(np.int32), above=np.zeros(wide, np.int16),
        percent=percent, percent_words=percent.view(np.int32), luma=luma, luma_words=luma.view(np.int16),
        block_percent=np.zeros(blocks, np.int16), place=np.zeros(blocks, np.int16), band=np.zeros((4, blocks + 2), np.int16),
        too_dark=block_rows[0], over=block_rows[1], chroma=block_rows[2],
        most=np.zeros(blocks + 2, np.int16), least=np.zeros(blocks + 2, np.int16),
    )  # fmt: skip


def _multiplier(factor: float, largest_result: int) -> tuple[int, int, int]:
    """(shift, limit, share) so that min(a, limit) 2^shift share / 2^15 is a times ``factor``, up to ``largest_result`` at least."""
    shift = 0
    while factor / 2**shift >= 1.0 - 1.0 / ONE or (shift == 0 and factor * LARGEST > ONE):
        shift += 1
    return shift, (ONE - 1) >> shift, round(factor / 2**shift * ONE)


def _luma_polynomial(colours: PercentColours) -> NDArray[np.float64]:
    """Fourth-degree fit to the map's luma over -1 (0 %) to 1 (full scale), evened out towards the least largest error."""
    x = np.linspace(-1.0, 1.0, 512)
    percent = (x + 1.0) / 2.0 * colours.full_scale_percent
    luma = colours.luma(percent)
    matters = 0.05 + colours.opacity_at(percent) / colours.opacity
    weights = matters.copy()
    for _ in range(100):
        fit = chebyshev.chebfit(x, luma, 4, w=weights)
        error = np.abs(chebyshev.chebval(x, fit) - luma) * matters
        weights *= (error / error.max() + 1e-3) ** 0.05
    return np.asarray(chebyshev.cheb2poly(fit), np.float64)


def _lanes(plane: NDArray[np.floating]) -> Lane:
    return np.ascontiguousarray(np.rint(np.clip(plane, -LARGEST, LARGEST)).astype(np.int16))


def _words(pattern: NDArray[np.uint8]) -> Lane:
    return (pattern.astype(np.uint16) * WORD).view(np.int16)


def _word(value: int) -> np.int16:
    return np.uint16(value * WORD).view(np.int16)
