"""From a recording to curves and figures: one pass over its frames, memory for a few numbers a frame."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from device.followed_hand import FollowedHand, HandMotion, followed_curves
from device.frames_ahead import Beside, frames_ahead, nothing_beside
from device.marked_regions import reference_of, regions_of
from device.unknowns import unknown_warnings
from shared.ambient import Way, taken_off, unmeasured
from shared.bounded import plain
from shared.errors import Refused
from shared.inflow.ambient_doubt import readings_in_other_light, with_ambient
from shared.inflow.curves import CurveGatherer, RegionCurve
from shared.inflow.parameters import InflowParameters, inflow_parameters
from shared.inflow.place_doubt import readings_beside, with_place
from shared.inflow.reading import LEAST_FRAMES, Reading, read_curve
from shared.light_steps import steps
from shared.recording import Recording
from shared.region import Region

Progress = Callable[[float], None]
"""Called with the share done, 0 to 1; raising from it stops the work."""

_SURELY_CUT_OFF = 0.05
"""Share of a region beyond the picture's edge that is worth a word."""


@dataclass(frozen=True, eq=False)
class Analysis:
    """Curves and readings of the reference and the regions by name, and the regions' figures.

    ``injected_at_s`` counts from the first frame.
    """

    recording: Recording
    reference: Region
    curves: Mapping[str, RegionCurve]
    readings: Mapping[str, Reading]
    parameters: Mapping[str, InflowParameters]
    injected_at_s: float | None
    warnings: tuple[str, ...]
    motion: HandMotion | None = None
    hand: FollowedHand | None = None

    def as_json(self) -> dict[str, Any]:
        """The object that ``tapetum analyse --json`` prints."""
        return {
            "recording": self.recording.name,
            "frames": self.recording.frames,
            "duration_s": round(self.recording.duration_s, 6),
            "injected_at_s": self.injected_at_s,
            "reference": self.reference.name,
            "regions": {name: plain(figures) for name, figures in self.parameters.items()},
            "motion": None if self.motion is None else plain(self.motion),
            "gaps": self.recording.gaps,
            "warnings": list(self.warnings),
        }


def analyse(
    recording: Recording,
    reference: str | None = None,
    regions: Sequence[str] = (),
    on_progress: Progress = lambda _: None,
    follow_motion: bool = True,
    seen_at_s: float = 0.0,
    seen_at: Mapping[str, float] | None = None,
    beside: Beside = nothing_beside,
) -> Analysis:
    """Analyse ``recording``.

    ``reference`` and ``regions`` are written as on the command line, or name one that was marked; without them those marked in
    the recording count. Regions follow the tissue unless ``follow_motion`` is False; those given, not marked, lie where the picture
    showed them ``seen_at_s`` after the first frame, or at the moment that ``seen_at`` has for their text. ``beside`` sees the
    frames go by. Raises Refused where there is none, or nothing to analyse.
    """
    if not recording.frames:
        raise Refused("the recording holds no frames", recording.name, "choose another recording")
    chosen = reference_of(recording, reference)
    wanted = regions_of(recording, regions)
    if not regions:
        wanted = tuple(region for region in wanted if region.name != chosen.name) or (chosen,)
    for region in wanted:
        if region.name == chosen.name and region != chosen:
            raise Refused("a region has the reference's name but another place", str(region), "name it otherwise")
    measured = [chosen, *(region for region in wanted if region != chosen)]
    hand = FollowedHand(recording, seen_at_s, seen_at) if follow_motion else None
    curves = (
        _standing_curves(recording, measured, on_progress, beside)
        if hand is None
        else followed_curves(hand, measured, on_progress, beside=beside)
    )
    lit = curves[chosen.name].times_s.size
    if not lit:
        raise Refused("the light was off in every frame", recording.name, "choose a recording made with the light on")
    if lit < LEAST_FRAMES:
        raise Refused(
            "too few lit frames to read a curve", lit, f"record at least {LEAST_FRAMES}, over the whole inflow"
        )
    injected_at_s = injection_s(recording)
    readings = {name: read_curve(curve, injected_at_s) for name, curve in curves.items()}
    since_s = injected_at_s or 0.0
    against = readings[chosen.name]
    parameters = {one.name: inflow_parameters(readings[one.name], against, since_s) for one in wanted}
    off = {name: readings_beside(curve, injected_at_s) for name, curve in curves.items()}
    parameters = {
        name: with_place(figures, off[name], off[chosen.name], since_s) for name, figures in parameters.items()
    }
    lights = {name: (readings[name], readings_in_other_light(curve, injected_at_s)) for name, curve in curves.items()}
    parameters = {
        name: with_ambient(figures, lights[name], lights[chosen.name], since_s) for name, figures in parameters.items()
    }
    if hand is not None:
        parameters = {name: hand.judged(figures, name, chosen.name) for name, figures in parameters.items()}
    warnings = (
        *_motion_warnings(hand, measured),
        *_cut_off_warnings(measured, recording.camera.shape),
        *recording_warnings(recording, injected_at_s),
    )
    motion = None if hand is None else hand.summary()
    return Analysis(recording, chosen, curves, readings, parameters, injected_at_s, warnings, motion, hand)


