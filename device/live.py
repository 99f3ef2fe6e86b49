"""From a frame to the picture that is shown, and the numbers beside it.

The reference, the regions and the picture are steadied by the same recursive mean, in signal units, so that the value beside a
region is the one its colour shows, and a change of exposure, gain or light leaves all of them where they were.
"""

import math
import threading
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import simplejpeg
from numpy.typing import NDArray
from PIL import Image

from device.curve_point import CurvePoint
from shared.ambient import AmbientPlane, Way
from shared.calibration import Calibration
from shared.errors import Refused
from shared.frame import CameraDescription, Frame
from shared.fused_picture import FusedPicture
from shared.legend import Legend, with_legend
from shared.light_steps import against_first
from shared.live_picture import Look, Planes, smoothed
from shared.papers.words import ENGLISH, Words
from shared.picture_noise import NO_NOISE, Noise
from shared.protocol.control import RegionState, View
from shared.region import Region
from shared.region_sums import compiled_sums
from shared.relative import relative_measured
from shared.settings import PictureSettings
from shared.signal import Measured, RegionPixels, RegionSignal, region_signal

LONGEST_PAUSE_NS = 500_000_000
"""After a longer time without lit frames the picture starts afresh instead of mixing in what was seen before."""

BETTER_LIGHT = 4.0
"""A frame that gathered so many times more light than the one before also stands alone: the old one would only add noise."""

_warm = threading.Lock()
_is_warm = False


@dataclass(frozen=True)
class LivePicture:
    """A picture as JPEG, ``width`` x ``height`` pixels, and its header as JSON-ready values."""

    jpeg: bytes
    width: int
    height: int
    view: View
    header: dict[str, Any]


@dataclass(eq=False)
class _Watched:
    """A region that is measured in every lit frame."""

    region: Region
    pixels: RegionPixels
    baseline: Measured = field(default_factory=lambda: Measured(0.0, 0.0))
    ambient: Measured = field(default_factory=lambda: Measured(0.0, 0.0))
    newest: RegionSignal | None = None
    steadied: Measured | None = None
    _noise: Measured | None = None

    def take(self, seen: RegionSignal, kept: float, by_rate: float) -> None:
        """Mix a frame's mean into the steadied one, ``by_rate`` times the ambient light taken off; variances add with the squares
        of the weights.

        What is unsure of the ambient light is the same in every frame, so that no mean makes it smaller.
        """
        value, u = seen.signal.value - self.ambient.value * by_rate, seen.signal.u
        self.newest, before = RegionSignal(Measured(value, u), seen.saturated_share), self._noise
        if before is not None and self.steadied is not None:
            value = kept * before.value + (1.0 - kept) * value
            u = math.hypot(kept * before.u, (1.0 - kept) * u)
        self._noise = Measured(value, u)
        self.steadied = Measured(value, math.hypot(u, self.ambient.u * by_rate))

    def set_baseline(self, plane: NDArray[np.float32] | None, noise: Noise) -> None:
        """Mean of a baseline plane over the region; ``noise`` is that of the plane's pixels."""
        if plane is None:
            self.baseline = Measured(0.0, 0.0)
        else:
            found = plane.reshape(-1)[self.pixels.indices].astype(np.float64)
            variance = noise.variance(found, self.pixels.inverse_flat)
            self.baseline = Measured(float(found.mean()), math.sqrt(float(variance.mean()) / len(found)))


def warm_up() -> None:
    """Compile the live path, or load it from numba's cache, by drawing a few small pictures. Seconds once, then milliseconds."""
    global _is_warm
    with _warm:
        if _is_warm:
            return
        camera = CameraDescription("warm-up", 64, 64)
        calibration = Calibration.assumed(camera)
        picture = FusedPicture(calibration, PictureSettings())
        frame = Frame(np.full(camera.shape, 100, np.uint16), 0, 0, 1000.0)
        region_signal(frame, RegionPixels.gathered(np.arange(64), calibration), calibration, compiled_sums)
        views: tuple[View, ...] = ("grey", "relative", "side by side")
        for view in views:
            planes = picture.draw(frame, Look(view, (20.0,), 50.0, np.zeros(camera.shape, np.float32)))
            _jpeg(planes, 80)
        _is_warm = True


def _jpeg(planes: Planes, quality: int) -> bytes:
    y = np.ascontiguousarray(planes.y)
    encoded: bytes = simplejpeg.encode_jpeg_yuv_planes(y, planes.u, planes.v, quality)
    return encoded


