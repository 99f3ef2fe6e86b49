"""What page, command line and button may ask of the imager, and what it answers."""

import io
import threading
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from device.commissioning.cases import is_step, of_a_patient
from device.imager.awaited_press import AwaitedPress
from device.imager.choices import Choices, ChoicesFile
from device.imager.commissioning_desk import CommissioningDesk
from device.imager.comparisons import Comparisons
from device.imager.device_desk import DeviceDesk
from device.imager.export_desk import ExportDesk
from device.imager.exports import Exports
from device.imager.exposure_chooser import ExposureChooser
from device.imager.loop import ImagerLoop
from device.imager.parts import Parts
from device.imager.record_requests import RecordRequests
from device.imager.review_desk import ReviewDesk
from device.inflow_maps import Marks
from shared.errors import Refused
from shared.papers.words import words_in
from shared.protocol import comparing, records
from shared.protocol import control as c
from shared.protocol.commissioning import PutInForce
from shared.protocol.curves import GetCurves
from shared.protocol.light import LightStatus
from shared.recording.durable import replace_file
from shared.recording.names import checked_case
from shared.region import Region

REGIONS_AT_MOST = 12
_LIGHT_FIRST = "the button is needed for the light"
_RUN_FIRST = "the button is needed for the recording"
_CHOOSING = (c.SetView, c.SetContours, c.SetReference, c.PutRegion, c.RemoveRegion, c.MarkInjection)


