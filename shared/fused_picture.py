"""The live picture, fast: prepares the whole numbers that the fused loops of ``live_kernel`` work with.

Draws what ``live_picture.PlainPicture`` draws, within two grey levels except where rounding moves a value over a threshold.
"""

import math
from dataclasses import replace
from typing import Any, cast

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import DTypeLike, NDArray

from shared.calibration import Calibration
from shared.colour import CLEAR_PERCENT, COVERED_PERCENT, NEUTRAL, PercentColours
from shared.frame import Frame
from shared.live_kernel import CHROMA_UNIT, FULL_SCALE, LANES, LARGEST, RECORD, SCRATCH_ROWS, WHITE, Numbers
from shared.live_passes import draw_half, draw_whole, halve_whole
from shared.live_picture import (
    DARK_STROKE,
    LIGHT_STROKE,
    PATTERN_PERIOD,
    Look,
    Planes,
    block_means,
    dash_pattern,
    dot_pattern,
    stripe_pattern,
)
from shared.picture_noise import Noise, SlowMeanNoise, SteadiedNoise, frame_noise
from shared.settings import PictureSettings
from shared.signal import DefectSources

Lane = NDArray[np.int16]
F32 = NDArray[np.float32]

PART = 65536
"""``lanes.part`` multiplies by a number of these."""

TOP = 32767
"""Largest int16."""
WORD = 257
"""Times a byte: the same byte twice in a 16-bit word."""

_STRIP_ROWS = 64
_LINE = 64
"""Bytes of a cache line."""

REMEMBERED_S = 0.7
"""Time constant of the slow mean that becomes the baseline: it reaches back about a second."""

REMEMBERED_EVERY = 8
"""Each row enters the slow mean every so many frames, so that it costs little."""