class LivePath:
    """Takes frames, gives pictures. The imager's loop calls ``process``; the rest may be called from any thread."""

    def __init__(self, calibration: Calibration, settings: PictureSettings, off: Way = "whole") -> None:
        """Compiles its loops first where that was not done, so make one before the camera starts.

        ``off`` says what is taken off of the ambient light that unlit frames tell.
        """
        warm_up()
        self._calibration = calibration
        self._settings = settings
        self._picture = FusedPicture(calibration, settings)
        self._lock = threading.RLock()
        self._view: View = "relative"
        self._contours = tuple(sorted(settings.contours_percent))
        self._reference: _Watched | None = None
        self._regions: dict[str, _Watched] = {}
        self._baseline: NDArray[np.float32] | None = None
        self._baseline_noise = NO_NOISE
        self._last_lit_ns: int | None = None
        self._factor = 0.0
        self._ambient: AmbientPlane | None = None
        self._off = off
        self._ambient_for: tuple[float, float, float] | None = None
        self._takes_off = False
        self._first_output = 0.0
        self._lit = False
        self._seen = False
        self._planes: Planes | None = None
        self._drawn_percent = False

    def set_view(self, view: View) -> None:
        """Choose what later pictures show."""
        with self._lock:
            self._view = view

    def set_contours(self, percent: tuple[float, ...]) -> None:
        """Percentages at which lines are drawn, at most four."""
        if len(percent) > 4:
            raise Refused("too many contours", percent, "give at most four")
        with self._lock:
            self._contours = tuple(sorted(percent))

    def set_reference(self, region: Region | None) -> None:
        """Choose the tissue that counts as 100 %, or none. Raises Refused when it lies outside the picture."""
        watched = None if region is None else self._watched(region)
        with self._lock:
            self._reference = watched

    def put_region(self, region: Region) -> None:
        """Add a region, or replace the one of its name. Raises Refused when it lies outside the picture."""
        watched = self._watched(region)
        with self._lock:
            self._regions[region.name] = watched

    def remove_region(self, name: str) -> None:
        """Take a region away; raises Refused when there is none of that name."""
        with self._lock:
            if name not in self._regions:
                raise Refused("no such region", name, f"there are: {', '.join(self._regions) or 'none'}")
            del self._regions[name]

    def mark_baseline(self) -> None:
        """Take the mean of about the last second of lit frames as what was there before the dye."""
        with self._lock:
            plane, noise = self._picture.remembered(), self._picture.remembered_noise
        if plane is None:
            raise Refused("no baseline: too few lit frames yet", remedy="switch the light on, wait a second, try again")
        if (
            self._settings.smoothing
        ):  # without the lock: a frame that waited for it would come too late for the light's lease
            plane = smoothed(plane.astype(np.float64)).astype(np.float32)
        with self._lock:
            self._use_baseline(plane, noise)

    def clear_baseline(self) -> None:
        """Take nothing off any more."""
        with self._lock:
            self._use_baseline(None, NO_NOISE)

    def process(self, frame: Frame) -> LivePicture:
        """Take a frame in and draw it as JPEG."""
        if frame.lit and self._calibration.output_at(frame.light_level) <= 0:
            frame = frame.with_light(0.0, False)
        with self._lock:
            self._measure(frame)
            look = self._look(frame)
            header = self._header(
                frame
            )  # now, from what was just touched: after the picture it takes three times as long
            self._planes = self._picture.draw(frame, look)
            self._drawn_percent = look.view != "grey" and look.reference is not None
            jpeg = _jpeg(self._planes, self._settings.jpeg_quality)
            height, width = self._planes.y.shape
            header |= {
                "picture_width": width,
                "picture_height": height,
                "saturated_share": self._picture.saturated_share,
            }
            return LivePicture(jpeg, width, height, self._view, header)

    def begin_anew(self) -> None:
        """Forget the frames that the picture, its values and the next baseline are a mean of, with the next lit frame."""
        with self._lock:
            self._last_lit_ns = None

    def take_unlit(self, frame: Frame) -> None:
        """Learn the ambient light from a frame without the ring's; from the next lit frame on it is taken off, or of it what steps
        of the ring's level make.
        """
        with self._lock:
            if self._ambient is None:
                self._ambient = AmbientPlane(self._calibration)
            self._ambient.take(frame)
            self._ambient_for = None
            for watched in self._all_watched():
                watched.ambient = self._ambient.region_rate(watched.pixels)
            if self._off == "whole":
                self._suit_ambient(frame, 1.0)

    def region_states(self) -> tuple[RegionState, ...]:
        """Newest value of each region, in the order they were put."""
        with self._lock:
            return tuple(self._state(watched) for watched in self._regions.values())

    def reference_state(self) -> RegionState | None:
        """The reference: 100 %, or why it cannot serve as such."""
        with self._lock:
            if self._reference is None:
                return None
            flag = self._reference_flag()
            region = self._reference.region
            percent = None if flag else 100.0
            return RegionState(str(region), region.name, percent, None if flag else self._reference_u(), flag)

    def curve_points(self) -> tuple[CurvePoint, ...]:
        """What the newest frame adds to the curves of reference and regions."""
        with self._lock:
            return tuple(self._curve_point(watched) for watched in self._all_watched())

    def _curve_point(self, watched: _Watched) -> CurvePoint:
        seen, baseline = watched.steadied, watched.baseline
        if not self._lit or seen is None or watched.newest is None or watched.newest.is_saturated:
            seen = Measured(math.nan, math.nan)
        return CurvePoint(watched.region.place, seen.value, seen.u, baseline.value, baseline.u)

    def still(self, words: Words = ENGLISH) -> Image.Image:
        """The newest picture, RGB, with its legend in that language beneath. Raises Refused before the first picture."""
        with self._lock:
            if self._planes is None:
                raise Refused("no picture yet", remedy="wait for the camera")
            y, u, v = self._planes.y, self._planes.u, self._planes.v
            size = (y.shape[1], y.shape[0])
            chroma = [Image.fromarray(plane.repeat(2, 0).repeat(2, 1)).crop((0, 0, *size)) for plane in (u, v)]
            picture = Image.merge("YCbCr", (Image.fromarray(np.ascontiguousarray(y)), *chroma)).convert("RGB")
            reference = self._reference.region.name if self._reference is not None else ""
            legend = Legend(
                full_scale_percent=self._settings.full_scale_percent,
                opacity=self._settings.overlay_opacity,
                contours_percent=self._contours,
                reference=reference if self._drawn_percent else "",
                has_percent=self._drawn_percent,
                baseline=self._baseline is not None,
                widest_u_percent=self._settings.widest_u_percent,
                words=words,
            )
        return with_legend(picture, legend)

    def _watched(self, region: Region) -> _Watched:
        shape = self._calibration.camera.shape
        watched = _Watched(region, RegionPixels.gathered(region.indices(shape), self._calibration))
        if self._ambient is not None:
            watched.ambient = self._ambient.region_rate(watched.pixels)
        return watched

    def _suit_ambient(self, frame: Frame, share: float) -> None:
        """Bring what is taken off the picture, a ``share`` of the ambient light, to the exposure and gain of its frames."""
        wanted = frame.exposure_us, frame.gain, share
        if self._ambient is None or self._ambient_for == wanted or not (share or self._takes_off):
            return
        self._ambient_for, self._takes_off = wanted, share != 0.0
        counts = self._ambient.counts(frame.exposure_us, frame.gain)
        counts *= np.float32(share)
        variance_counts2 = self._ambient.variance_counts2(frame.exposure_us, frame.gain)
        self._picture.take_ambient_off(counts, variance_counts2 * share**2)

    def _use_baseline(self, plane: NDArray[np.float32] | None, noise: Noise) -> None:
        self._baseline, self._baseline_noise = plane, noise
        for watched in self._all_watched():
            watched.set_baseline(plane, noise)

    def _all_watched(self) -> tuple[_Watched, ...]:
        return (*((self._reference,) if self._reference is not None else ()), *self._regions.values())

    def _measure(self, frame: Frame) -> None:
        self._lit, self._seen = frame.lit, True
        if not self._lit:
            return
        factor = self._calibration.counts_to_signal(frame.exposure_us, frame.gain, frame.light_level)
        paused = self._last_lit_ns is None or frame.sensor_time_ns - self._last_lit_ns > LONGEST_PAUSE_NS
        if paused or factor * BETTER_LIGHT < self._factor:
            self._picture.restart()
            for watched in self._all_watched():
                watched.steadied = None
        self._factor = factor
        output = self._calibration.output_at(frame.light_level)
        self._first_output = self._first_output or output
        by_rate = 1.0 / output if self._off == "whole" else against_first(output, self._first_output)
        self._suit_ambient(frame, by_rate * output)
        self._last_lit_ns = frame.sensor_time_ns
        for watched in self._all_watched():
            is_new = watched.newest is None
            seen = region_signal(frame, watched.pixels, self._calibration, compiled_sums)
            watched.take(seen, self._settings.steadying, by_rate)
            if is_new:
                watched.set_baseline(self._baseline, self._baseline_noise)

    def _look(self, frame: Frame) -> Look:
        above, above_u = None, 0.0
        if self._reference is not None and not self._reference_flag():
            assert self._reference.steadied is not None
            above = self._reference.steadied.value - self._reference.baseline.value
            above_u = math.hypot(self._reference.steadied.u, self._reference.baseline.u)
        return Look(self._view, self._contours, above, self._baseline, above_u, self._baseline_noise)

    def _reference_flag(self) -> str:
        """Why there is no percentage, for a reason that concerns all regions; empty when there is."""
        reference = self._reference
        if not self._seen:
            return "no picture yet"
        if not self._lit:
            return "unlit"
        if reference is None:
            return "no reference"
        if reference.newest is None or reference.steadied is None:
            return "no picture yet"
        if reference.newest.is_saturated:
            return "reference saturated"
        above = reference.steadied.value - reference.baseline.value
        least = self._settings.least_signal_to_noise * math.hypot(reference.steadied.u, reference.baseline.u)
        return "" if above > 0 and above >= least else "reference too dark"

    def _reference_u(self) -> float:
        assert self._reference is not None
        assert self._reference.steadied is not None
        above = self._reference.steadied.value - self._reference.baseline.value
        return 100.0 * math.hypot(self._reference.steadied.u, self._reference.baseline.u) / above

    def _state(self, watched: _Watched) -> RegionState:
        flag = self._reference_flag() or self._own_flag(watched)
        value = None
        reference = self._reference
        if not flag and reference is not None and reference.steadied is not None and watched.steadied is not None:
            value = relative_measured(watched.steadied, reference.steadied, watched.baseline, reference.baseline)
        region = watched.region
        if value is None:
            return RegionState(str(region), region.name, None, None, flag or "reference too dark")
        unsure = "uncertain" if value.u > self._settings.widest_u_percent else ""
        return RegionState(str(region), region.name, value.value, value.u, unsure)

    def _own_flag(self, watched: _Watched) -> str:
        if watched.newest is None or watched.steadied is None:
            return "no picture yet"
        if watched.newest.is_saturated:
            return "saturated"
        above = watched.steadied.value - watched.baseline.value
        u = math.hypot(watched.steadied.u, watched.baseline.u)
        return "too dark" if above < self._settings.least_signal_to_noise * u else ""

    def _header(self, frame: Frame) -> dict[str, Any]:
        """What is said beside the picture, but for what only drawing tells."""
        return {
            "sequence": frame.sequence,
            "sensor_time_ns": frame.sensor_time_ns,
            "width": self._calibration.camera.width,
            "height": self._calibration.camera.height,
            "mm_per_px": self._calibration.camera.mm_per_px,
            "view": self._view,
            "lit": self._lit,
            "light_level": frame.light_level,
            "exposure_us": frame.exposure_us,
            "gain": frame.gain,
            "reference": self._reference_header(),
            "values": [
                {"name": s.name, "region": s.region, "percent": s.percent, "percent_u": s.percent_u, "flag": s.flag}
                | self._curve_header(watched)
                for s, watched in zip(self.region_states(), self._regions.values(), strict=True)
            ],
            "full_scale_percent": self._settings.full_scale_percent,
            "contours_percent": list(self._contours),
            "baseline": self._baseline is not None,
        }

    def _reference_header(self) -> dict[str, Any] | None:
        state, watched = self.reference_state(), self._reference
        if state is None or watched is None:
            return None
        return {
            "region": state.region,
            "name": state.name,
            "percent": state.percent,
            "flag": state.flag,
            **self._curve_header(watched),
        }

    def _curve_header(self, watched: _Watched) -> dict[str, float | None]:
        """The newest point of a curve, so that those who look need not ask for it."""
        point = self._curve_point(watched)
        known = not math.isnan(point.signal)
        return {
            "signal": point.signal if known else None,
            "signal_u": point.signal_u if known else None,
            "baseline": point.baseline,
            "baseline_u": point.baseline_u,
        }