class Requests:
    """Answers requests, from several threads at once; also the actions of the button (device.controls.Actions)."""

    def __init__(
        self,
        parts: Parts,
        loop: ImagerLoop,
        exports: Exports,
        choices: ChoicesFile,
        desk: CommissioningDesk | None = None,
        device: DeviceDesk | None = None,
    ) -> None:
        """``desk``: None where nothing can be commissioned from here; ``device``: None where nothing is told of the device."""
        self._parts = parts
        self._loop = loop
        self._exports = exports
        self._choices = choices
        self._desk = desk
        self._press = AwaitedPress(parts.clock)
        self._lock = threading.Lock()
        self._view: c.View = "relative"
        self._contours = parts.settings.picture.contours_percent
        self._last_still: str | None = None
        self._chooser = ExposureChooser(parts, loop.next_frame, self._lock)
        self._note = ""
        self._case = ""
        self._review = ReviewDesk(parts.settings.recording.directory, lambda: parts.recorder.state().name)
        self._comparisons = Comparisons(
            parts.settings.recording.directory,
            parts.data_folder / comparing.FOLDER,
            lambda: parts.recorder.state().name,
        )
        self._records = RecordRequests(parts.recorder, parts.settings.recording, self._user_of)
        self._acts: dict[type, Callable[..., object]] = {
            c.GetState: lambda _: None,
            c.SetView: self._set_view,
            c.SetContours: self._set_contours,
            c.SetReference: self._set_reference,
            c.PutRegion: self._put_region,
            c.RemoveRegion: self._remove_region,
            c.Light: self._light,
            c.SetExposure: self._set_exposure,
            c.ChooseExposure: self._choose_exposure,
            c.StepExposure: self._step_exposure,
            c.PutTarget: self._put_target,
            c.WithholdLeases: lambda _: self._loop.withhold_leases(),
            c.Record: self._record,
            c.MarkInjection: self._mark_injection,
            c.AddNote: self._add_note,
            c.TakeStill: self._take_still,
            records.OpenCase: self._open_case,
            **self._records.acts(),
            **self._comparisons.acts(),
            **self._review.acts,
            **ExportDesk(exports, parts.settings.recording.directory, lambda: parts.recorder.state().name).acts(),
            GetCurves: lambda asked: self._loop.curves.after(
                asked.after_ms, self._loop.injections_ns, self._loop.happenings.newest
            ),
            c.AwaitPress: self._await_press,
            c.GetPress: self._get_press,
            **({} if desk is None else {**desk.acts, PutInForce: self._put_in_force}),
            **({} if device is None else device.acts),
        }

    def handle(self, request: object) -> object:
        """Do what ``request`` asks; the answer is the new state unless the request has one of its own. Raises Refused."""
        answer = self._acts[type(request)](request)
        if isinstance(request, _CHOOSING):
            self._keep()
        return self.state() if answer is None else answer

    def restore(self) -> None:
        """Go on with what an imager before this one kept; what cannot be taken up again is said on the page."""
        try:
            kept = self._choices.kept()
            if kept is None:
                return
            live = self._parts.live
            live.set_view(kept.view)
            live.set_contours(kept.contours_percent)
            self._view, self._contours, self._case = kept.view, kept.contours_percent, kept.case
            if kept.reference is not None:
                live.set_reference(Region.parse(kept.reference))
            for region in kept.regions:
                live.put_region(Region.parse(region))
        except Refused as refused:
            self._note = f"the imager was restarted, and not everything could be taken up again: {refused.line}"
            return
        self._loop.injections_ns = kept.injections_ns
        for moment_ns in kept.injections_ns:
            self._parts.source.on_injection(moment_ns)
        self._note = "the imager was restarted: it records no more"
        if kept.for_calibration:
            self._note = "the newest calibration is in force: the camera's program was started again for it"
            self._keep()
        if kept.injections_ns:
            self._note += ", and what was there before the dye is no longer taken off"

    def _put_in_force(self, asked: PutInForce) -> object:
        assert self._desk is not None
        self._keep(for_calibration=True)
        try:
            return self._desk.acts[PutInForce](asked)
        except Refused:
            self._keep()
            raise

    def _keep(self, *, for_calibration: bool = False) -> None:
        live = self._parts.live
        reference = live.reference_state()
        self._choices.keep(
            Choices(
                view=self._view,
                contours_percent=self._contours,
                reference=reference.region if reference is not None else None,
                regions=tuple(state.region for state in live.region_states()),
                injections_ns=self._loop.injections_ns,
                case=self._case,
                for_calibration=for_calibration,
            )
        )

    def _user_of(self, recording: str) -> str:
        """Who uses a recording just now, "" nobody."""
        return (
            self._exports.user_of(recording) or self._review.user_of(recording) or self._comparisons.user_of(recording)
        )

    def close(self) -> None:
        """End what goes on beside the requests."""
        self._records.close()
        self._comparisons.close()
        self._review.close()

    # ---- the button -------------------------------------------------------------------------------------------------

    @property
    def light_wanted(self) -> bool:
        """Whether light is asked for now, by whomever."""
        return self._parts.light.wanted

    def light_on(self) -> None:
        """Hold began. It ends a walk of commissioning: the button comes before every page."""
        self._end_walk()
        self._press.end(_LIGHT_FIRST)
        self._parts.light.button_on()

    def light_off(self) -> None:
        """Hold ended."""
        self._parts.light.button_off()

    def confirmed(self, pressed_ns: int) -> bool:
        """Short press, first of all: whether it ended a walk of commissioning, or the page waited for it."""
        return self._end_walk() or self._press.take(pressed_ns)

    def _end_walk(self) -> bool:
        return self._desk is not None and self._desk.end_walk("the handheld's button ended it")

    def step_light(self) -> None:
        """Short press: next level, after the highest the lowest."""
        self._parts.light.step(1, wrap=True)

    def toggle_recording(self) -> None:
        """Double press. What refuses it is shown, not raised: a finger cannot read an error."""
        self._press.end(_RUN_FIRST)
        try:
            self._record(c.Record("stop" if self._parts.recorder.recording else "start"))
        except Refused as refused:
            self._note = refused.line

    def mark_injection(self, pressed_ns: int) -> None:
        """Triple press."""
        self._press.end(_RUN_FIRST)
        self._injected(pressed_ns)
        self._keep()

    def marks(self) -> Marks:
        """Reference and injection as they are now, for the maps of a run that ended."""
        state, injections_ns = self._parts.live.reference_state(), self._loop.injections_ns
        region = None if state is None else Region.parse(state.region)
        return Marks(region, injections_ns[-1] if injections_ns else None)

    # ---- the state --------------------------------------------------------------------------------------------------

    def state(self) -> c.State:
        """Everything a newcomer's page needs."""
        parts = self._parts
        self._records.make_room()  # asked for four times a second, so that a long recording finds its room too
        return c.State(
            camera=self._camera_state(),
            light=self._lamp_state(),
            view=self._view,
            contours_percent=self._contours,
            reference=parts.live.reference_state(),
            regions=parts.live.region_states(),
            recording=parts.recorder.state(),
            since_injection_s=self._loop.since_injection_s,
            calibration=parts.source.calibration.origin,
            light_levels=parts.settings.light.levels,
            hold_to_light=parts.settings.light.hold_to_light,
            exports=self._exports.jobs,
            last_still=self._last_still,
            warnings=self._warnings(),
            light_measured_at=parts.source.calibration.light_measured_at,
            ring=parts.source.ring,
            sensor=parts.source.sensor,
            calibrated_at=parts.source.calibration.made_at,
            data_folder=str(parts.data_folder),
            case=self._case,
            happened=self._loop.happenings.count,
            maps_ready=(self._loop.maps.ready if self._loop.maps is not None else None) or "",
            comparison=self._comparisons.newest,
            walk=None if self._desk is None else self._desk.walk,
            analysis=self._review.analysis,
        )

    def _camera_state(self) -> c.CameraState:
        parts, frame = self._parts, self._loop.newest
        description = parts.source.camera.description
        return c.CameraState(
            model=description.model,
            width=description.width,
            height=description.height,
            kind=parts.source.kind,
            exposure_us=frame.exposure_us if frame else parts.settings.camera.exposure_us,
            gain=frame.gain if frame else parts.settings.camera.gain,
            rate_hz=round(self._loop.rate_hz, 2),
            sequence=frame.sequence if frame else -1,
            frame_age_ms=(parts.clock.now_ns() - frame.sensor_time_ns) / 1e6 if frame else -1.0,
            lost_frames=self._loop.lost_frames,
        )

    def _lamp_state(self) -> c.LampState:
        light = self._parts.light
        status = light.status or LightStatus("off", 0.0, False, 0.0, 0, 0.0, 0.0, "the light guard does not answer")
        # Dark for one frame is still "on" to whoever holds the button; the guard's log has each step.
        for_a_frame = light.unlit and light.wanted and status.state == "ready"
        return c.LampState(
            reachable=light.reachable,
            state="lit" if for_a_frame else status.state,
            level=light.level if for_a_frame else status.level,
            wanted_on=light.wanted,
            wanted_level=light.level,
            lease_left_ms=status.lease_left_ms,
            reason=status.reason,
            pwm=status.pwm,
            pulse_hz=status.pulse_hz,
            ripple=status.ripple,
            conditions=light.conditions,
        )

    def _warnings(self) -> tuple[str, ...]:
        found = list(self._parts.source.notes)
        if self._loop.controls is not None:
            found += self._loop.controls.warnings
        if self._loop.stalled_since_ns is not None:
            found.append("the camera gives no frames; check its cable")
        if self._loop.seen == "dark though lit" and self._loop.lit:
            found.append("the picture did not change with the light: nothing glows here yet, or the ring stays dark")
        if self._loop.ambient_trouble:
            found.append(self._loop.ambient_trouble)
        if self._note:
            found.append(self._note)
        if self._loop.maps is not None:
            found += [line for line in (self._loop.maps.hand_trouble, self._loop.maps.note) if line]
        found += [f"a recording cannot be opened: {line}" for line in self._records.unreadable]
        found += [self._records.trouble] if self._records.trouble else []
        return tuple(found)

    # ---- the acts ---------------------------------------------------------------------------------------------------

    def _set_view(self, request: c.SetView) -> None:
        self._parts.live.set_view(request.view)
        self._view = request.view

    def _set_contours(self, request: c.SetContours) -> None:
        if list(request.percent) != sorted(set(request.percent)):
            raise Refused("contour percentages must rise", list(request.percent), "put them in order, each once")
        self._parts.live.set_contours(request.percent)
        self._contours = request.percent

    def _set_reference(self, request: c.SetReference) -> None:
        region = None if request.region is None else Region.parse(request.region)
        self._parts.live.set_reference(region)
        self._parts.recorder.event("reference", region=request.region)

    def _put_region(self, request: c.PutRegion) -> None:
        region = Region.parse(request.region)
        names = {state.name for state in self._parts.live.region_states()}
        if region.name not in names and len(names) >= REGIONS_AT_MOST:
            raise Refused("too many regions", len(names), "remove one first")
        self._parts.live.put_region(region)
        self._parts.recorder.event("region", region=str(region))

    def _remove_region(self, request: c.RemoveRegion) -> None:
        self._parts.live.remove_region(request.name)
        self._parts.recorder.event("region", region=None, name=request.name)

    def _light(self, request: c.Light) -> None:
        light = self._parts.light
        match request.act:
            case "on":
                self._press.end(_LIGHT_FIRST)
                light.page_on(press=request.press)
            case "hold":
                self._press.end(_LIGHT_FIRST)
                light.page_on(held=True, press=request.press)
            case "off":
                light.page_off(request.press)
            case "brighter":
                light.step(1, wrap=False)
            case "dimmer":
                light.step(-1, wrap=False)
            case "rearm":
                light.rearm()

    def _set_exposure(self, request: c.SetExposure) -> None:
        with self._lock:  # which a recording begins under too
            self._expose(request, locked=self._parts.recorder.recording)

    def _step_exposure(self, request: c.StepExposure) -> None:
        with self._lock:
            self._expose(request, locked=of_a_patient(self._parts.recorder.path) is not None)

    def _expose(self, request: c.SetExposure | c.StepExposure, locked: bool) -> None:
        if locked:
            raise Refused("exposure is locked while a recording runs", request.exposure_us, "stop the recording first")
        longest_us = self._parts.source.camera.description.frame_interval_us
        if request.exposure_us > longest_us:
            raise Refused("exposure is longer than a frame", request.exposure_us, f"at most {longest_us:.0f} us here")
        self._parts.source.camera.set_exposure(request.exposure_us, request.gain)

    def _put_target(self, request: c.PutTarget) -> None:
        if self._parts.source.on_target is None:
            raise Refused("only a simulated camera can be given a target", request.target, "put it there by hand")
        if self._loop.lit:
            raise Refused("a target is changed in the dark", request.target, "switch the light off first")
        self._parts.source.on_target(request.target)

    def _choose_exposure(self, request: c.ChooseExposure) -> c.ExposureChosen:
        return self._chooser.choose(request, self._loop.since_injection_s)

    def _record(self, request: c.Record) -> None:
        with self._lock:
            if request.act == "stop":
                if not self._parts.recorder.recording:
                    raise Refused("no recording is running", remedy="start one")
                self._parts.recorder.stop()
            else:
                self._start_recording(request.case)

    def _start_recording(self, case: str, keep_before: bool = False) -> None:
        self._press.end(_RUN_FIRST)
        parts, case = self._parts, case or self._case
        self._records.make_room()
        calibration, extra = parts.source.calibration, parts.source.extra
        parts.recorder.start(None, calibration.camera, calibration, case, extra, keep_before=keep_before)
        if not is_step(case):
            self._turn_to(case)
        status = parts.light.status
        if status is not None:
            parts.recorder.event("light", level=status.level, lit=status.state == "lit")
        for moment_ns in self._loop.injections_ns:
            parts.recorder.event("injection", moment_ns)
        reference = parts.live.reference_state()
        if reference is not None:
            parts.recorder.event("reference", region=reference.region)
        for region in parts.live.region_states():
            parts.recorder.event("region", region=region.region)

    def _open_case(self, request: records.OpenCase) -> None:
        with self._lock:
            if self._parts.recorder.recording and request.case != self._case:
                raise Refused(
                    "a recording is running", self._case or "without a case", "stop it before the case changes"
                )
            self._turn_to(checked_case(request.case))

    def _turn_to(self, case: str) -> None:
        if self._case and case != self._case:  # what went into one patient is not another's
            self._loop.injections_ns = ()
            self._loop.happenings.forget()
            self._parts.live.clear_baseline()
        self._case = case
        self._keep()

    def _mark_injection(self, request: c.MarkInjection) -> None:
        if not request.undo:
            self._injected(self._parts.clock.now_ns(), request.case, request.dose_mg)
        elif self._loop.injections_ns:
            self._loop.injections_ns = self._loop.injections_ns[:-1]
            self._note = ""
            self._parts.live.clear_baseline()
            self._parts.recorder.event("injection undone")

    def _injected(self, moment_ns: int, case: str = "", dose_mg: float | None = None) -> None:
        """Start the clock, and a recording if none runs: dye that goes in unrecorded cannot be looked at again."""
        notes: list[str] = []
        with self._lock:
            if not self._parts.recorder.recording:
                try:
                    self._start_recording(case, keep_before=True)
                except Refused as refused:
                    notes.append(f"not recording: {refused.line}")
        self._loop.injections_ns = (*self._loop.injections_ns, moment_ns)
        try:
            self._parts.live.mark_baseline()
        except Refused:
            self._parts.live.clear_baseline()
            notes.append("no baseline: the light was off before dye went in, so what leaks through is not taken off")
        self._note = "; ".join(notes)
        self._parts.source.on_injection(moment_ns)
        self._parts.recorder.event("injection", moment_ns, **({} if dose_mg is None else {"dose_mg": dose_mg}))

    def _add_note(self, request: c.AddNote) -> None:
        if not self._parts.recorder.event("note", text=request.text):
            raise Refused("a note is kept with a recording, and none is running", remedy="start a recording first")
        self._loop.happenings.note("note", self._parts.clock.now_ns(), request.text)

    def _take_still(self, asked: c.TakeStill) -> c.Taken:
        folder = self._parts.data_folder / "stills"
        folder.mkdir(parents=True, exist_ok=True)
        encoded = io.BytesIO()
        self._parts.live.still(words_in(asked.language)).save(encoded, "PNG")
        with self._lock:
            name = _unused(folder, datetime.now(UTC).strftime("%Y-%m-%dT%H-%M-%SZ"))
            replace_file(folder / f"{name}.png", encoded.getvalue())
            self._last_still = name
        return c.Taken(name)

    def _await_press(self, request: c.AwaitPress) -> c.PressAwaited:
        if self._loop.controls is None:
            raise Refused("this device has no button to press", remedy="type the word that it printed when it started")
        if self.light_wanted:
            raise Refused(_LIGHT_FIRST, remedy="ask again when the light is off")
        if self._parts.recorder.recording:
            raise Refused(_RUN_FIRST, remedy="ask again when it has ended")
        return self._press.begin(request.seconds)

    def _get_press(self, request: c.GetPress) -> c.PressAwaited:
        found = self._press.look(request.number)
        if request.drop and found.state == "waiting":
            self._press.end("it was refused")
            found = self._press.look(request.number)
        return found


def _unused(folder: Path, name: str) -> str:
    names = (name, *(f"{name}-{number}" for number in range(2, 1000)))
    return next(one for one in names if not (folder / f"{one}.png").exists())