def require_usable_reference(analysis: Analysis) -> None:
    """Raise Refused where nothing can be a percentage of the reference: it saturates, stays dark, or has no baseline or peak."""
    name = analysis.reference.name
    reading, curve = analysis.readings[name], analysis.curves[name]
    another = "choose another reference"
    if reading.saturated:
        frames = f"{name}, in {int(curve.saturated.sum())} of {curve.saturated.size} frames"
        raise Refused(
            "the reference is saturated", frames, f"{another}, or record with less light or a shorter exposure"
        )
    if not reading.rises:
        raise Refused("the reference stays as dark as before the dye", name, f"{another}, where the dye arrives")
    if reading.peak is None:
        why = next((flag for flag in reading.flags if flag.startswith("no ")), "no peak")
        raise Refused("the reference cannot count as 100 %", f"{name}, {why}", f"{another}, or record for longer")


def _standing_curves(
    recording: Recording, regions: Sequence[Region], on_progress: Progress, beside: Beside
) -> dict[str, RegionCurve]:
    gatherer = CurveGatherer(recording.calibration, regions)
    with frames_ahead(recording) as frames:
        for number, frame in enumerate(frames):
            gatherer.add(frame)
            beside(number, frame, None)
            on_progress((number + 1) / recording.frames)
    return gatherer.curves()


def _motion_warnings(hand: FollowedHand | None, regions: Sequence[Region]) -> tuple[str, ...]:
    if hand is None:
        return ("the hand's motion was not followed: regions stay where they were marked",)
    return (*hand.warnings(), *hand.smear_warnings(regions))


def _cut_off_warnings(regions: Sequence[Region], shape: tuple[int, int]) -> Iterator[str]:
    """Regions that reach over the picture's edge: only what is seen of them is measured."""
    for region in regions:
        unseen = 1.0 - region.share_inside(shape)
        if unseen >= _SURELY_CUT_OFF:
            yield f"{region.name} reaches over the picture's edge: {100.0 * unseen:.0f} % of it is not seen and not measured"


def injection_s(recording: Recording) -> float | None:
    """When the dye went in, since the first frame; None where no injection is marked."""
    marked_ns = recording.injected_at_ns
    if marked_ns is None:
        return None
    return round((marked_ns - int(recording.frame_table.sensor_time_ns[0])) / 1e9, 6)


def takes_ambient_off(recording: Recording) -> bool:
    """Whether unlit frames follow the ambient light closely enough for all of it to be taken off."""
    return _taken_off(recording) == "whole"


def _taken_off(recording: Recording) -> Way:
    table, whole = recording.frame_table, ~recording.half_lit
    return taken_off(table.sensor_time_ns[whole] / 1e9, table.levels[whole])


def recording_warnings(recording: Recording, injected_at_s: float | None) -> tuple[str, ...]:
    """What must be said of a recording beside its figures, the hand's motion apart."""
    found: list[str] = []
    if not recording.complete:
        found.append("the recording was cut off: it ends where writing stopped")
    if recording.gaps:
        found.append(f"{recording.gaps} frames are missing from the recording")
    if recording.calibration.origin == "assumed":
        found.append("nothing is known of this camera's dark, flat and noise: percentages and uncertainties are rough")
    found.extend(unknown_warnings(recording.unknown))
    if injected_at_s is None:
        found.append("no injection is marked: times count from the first frame")
    return (*found, *_light_warnings(recording))


def _light_warnings(recording: Recording) -> Iterator[str]:
    """How frames without light are used, and which frames with light are left out of every curve."""
    table, half = recording.frame_table, recording.half_lit
    times_s, lit = table.sensor_time_ns / 1e9, table.levels > 0
    unlit, way = int(np.count_nonzero(~lit)), _taken_off(recording)
    if way == "whole":
        yield f"ambient light was measured in {unlit} frames without light, and is taken off"
        unknown = np.count_nonzero(unmeasured(times_s, lit) & ~half)
        if unknown:
            yield (
                f"{unknown} frames are left out of every curve: the room's light was not measured within 3 s of them, so that it "
                "cannot be taken off"
            )
    elif unlit:
        yield f"{unlit} frames without light are left out"
    if way == "steps":
        yield (
            "the light was stepped; the room's own infrared, which does not go with it, was measured at each step, and what steps "
            "made of it is taken off"
        )
    if way == "nothing" and steps(table.levels[~half]).size:
        yield (
            "the light was stepped, and the room's own infrared was not measured: it does not go with the light, so that curves "
            "jump by what it adds where the light was stepped; keep one level, or set picture.unlit_every"
        )
    if half.any():
        yield f"{np.count_nonzero(half)} frames are left out of every curve: the light was switched or dimmed during them"
