"""Exposure, gain and light level for a run, chosen before it from how bright the picture is."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from shared.calibration import Calibration
from shared.frame import Counts

PERCENTILE = 98.0
"""What stays below full scale is nearly all of an area; its few brightest pixels are hot ones and wet skin."""

SATURATED_SHARE = 0.005
LONGEST_STRIDE = 16.0
"""Brighter by no more at once: what is almost black says little of how dark it is."""

STEP_BACK = 0.25
"""Darker by so much where saturation hides how bright it is."""

HOLDS_WITHIN = 1.25
"""A brightness within this factor of the target is left alone, so that noise and small movements change nothing."""

SAME_WITHIN = 0.02
LOCKED_AFTER_DYE_S = 600.0
"""How long after "Dye in" a run lasts, as far as exposure goes (common practice, no source: inflow and plateau)."""

Prefer = Literal["less light", "short exposure"]
Verdict = Literal["as it is", "brighter", "darker", "rearranged", "as bright as it goes", "as dark as it goes"]


@dataclass(frozen=True)
class Brightness:
    """Of an area: the share of full scale (dark 0, saturation 1) below which ``PERCENTILE`` of it lies, and what is saturated."""

    share: float
    saturated_share: float

    @property
    def is_saturated(self) -> bool:
        """Too much of it is, or all but: then ``share`` says nothing."""
        return self.saturated_share > SATURATED_SHARE or self.share >= 0.98


@dataclass(frozen=True)
class ExposureSetting:
    """Exposure of the sensor, its gain, and the level of the ring, 0 to 1."""

    exposure_us: float
    gain: float
    light_level: float


@dataclass(frozen=True)
class ExposureLimits:
    """What may be chosen. ``levels`` rise; gain is the last resort, because it makes noise no smaller."""

    shortest_us: float
    longest_us: float
    largest_gain: float
    levels: tuple[float, ...]
    prefer: Prefer = "less light"

    def hold(self, setting: ExposureSetting) -> bool:
        """Whether ``setting`` keeps to them, but for what a sensor makes of what it is asked for."""
        exposure = self.shortest_us * (1 - SAME_WITHIN) <= setting.exposure_us <= self.longest_us * (1 + SAME_WITHIN)
        level = any(abs(setting.light_level - level) <= SAME_WITHIN for level in self.levels)
        return exposure and level and setting.gain <= self.largest_gain * (1 + SAME_WITHIN)


@dataclass(frozen=True)
class ExposureChoice:
    """What to set, and why."""

    setting: ExposureSetting
    verdict: Verdict

    @property
    def is_final(self) -> bool:
        """Whether another look would change nothing."""
        return self.verdict not in ("brighter", "darker", "rearranged")


def brightness(pixels: Counts, indices: NDArray[np.intp], calibration: Calibration) -> Brightness:
    """Of the flat ``indices`` of a frame's (height, width) counts, defects left out."""
    good = indices[~calibration.defects.reshape(-1)[indices]]
    counts, dark = pixels.reshape(-1)[good], calibration.dark_counts.reshape(-1)[good]
    full = calibration.saturation_counts - float(dark.mean())
    share = float(np.percentile(counts - dark, PERCENTILE)) / full
    return Brightness(share, float(np.count_nonzero(counts >= calibration.saturation_counts)) / len(good))


def centre(shape: tuple[int, int]) -> NDArray[np.intp]:
    """Flat indices of the middle third each way of a (height, width) picture."""
    height, width = shape
    rows, columns = np.mgrid[height // 3 : height - height // 3, width // 3 : width - width // 3]
    indices: NDArray[np.intp] = (rows * width + columns).reshape(-1)
    return indices


def longest_exposure_us(frame_interval_us: float, mm_per_px: float | None, hand_mm_s: float, blur_px: float) -> float:
    """Longest exposure that fits between frames and in which a hand at ``hand_mm_s`` smears the picture by ``blur_px`` at most.

    Without a scale the frame interval alone counts.
    """
    if mm_per_px is None or hand_mm_s <= 0:
        return frame_interval_us
    return min(frame_interval_us, 1e6 * blur_px * mm_per_px / hand_mm_s)


def locked_because(recording: bool, since_injection_s: float | None) -> str:
    """Why nothing may be chosen now; empty where it may."""
    if recording:
        return "a recording runs"
    if since_injection_s is not None and since_injection_s < LOCKED_AFTER_DYE_S:
        left_s = math.ceil(LOCKED_AFTER_DYE_S - since_injection_s)
        return f"dye went in {since_injection_s:.0f} s ago, which locks it for {left_s} s more, with or without a recording"
    return ""


def choose_exposure(
    seen: Brightness,
    now: ExposureSetting,
    target_share: float,
    limits: ExposureLimits,
    output_at: Callable[[float], float],
) -> ExposureChoice:
    """What brings ``seen``, taken with ``now``, to ``target_share`` of full scale.

    ``output_at`` gives the ring's output at a level, relative to full level. Called again after each step it comes to rest. What
    is bright enough but outside the limits is brought inside them ("rearranged").
    """
    fits = not seen.is_saturated and target_share / HOLDS_WITHIN <= seen.share <= target_share * HOLDS_WITHIN
    if fits and limits.hold(now):
        return ExposureChoice(now, "as it is")
    factor = STEP_BACK if seen.is_saturated else min(target_share / max(seen.share, 1e-9), LONGEST_STRIDE)
    chosen = _spread(_amount(now, output_at) * (1.0 if fits else factor), limits, output_at)
    change = _amount(chosen, output_at) / _amount(now, output_at)
    if abs(change - 1) > SAME_WITHIN:
        return ExposureChoice(chosen, "brighter" if change > 1 else "darker")
    if not limits.hold(now):
        return ExposureChoice(chosen, "rearranged")
    return ExposureChoice(now, "as bright as it goes" if factor > 1 else "as dark as it goes")


def _amount(setting: ExposureSetting, output_at: Callable[[float], float]) -> float:
    return setting.exposure_us * setting.gain * output_at(setting.light_level)


def _spread(amount: float, limits: ExposureLimits, output_at: Callable[[float], float]) -> ExposureSetting:
    """Exposure times gain times output as near to ``amount`` as the limits let it come."""
    levels = limits.levels if limits.prefer == "less light" else limits.levels[-1:]
    for level in levels:
        exposure_us = amount / output_at(level)
        if exposure_us <= limits.longest_us:
            # with strong light even the shortest exposure may be too long: then with less of it
            if exposure_us >= limits.shortest_us or limits.prefer == "less light":
                return ExposureSetting(max(exposure_us, limits.shortest_us), 1.0, level)
            dimmer = ExposureLimits(limits.shortest_us, limits.longest_us, limits.largest_gain, limits.levels)
            return _spread(amount, dimmer, output_at)
    top = limits.levels[-1]
    gain = amount / (output_at(top) * limits.longest_us)
    return ExposureSetting(limits.longest_us, min(max(gain, 1.0), limits.largest_gain), top)
