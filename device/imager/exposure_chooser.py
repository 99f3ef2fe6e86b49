"""Chooses exposure, gain and light level before a run, by looking at frames; never while a run is on."""

from contextlib import AbstractContextManager
from dataclasses import dataclass

from device.imager.next_frame import NextFrame
from device.imager.parts import Parts
from shared.errors import Refused
from shared.exposure_choice import (
    Brightness,
    ExposureChoice,
    ExposureLimits,
    ExposureSetting,
    brightness,
    centre,
    choose_exposure,
    locked_because,
    longest_exposure_us,
)
from shared.frame import Frame
from shared.protocol import control as c
from shared.region import Region

STEPS_AT_MOST = 16
SETTLED_WITHIN = 12
"""Frames until a sensor has taken up a new exposure: six buffers and a few more (facts of the camera stack, from memory)."""

SAME_EXPOSURE = 0.02
SAME_LEVEL = 0.02


@dataclass(frozen=True)
class _Look:
    seen: Brightness
    setting: ExposureSetting


class ExposureChooser:
    """Answers ChooseExposure, in the thread that asks; the loop goes on meanwhile."""

    def __init__(self, parts: Parts, frames: NextFrame, beginning: AbstractContextManager[object]) -> None:
        """``beginning`` is the lock that a recording begins under: it does not begin between being looked for and the exposure."""
        self._parts, self._frames, self._beginning = parts, frames, beginning

    def choose(self, request: c.ChooseExposure, since_injection_s: float | None) -> c.ExposureChosen:
        """Raises Refused while a run is on, while the light is off, and for a camera whose exposure is past."""
        self._require_unlocked(since_injection_s)
        target = self._target_share(request)
        look = self._look(None)
        limits = self._limits(request.dye == "is in")
        first = choice = self._choice(look, target, limits)
        steps = 0
        while request.apply and not choice.is_final:
            if steps == STEPS_AT_MOST:
                raise Refused("exposure does not come to rest", steps, "hold still, and try again")
            with self._beginning:
                self._require_unlocked(since_injection_s)
                self._apply(choice.setting)
            look = self._look(choice.setting)
            choice = self._choice(look, target, limits)
            steps += 1
        verdict = first.verdict if choice.verdict == "as it is" else choice.verdict
        return c.ExposureChosen(
            exposure_us=round(choice.setting.exposure_us, 1),
            gain=round(choice.setting.gain, 3),
            light_level=round(choice.setting.light_level, 3),
            verdict=verdict,
            area=self._area_name(),
            seen_share=round(look.seen.share, 4),
            saturated_share=round(look.seen.saturated_share, 4),
            target_share=target,
            applied=request.apply,
            steps=steps,
        )

    def _require_unlocked(self, since_injection_s: float | None) -> None:
        why = locked_because(self._parts.recorder.recording, since_injection_s)
        if why:
            raise Refused(f"exposure is locked for the run: {why}", remedy="the light may still be dimmed by hand")
        if self._parts.source.kind == "replay":
            raise Refused("a replay's exposure cannot be chosen: it was exposed long ago", remedy="use a camera")

    def _target_share(self, request: c.ChooseExposure) -> float:
        settings = self._parts.settings.exposure
        return settings.share_before_dye if request.dye == "to come" else settings.share_with_dye

    def _choice(self, look: _Look, target_share: float, limits: ExposureLimits) -> ExposureChoice:
        output_at = self._parts.source.calibration.output_at
        return choose_exposure(look.seen, look.setting, target_share, limits, output_at)

    def _limits(self, dye_is_in: bool) -> ExposureLimits:
        """Before the dye what leaks says nothing of how bright it will be: no longer exposure than the device is set up with."""
        settings, camera = self._parts.settings.exposure, self._parts.source.camera.description
        longest_us = longest_exposure_us(
            camera.frame_interval_us, camera.mm_per_px, settings.hand_mm_s, settings.blur_px
        )
        shortest_us = settings.shortest_us
        levels, gain = self._parts.settings.light.levels, settings.largest_gain
        if not dye_is_in:
            longest_us, gain = min(longest_us, self._parts.settings.camera.exposure_us), 1.0
        return ExposureLimits(min(shortest_us, longest_us), longest_us, gain, levels, settings.prefer)

    def _apply(self, setting: ExposureSetting) -> None:
        self._parts.light.choose(setting.light_level)
        self._parts.source.camera.set_exposure(setting.exposure_us, setting.gain)

    def _look(self, asked: ExposureSetting | None) -> _Look:
        """At the first lit frame taken as ``asked``, or, where a camera makes something else of it, at one that had time to."""
        region = self._parts.live.reference_state()
        shape = self._parts.source.camera.description.shape
        area = centre(shape) if region is None else Region.parse(region.region).indices(shape)

        def at(frame: Frame) -> _Look:
            setting = ExposureSetting(frame.exposure_us, frame.gain, frame.light_level if frame.lit else 0.0)
            return _Look(brightness(frame.pixels, area, self._parts.source.calibration), setting)

        look = self._frames.look(at)
        for _ in range(SETTLED_WITHIN):
            if asked is None or (look.setting.light_level > 0 and _same(look.setting, asked)):
                break
            look = self._frames.look(at)
        if look.setting.light_level <= 0:
            raise Refused("the light is off", remedy="hold it on: exposure is chosen by what comes back")
        return look

    def _area_name(self) -> str:
        region = self._parts.live.reference_state()
        return "the picture's middle" if region is None else region.name


def _same(real: ExposureSetting, asked: ExposureSetting) -> bool:
    exposure = abs(real.exposure_us / asked.exposure_us - 1) <= SAME_EXPOSURE
    gain = abs(real.gain / asked.gain - 1) <= SAME_EXPOSURE
    return exposure and gain and abs(real.light_level - asked.light_level) <= SAME_LEVEL