class FusedPicture:
    """Draws frame after frame; keeps the steadied signal, and a slow mean of it, between them."""

    def __init__(self, calibration: Calibration, settings: PictureSettings) -> None:
        self._calibration = calibration
        self._settings = settings
        self._sources = DefectSources.around(calibration.defects)
        self._range_counts = calibration.saturation_counts - float(calibration.dark_counts.mean())
        height, width = calibration.camera.shape
        self._ambient_counts = 0.0
        room = _Room(height, width)
        self._dark, self._gain, self._state = room.zeros((3, height, width), np.int16)
        self._prepare_calibration()
        self._unlit_state = np.zeros((height, width), np.int16)
        self._remembered = np.zeros((height, width), np.float32)
        self._scratch = _scratch(width, room)
        self._half_shape = height // 2, width // 4 * 2
        self._half = np.zeros((height // 2, _whole_lanes(width // 4 * 2)), np.int16)
        blocks = (width + 1) // 2
        self._whole_planes = _Canvas(height, width, room)
        self._half_planes = _Canvas(height // 2, width // 4 * 4, room)
        self._stripes = _words(stripe_pattern((PATTERN_PERIOD, blocks)))
        self._dots = _words(dot_pattern((PATTERN_PERIOD, blocks)))
        self._dashes = _words(dash_pattern((PATTERN_PERIOD, blocks)))
        self._prepare_colours()
        self._baseline_key: tuple[object, ...] = ()
        self._baseline: Lane = np.zeros((1, 1), np.int16)
        self._below: F32 = np.zeros((1, 1), np.float32)
        self._most_below = 0.0
        self._inverse_flat = room.zeros(self._whole_planes.u.shape, np.float32)
        self._inverse_flat[:] = self._blocks(1.0 / calibration.flat, halved=False)
        self._half_inverse_flat = self._blocks(1.0 / calibration.flat, halved=True)
        self._most_inverse_flat = float(self._inverse_flat.max())
        self._steadied_noise = SteadiedNoise(settings.steadying)
        self._slow_noise = SlowMeanNoise(settings.steadying**REMEMBERED_EVERY)
        self._ambient_variance = 0.0
        self._factor = 0.0
        self.restart()
        self.forget()
        self.saturated_share = 0.0

    def restart(self) -> None:
        """Forget the frames before; the next one stands alone."""
        self._fresh = True
        self._steadied_noise.restart()

    def forget(self) -> None:
        """Begin the slow mean anew."""
        self._slow_noise.restart()
        self._remembered_frames = 0
        self._remembered[:] = 0.0

    def take_ambient_off(self, counts: NDArray[np.float32], variance_counts2: float = 0.0) -> None:
        """From now on ``counts`` (height, width) are what ambient light adds to a frame, each known with this variance.

        Costs as much as half a picture.
        """
        self._ambient_variance = variance_counts2
        self._ambient_counts = float(counts.mean(dtype=np.float64))
        self._prepare_dark(counts)

    def remembered(self) -> NDArray[np.float32] | None:
        """Mean signal of about the last second, (height, width), a copy; None before enough frames.

        ``shared.live_picture.smoothed`` makes of it what the picture shows. That takes as long as a few frames, so it is left to
        whoever asks: the next frame need not wait for it.
        """
        return None if self._remembered_frames < REMEMBERED_EVERY else self._remembered.copy()

    @property
    def remembered_noise(self) -> Noise:
        """What the slow mean leaves of the noise of each pixel, before it is smoothed."""
        return self._slow_noise.noise

    def draw(self, frame: Frame, look: Look) -> Planes:
        """Take the frame in and draw it. An unlit frame is drawn in grey by itself and leaves the steadied signal alone."""
        state = self._state
        if frame.lit:
            factor = self._calibration.counts_to_signal(frame.exposure_us, frame.gain, frame.light_level)
            known = self._frame_numbers(factor)
            self._take_noise(frame.gain, factor, known)
        else:
            factor, state, known = 1.0, self._unlit_state, Numbers(fresh=1)
            look = replace(look, reference=None)
        if look.reference is not None and look.view != "grey":
            self._prepare_baseline(factor, look)
            known |= self._percent_numbers(factor, look) | self._doubt_numbers(factor, look)
        planes = self._drawn(frame, look, _with(self._base, known), state)
        if frame.lit:
            self._factor, self._fresh = factor, False
            self._remembered_frames += 1
        return planes

    def _drawn(self, frame: Frame, look: Look, numbers: np.void, state: Lane) -> Planes:
        pixels = np.ascontiguousarray(frame.pixels)
        pixels.flags.writeable = False
        sources = (self._sources.pixels, self._sources.starts, self._sources.sources)
        planes = (self._dark, self._gain, *sources, state, self._remembered)
        marks = (self._stripes, self._dots, self._dashes, _LIGHT_WORD, _DARK_WORD)
        if look.view != "side by side":
            canvas = self._whole_planes
            clipped = draw_whole(
                pixels, *planes, self._baseline, self._inverse_flat, self._below, *marks, numbers, *self._scratch,
                *canvas.arrays,
            )  # fmt: skip
        else:
            canvas = self._half_planes
            clipped = halve_whole(pixels, *planes, self._half, numbers, self._scratch[0], self._scratch[2])
            words = self._half.view(np.int32)
            for offset, part in ((0, _with(numbers, Numbers(relative=0))), (self._half_shape[1] // 2, numbers)):
                draw_half(
                    self._half, words, self._baseline, self._half_inverse_flat, self._below, *marks, part,
                    *self._scratch[:2], offset, canvas.u.shape[0], *canvas.arrays,
                )  # fmt: skip
        self.saturated_share = clipped / frame.pixels.size
        return canvas.planes

    def _prepare_calibration(self) -> None:
        calibration = self._calibration
        depth = calibration.camera.bit_depth
        up, down = max(15 - depth, 0), max(depth - 15, 0)
        per_count = 2.0 ** (up - down)
        least_flat = float(calibration.flat[~calibration.defects].min())
        gain = np.rint(np.minimum(least_flat / calibration.flat.astype(np.float64), 1.0) * TOP)
        self._per_count = per_count
        self._gain[:] = gain
        self._prepare_dark(None)
        self._scale = per_count * least_flat * TOP / PART
        tone_shift, tone_limit, tone_share = _multiplier(WHITE / (self._scale * self._range_counts))
        tone_limit = min(tone_limit, WHITE * PART // tone_share >> tone_shift)
        old_first = self._settings.steadying >= 0.5
        lesser = 1.0 - self._settings.steadying if old_first else self._settings.steadying
        self._base = _with(np.zeros(1, RECORD)[0], Numbers(
            raw_down=down, raw_up=up, saturation=calibration.saturation_counts, fresh=1, old_first=int(old_first),
            lesser_share=-round(lesser * PART), rescale=PART, smooth=int(self._settings.smoothing),
            tone_shift=tone_shift, tone_limit=tone_limit, tone_share=tone_share,
            remember_phase=-1,
        ))  # fmt: skip

    def _prepare_dark(self, ambient_counts: F32 | None) -> None:
        """What is taken off a frame: dark and ambient counts, less what makes the product with the gain round to the nearest."""
        for first in range(0, len(self._dark), _STRIP_ROWS):  # a strip at a time needs no plane beside the result
            rows = slice(first, first + _STRIP_ROWS)
            dark = self._calibration.dark_counts[rows] * np.float32(self._per_count)
            if ambient_counts is not None:
                dark += ambient_counts[rows] * np.float32(self._per_count)
            dark -= np.rint(np.float32(PART / 2) / self._gain[rows])
            self._dark[rows] = np.rint(np.clip(dark, -TOP, TOP, out=dark), out=dark)

    def _prepare_colours(self) -> None:
        settings = self._settings
        colours = PercentColours(settings.full_scale_percent, settings.overlay_opacity)
        unit = self._percent_unit = FULL_SCALE / settings.full_scale_percent
        clear, ramp = round(CLEAR_PERCENT * unit), round((COVERED_PERCENT - CLEAR_PERCENT) * unit)
        fits = (("luma", 0, 4, WHITE / 255), ("blue", 1, 5, CHROMA_UNIT), ("red", 2, 5, CHROMA_UNIT))
        coefficients: dict[str, Any] = {
            f"{name}_{power}": round(value * per_level * 2**power)
            for name, channel, degree, per_level in fits
            for power, value in enumerate(_polynomial(colours, channel, degree))
        }
        slope = int(settings.overlay_opacity * TOP / ramp)
        self._base = _with(self._base, Numbers(clear=clear, ramp=ramp, cover_slope=slope, **coefficients))  # type: ignore[typeddict-item]

    def _frame_numbers(self, factor: float) -> Numbers:
        """How this frame enters the steadied plane and the slow mean."""
        fresh = self._fresh or self._settings.steadying == 0
        rescale = PART if fresh else round(PART * self._factor / factor)
        seconds = self._calibration.camera.frame_interval_us * 1e-6 * REMEMBERED_EVERY
        visits = self._remembered_frames // REMEMBERED_EVERY + 1
        return {
            "fresh": int(fresh),
            "rescale": rescale,
            "remember_phase": self._remembered_frames % REMEMBERED_EVERY,
            "remember_scale": factor / self._scale,
            "remember_share": max(1.0 / visits, 1.0 - math.exp(-seconds / REMEMBERED_S)),
        }

    def _take_noise(self, gain: float, factor: float, known: Numbers) -> None:
        """Noise of the steadied plane and of the slow mean after this frame."""
        steadied = self._steadied_noise.take(frame_noise(self._calibration, gain, factor, self._ambient_counts))
        if known["remember_phase"] == 0:
            self._slow_noise.take(steadied, known["remember_share"])

    def _percent_numbers(self, factor: float, look: Look) -> Numbers:
        assert look.reference is not None
        per_value = 100.0 * self._percent_unit * factor / (self._scale * look.reference)
        shift, limit, share = _multiplier(per_value)
        levels = [round(level * self._percent_unit) for level in look.contours_percent]
        a, b, c, d = (*levels, *[TOP] * (4 - len(levels)))
        return {
            "relative": 1, "percent_shift": shift, "percent_limit": limit, "percent_share": share,
            "with_baseline": int(look.baseline is not None), "level_0": a, "level_1": b, "level_2": c, "level_3": d,
        }  # fmt: skip

    def _doubt_numbers(self, factor: float, look: Look) -> Numbers:
        """What ``PercentNoise`` says, in the kernel's unit of percent."""
        assert look.reference is not None
        assert self._steadied_noise.noise is not None
        known = self._steadied_noise.noise + Noise(still=self._ambient_variance * factor**2)
        noise = look.percent_noise(known, self._settings.smoothing)
        per_signal = 100.0 * self._percent_unit / look.reference
        return {
            "by_percent": noise.pixel.shot * per_signal,
            "by_still": (noise.pixel.still + noise.baseline.still) * per_signal**2,
            "by_baseline": (noise.pixel.shot + noise.baseline.shot) * per_signal**2,
            "by_reference": noise.relative_u**2,
            "least_squared": self._settings.least_signal_to_noise**2,
            "widest_squared": (self._settings.widest_u_percent * self._percent_unit) ** 2,
            "most_inverse_flat": self._most_inverse_flat,
            "most_baseline": self._most_below if look.baseline is not None else 0.0,
        }

    def _prepare_baseline(self, factor: float, look: Look) -> None:
        """Baseline in the units of the steadied plane, and of its blocks in signal units, made anew only when something changed."""
        halved = look.view == "side by side"
        baseline_key = (id(look.baseline), halved, factor if look.baseline is not None else 0.0)
        if baseline_key != self._baseline_key:
            self._baseline_key = baseline_key
            if look.baseline is not None:
                blocks = self._blocks(look.baseline, halved)
                self._baseline = _lanes(blocks * (self._scale / factor))
                self._below = np.maximum(blocks, 0.0)
                self._most_below = float(self._below.max())

    def _blocks(self, plane: NDArray[np.floating], halved: bool) -> F32:
        """Means of the blocks on which colour and marks live."""
        return block_means(self._halved(plane) if halved else plane).astype(np.float32)

    def _halved(self, plane: NDArray[np.floating]) -> NDArray[np.float64]:
        height, width = self._half_shape
        return block_means(plane[: 2 * height, : 2 * width])


class _Room:
    """Memory for all that a frame goes through, in one piece: only pieces of some MB get large pages, which are found faster.

    Drawing takes a tenth longer where each array has pages of its own.
    """

    def __init__(self, height: int, width: int) -> None:
        """For a (height, width) picture: under ten bytes a pixel, the scratch rows, and what rounding up to whole lines takes."""
        size = 10 * (height + 2) * (width + 2) + 2 * SCRATCH_ROWS * (width + 5 * LANES) + 16 * _LINE
        self._bytes = np.zeros(size, np.uint8)
        self._used = -self._bytes.ctypes.data % _LINE

    def zeros(self, shape: tuple[int, ...], dtype: DTypeLike) -> NDArray[Any]:
        """A part of it, from the beginning of a cache line on."""
        size = math.prod(shape) * np.dtype(dtype).itemsize
        part = self._bytes[self._used : self._used + size]
        self._used += -(-size // _LINE) * _LINE
        return part.view(dtype).reshape(shape)


class _Canvas:
    """Planes padded to even size, as the loops write them, and the views of them that are the picture."""

    def __init__(self, height: int, width: int, room: "_Room") -> None:
        blocks = ((height + 1) // 2, (width + 1) // 2)
        padded = room.zeros((2 * blocks[0], 2 * blocks[1]), np.uint8)
        self.u, self.v = room.zeros((2, *blocks), np.uint8)
        self.u[:] = self.v[:] = 128
        self.arrays = (padded.view(np.int16), self.u, self.v)
        self.planes = Planes(padded[:height, :width], self.u, self.v)


def _whole_lanes(columns: int) -> int:
    return -(-columns // LANES) * LANES


def _scratch(width: int, room: "_Room") -> tuple[Lane, NDArray[np.uint8], NDArray[np.int32]]:
    """Scratch rows as int16, as bytes and as 32-bit words; rows start on different cache lines of a page."""
    pitch = _whole_lanes(width + 4) + 3 * LANES
    lines = room.zeros((SCRATCH_ROWS, pitch), np.int16)
    return lines, lines.view(np.uint8), lines.view(np.int32)


def _multiplier(factor: float) -> tuple[int, int, int]:
    """(shift, limit, share) so that min(a, limit) 2^shift share / 2^16 is a times ``factor``, or at least LARGEST / 2."""
    shift = 0
    while factor / 2**shift * PART > TOP:
        shift += 1
    return shift, TOP >> shift, round(factor / 2**shift * PART)


def _polynomial(colours: PercentColours, channel: int, degree: int) -> NDArray[np.float64]:
    """Fit to the map's luma (0) or chroma above neutral (1, 2) over -1 (0 %) to 1 (full scale).

    Evened out towards the least largest error, where the map covers anything.
    """
    x = np.linspace(-1.0, 1.0, 512)
    percent = (x + 1.0) / 2.0 * colours.full_scale_percent
    wanted = colours.mapped(percent, channel) - (NEUTRAL if channel else 0)
    matters = 0.05 + colours.opacity_at(percent) / colours.opacity
    weights = matters.copy()
    for _ in range(100):
        fit = chebyshev.chebfit(x, wanted, degree, w=weights)
        error = np.abs(chebyshev.chebval(x, fit) - wanted) * matters
        weights *= (error / error.max() + 1e-3) ** 0.05
    return np.asarray(chebyshev.cheb2poly(fit), np.float64)


def _lanes(plane: NDArray[np.floating]) -> Lane:
    return np.ascontiguousarray(np.rint(np.clip(plane, -LARGEST, LARGEST)).astype(np.int16))


def _words(pattern: NDArray[np.uint8]) -> Lane:
    return (pattern.astype(np.uint16) * WORD).view(np.int16)


def _word(value: int) -> int:
    return int(np.uint16(value * WORD).view(np.int16))


_LIGHT_WORD, _DARK_WORD = _word(LIGHT_STROKE), _word(DARK_STROKE)


def _with(numbers: np.void, known: Numbers) -> np.void:
    """A copy with some numbers replaced."""
    changed: Any = numbers.copy()
    for name, value in known.items():
        changed[name] = value
    return cast("np.void", changed)
