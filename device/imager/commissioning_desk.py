"""What page and command line may ask of the imager about commissioning: walks, results to be kept or discarded, papers."""

import threading
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from typing import Any

from device.commissioning import kept_checks
from device.imager.papers import Papers
from device.imager.parts import Parts
from device.imager.walks import Walks
from shared.commissioning import calibration_folder, proposal
from shared.commissioning.calibration_folder import Figures, Taken
from shared.commissioning.case_check import OLDEST_DAYS
from shared.commissioning.curve import evidence_rows, light_curve, step_curve
from shared.commissioning.step_needs import LIGHTS, NEEDS
from shared.commissioning.verdict import verdicts
from shared.errors import Refused
from shared.optics import light_output
from shared.optics.light_output import LightOutput
from shared.protocol import commissioning as p

SHOWN = 40
_NOTHING_THERE = "a replayed device has no sensor to calibrate"


class CommissioningDesk:
    """Answers these requests, from several threads at once. ``restart`` ends the imager, which is then started again."""

    def __init__(self, parts: Parts, walks: Walks, papers: Papers, restart: Callable[[], None]) -> None:
        self._parts, self._walks, self._papers, self._restart = parts, walks, papers, restart
        self._lock = threading.Lock()
        self.acts: Mapping[type, Callable[[Any], object]] = {
            p.GetCommissioning: lambda _: self.commissioning(),
            p.GetCurve: self._curve,
            p.StartWalk: self._start_walk,
            p.WatchWalk: lambda _: self._walks.watched(),
            p.StopWalk: lambda _: self._stop_walk(),
            p.SettleProposal: self._settle,
            p.UseCalibration: self._use,
            p.UseFormerLight: self._use_former_light,
            p.PutInForce: self._put_in_force,
            p.MakePaper: self._make_paper,
        }

    @property
    def walk(self) -> p.WalkState | None:
        """The newest walk, for the state."""
        return self._walks.newest

    def end_walk(self, why: str) -> bool:
        """End the walk that runs, its light first; whether there was one."""
        return self._walks.stop(why)

    def _stop_walk(self) -> None:
        self._walks.stop()

    def commissioning(self) -> p.Commissioning:
        """What is calibrated, and what is at hand."""
        source, data_folder = self._parts.source, self._parts.data_folder
        trouble = ""
        found: list[tuple[str, Figures]] = []
        light: LightOutput | None = None
        proposed: p.Proposal | None = None
        try:
            found = calibration_folder.listed(data_folder, source.sensor) if source.sensor else []
            light = light_output.newest(data_folder, source.ring) if source.ring else None
            proposed = self._proposed(found[0][1] if found else None, light)
            self._require_size(found)
        except Refused as refused:
            trouble = refused.line
        return p.Commissioning(
            now=_now(),
            sensor=source.sensor,
            steps=_steps(found[0][1] if found else None, light, len(self._parts.settings.light.levels)),
            in_force=source.calibration.made_at if source.calibration.origin != "scene truth" else "",
            newest=found[0][1].made_at if found else "",
            light_in_force=source.calibration.light_measured_at,
            proposal=proposed,
            calibrations=tuple(_line(name, figures) for name, figures in found[:SHOWN]),
            checks=kept_checks.newest(data_folder),
            paper=self._papers.newest,
            oldest_days=OLDEST_DAYS,
            trouble=trouble,
        )

    def _require_size(self, found: list[tuple[str, Figures]]) -> None:
        """Of the newest: one of another size is in force after no start."""
        camera = self._parts.source.camera.description
        if found:
            found[0][1].require_size(camera.width, camera.height)

    def _proposed(self, newest: Figures | None, light: LightOutput | None) -> p.Proposal | None:
        source, data_folder = self._parts.source, self._parts.data_folder
        camera = proposal.camera_proposal(data_folder, source.sensor)
        if camera is not None:
            step = proposal.step_of(camera[1])
            return p.Proposal(step, camera[1].made_at, _figures(camera[1], step), _figures(newest, step))
        measured = proposal.light_proposal(data_folder, source.ring)
        if measured is None:
            return None
        return p.Proposal("light", measured.made_at, _light_figures(measured), _light_figures(light))

    def _curve(self, asked: p.GetCurve) -> p.Curve:
        source, data_folder = self._parts.source, self._parts.data_folder
        folder = data_folder / proposal.TRAY if asked.proposed else data_folder
        if asked.step == "light":
            light = light_output.newest(folder, source.ring)
            return p.Curve("light") if light is None else light_curve(light)
        found = calibration_folder.listed(folder, source.sensor)
        figures = next((figures for name, figures in found if asked.of in ("", name)), None)
        return (
            p.Curve(asked.step)
            if figures is None
            else step_curve(figures, asked.step, evidence_rows(folder, figures, asked.step))
        )

    def _start_walk(self, asked: p.StartWalk) -> None:
        self._idle()
        if asked.walk != "check":
            self._measurable()
            if self._waiting():
                raise Refused("a result waits to be kept or discarded", remedy="decide on it first")
        self._walks.start(asked)

    def _idle(self) -> None:
        if self._parts.recorder.recording or self._parts.light.wanted:
            raise Refused("the device is in use", remedy="stop the recording, and let go of the light")

    def _measurable(self) -> None:
        if not self._parts.source.sensor:
            raise Refused(_NOTHING_THERE, remedy="run a real or simulated one")

    def _waiting(self) -> bool:
        source, folder = self._parts.source, self._parts.data_folder
        return (
            proposal.camera_proposal(folder, source.sensor) is not None
            or proposal.light_proposal(folder, source.ring) is not None
        )

    def _settle(self, asked: p.SettleProposal) -> p.Commissioning:
        with self._lock:
            self._no_walk()
            if asked.keep:
                proposal.keep(self._parts.data_folder, self._parts.source.sensor, self._parts.source.ring)
            else:
                proposal.discard(self._parts.data_folder)
        return self.commissioning()

    def _use(self, asked: p.UseCalibration) -> p.Commissioning:
        with self._lock:
            self._measurable()
            self._no_walk()
            calibration_folder.again(self._parts.data_folder, self._parts.source.sensor, asked.name, _now())
        return self.commissioning()

    def _use_former_light(self, _: p.UseFormerLight) -> p.Commissioning:
        with self._lock:
            self._no_walk()
            light_output.former_again(self._parts.data_folder, self._parts.source.ring, _now())
        return self.commissioning()

    def _no_walk(self) -> None:
        walk = self._walks.newest
        if walk is not None and walk.running:
            raise Refused("a step is being taken", walk.walk, "wait until it is finished, or stop it")

    def _put_in_force(self, _: p.PutInForce) -> None:
        self._idle()
        self._no_walk()
        self._require_size(calibration_folder.listed(self._parts.data_folder, self._parts.source.sensor))
        self._restart()

    def _make_paper(self, asked: p.MakePaper) -> p.Commissioning:
        if asked.paper == "certificate":
            self._measurable()
        self._papers.start(asked.paper)
        return self.commissioning()


