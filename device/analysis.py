"""From a recording to curves and figures: one pass over its frames, memory for a few numbers a frame."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from device.marked_regions import reference_of, regions_of
from device.unknowns import unknown_warnings
from shared.bounded import plain
from shared.errors import Refused
from shared.inflow.curves import CurveGatherer, RegionCurve
from shared.inflow.parameters import InflowParameters, inflow_parameters, read_curve
from shared.recording import Recording
from shared.region import Region

Progress = Callable[[float], None]
"""Called with the share done, 0 to 1; raising from it stops the work."""


@dataclass(frozen=True, eq=False)
class Analysis:
    """Curves of the reference and the regions by name, and the regions' figures. ``injected_at_s`` since the first frame."""

    recording: Recording
    reference: Region
    curves: Mapping[str, RegionCurve]
    parameters: Mapping[str, InflowParameters]
    injected_at_s: float | None
    warnings: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        """The object that ``tapetum analyse --json`` prints."""
        return {
            "recording": self.recording.name,
            "frames": self.recording.frames,
            "duration_s": round(self.recording.duration_s, 6),
            "injected_at_s": self.injected_at_s,
            "reference": self.reference.name,
            "regions": {name: plain(figures) for name, figures in self.parameters.items()},
            "motion": None,
            "gaps": self.recording.gaps,
            "warnings": list(self.warnings),
        }


def analyse(
    recording: Recording,
    reference: str | None = None,
    regions: Sequence[str] = (),
    on_progress: Progress = lambda _: None,
) -> Analysis:
    """Analyse ``recording``.

    ``reference`` and ``regions`` are written as on the command line, or name one that was marked; without them those marked in
    the recording count. Raises Refused where there is none, or nothing to analyse.
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
    gatherer = CurveGatherer(recording.calibration, [chosen, *(region for region in wanted if region != chosen)])
    for number in range(recording.frames):
        gatherer.add(recording.frame(number))
        on_progress((number + 1) / recording.frames)
    curves = gatherer.curves()
    if not curves[chosen.name].times_s.size:
        raise Refused("the light was off in every frame", recording.name, "choose a recording made with the light on")
    injected_at_s = _injected_at_s(recording)
    readings = {name: read_curve(curve, injected_at_s) for name, curve in curves.items()}
    since_s = injected_at_s or 0.0
    against = readings[chosen.name]
    parameters = {one.name: inflow_parameters(readings[one.name], against, since_s) for one in wanted}
    return Analysis(recording, chosen, curves, parameters, injected_at_s, _warnings(recording, injected_at_s))


def _injected_at_s(recording: Recording) -> float | None:
    marked_ns = recording.injected_at_ns
    if marked_ns is None:
        return None
    return round((marked_ns - int(recording.frame_table.sensor_time_ns[0])) / 1e9, 6)


def _warnings(recording: Recording, injected_at_s: float | None) -> tuple[str, ...]:
    found = ["motion is not measured yet: regions stay where they were marked, and uncertainties hold noise alone"]
    if not recording.complete:
        found.append("the recording was cut off: it ends where writing stopped")
    if recording.gaps:
        found.append(f"{recording.gaps} frames are missing from the recording")
    if recording.calibration.origin == "assumed":
        found.append("nothing is known of this camera's dark, flat and noise: percentages and uncertainties are rough")
    found.extend(unknown_warnings(recording.unknown))
    if injected_at_s is None:
        found.append("no injection is marked: times count from the first frame")
    unlit = int((~recording.frame_table.lit).sum())
    if unlit:
        found.append(f"{unlit} frames without light are left out")
    return tuple(found)