def _now() -> str:
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _steps(figures: Figures | None, light: LightOutput | None, levels: int) -> tuple[p.StepLine, ...]:
    """Those that the device has: of a ring of one level there is no light output to be taken."""
    taken: dict[p.Walk, Taken] = {} if figures is None else {one.step: one for one in figures.taken}
    lines = []
    for step, needs in NEEDS.items():
        if step == "light" and light is None and levels == 1:
            continue
        if step == "light":
            made_at, recording = ("", "") if light is None else (light.made_at, light.recording)
            lines.append(p.StepLine(step, made_at, recording, needs, True, _light_figures(light)))
            continue
        one = taken.get(step)
        made_at, recording = ("", "") if one is None else (one.made_at, one.recording)
        lines.append(p.StepLine(step, made_at, recording, needs, step in LIGHTS, _figures(figures, step)))
    return tuple(lines)


def _figures(figures: Figures | None, step: p.Walk) -> tuple[p.FigureLine, ...]:
    if figures is None:
        return ()
    found = verdicts(figures, (1 << figures.bit_depth) - 1)
    return tuple(p.FigureLine(one.figure, one.words, one.limit, one.passed) for one in found if one.step == step)


def _light_figures(light: LightOutput | None) -> tuple[p.FigureLine, ...]:
    if light is None:
        return ()
    return tuple(
        p.FigureLine(f"level {one.level:.0%}", f"{one.output:.4f} ± {one.u:.4f} of full level", "", None)
        for one in light.levels
    )


def _line(name: str, figures: Figures) -> p.CalibrationLine:
    return p.CalibrationLine(name, tuple(one.step for one in figures.taken), figures.missing, figures.again_from)
