"""What may be asked of the imager, on its real loop, live path and recorder; camera, guard and bus are fakes."""

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from device.camera.source import CameraStalled
from device.imager.choices import Choices, ChoicesFile
from device.imager.exports import Exports
from device.imager.loop import ImagerLoop
from device.imager.operator_light import OperatorLight
from device.imager.parts import Parts
from device.imager.requests import REGIONS_AT_MOST, Requests
from device.imager.sources import Source
from device.kept_before import RING_SHARE
from device.live import LivePath
from device.recorder import Recorder
from shared.bounded import plain
from shared.calibration import Calibration
from shared.errors import Refused
from shared.frame import CameraDescription, Frame
from shared.protocol import commissioning, device_facts
from shared.protocol import control as c
from shared.protocol.curves import Curves, GetCurves
from shared.protocol.light import ConditionState, LightState, LightStatus, Seen
from shared.recording import Recording
from shared.review.moment import ReviewedRun
from shared.settings import Settings, changed
from tests.conftest import ManualClock

CAMERA = CameraDescription("fake", 96, 64, bit_depth=10, black_level=16.0, frame_interval_us=33_333)
DEADLINE_S = 20.0


@dataclass
class FakeLink:
    """A guard that grants what is wanted, until it trips."""

    clock: ManualClock
    state: LightState = "ready"
    on: bool = False
    since_ns: int = 0
    leases: list[int] = field(default_factory=list)
    reachable: bool = True
    trouble: str = ""
    opinions: list[Seen] = field(default_factory=list)
    conditions: tuple[ConditionState, ...] = (ConditionState("cover", "missing", "the ring's cover is open"),)

    def survey(self) -> None:
        """Nothing changes here."""

    @property
    def status(self) -> LightStatus:
        lit = self.state == "lit"
        reason = "no fresh frame" if self.state == "tripped" else ""
        return LightStatus(self.state, float(lit), self.on, 1.0, self.since_ns, 100.0 * lit, 0.0, reason)

    def renew(
        self, sequence: int, time_ns: int, interval_us: float, exposure_us: float, seen: Seen = "unclear"
    ) -> LightStatus:
        self.leases.append(sequence)
        self.opinions.append(seen)
        return self.status

    def want(self, on: bool, level: float, unlit: bool = False) -> LightStatus:
        self.on = on
        if self.state != "tripped":
            self.become("lit" if on and not unlit else "ready")
        return self.status

    def rearm(self) -> LightStatus:
        self.become("ready")
        return self.status

    def become(self, state: LightState) -> None:
        if state != self.state:
            self.state, self.since_ns = state, self.clock.now_ns()

    def over(self, start_ns: int, end_ns: int) -> float:
        return float(self.state == "lit")

    def is_steady(self, start_ns: int, end_ns: int) -> bool:
        return not start_ns < self.since_ns < end_ns


class FakeCamera:
    """Frames at the clock's pace: base at 200 counts, tip at a third of that, where the light is on."""

    def __init__(self, clock: ManualClock, link: FakeLink) -> None:
        self.clock, self.link = clock, link
        self.description = CAMERA
        self.sequence = 0
        self.exposures: list[tuple[float, float]] = []
        self.silent = False
        self.dye, self.leak = 0.0, 20

    @contextmanager
    def next_frame(self, timeout_s: float = 1.0) -> Iterator[Frame]:
        if self.silent:
            self.clock.advance_ms(1000 * timeout_s)
            raise CameraStalled("the cable is out")
        self.clock.advance_ms(33.333)
        self.sequence += 1
        pixels = np.full(CAMERA.shape, 16, np.uint16)
        if self.link.state == "lit":
            pixels[:, :48] += round(self.leak + 200 * self.dye)
            pixels[:, 48:] += round(self.leak + 70 * self.dye)
        yield Frame(pixels, self.sequence, self.clock.now_ns(), 8000.0, 1.0)

    def set_exposure(self, exposure_us: float, gain: float) -> None:
        self.exposures.append((exposure_us, gain))

    def start(self) -> None: ...
    def close(self) -> None: ...


@dataclass
class FakeBus:
    """Keeps the headers."""

    headers: list[dict[str, Any]] = field(default_factory=list)

    def publish(self, header: bytes, jpeg: bytes, *, sequence: int, published_ns: int) -> None:
        assert jpeg.startswith(b"\xff\xd8")
        self.headers.append(json.loads(header))


class Bench:
    """An imager without its process."""

    def __init__(self, folder: Path, clock: ManualClock) -> None:
        self.clock, self.free = clock, 10_000_000_000
        self.link, self.bus = FakeLink(clock), FakeBus()
        self.camera = FakeCamera(clock, self.link)
        self.folder = folder
        self.settings = changed(Settings(), recording={"directory": str(folder / "recordings"), "queue_frames": 60})
        self.recorder = Recorder(self.settings.recording, clock, free=lambda _: self.free)
        self.exports = Exports(self.settings.recording.directory, ("false",))
        calibration = Calibration.assumed(CAMERA)
        self.injections: list[int] = []
        self.parts = Parts(
            source=Source(self.camera, "picamera", calibration, False, self.injections.append),  # type: ignore[arg-type]
            link=self.link,  # type: ignore[arg-type]
            light=OperatorLight(self.link, self.settings.light.levels, True, clock),  # type: ignore[arg-type]
            live=LivePath(calibration, self.settings.picture),
            recorder=self.recorder,
            bus=self.bus,  # type: ignore[arg-type]
            clock=clock,
            settings=self.settings,
            data_folder=folder,
        )
        self.loop = ImagerLoop(self.parts)
        self.requests = Requests(self.parts, self.loop, self.exports, ChoicesFile(folder / "choices.json"))

    def ask(self, request: object) -> c.State:
        answer = self.requests.handle(request)
        assert isinstance(answer, c.State)
        return answer

    def turns(self, number: int, held: bool = True) -> c.State:
        """So many frames, the page's finger on Light all the while."""
        for _ in range(number):
            if held:
                self.requests.handle(c.Light("on"))
            self.loop.turn()
        return self.ask(c.GetState())

    def recorded(self) -> Recording:
        assert self.recorder.wait_finished(DEADLINE_S)
        (path,) = self.settings.recording.directory.glob("*.zarr")
        return Recording.open(path)

    def close(self) -> None:
        self.exports.close()
        self.recorder.close()


@pytest.fixture
def bench(tmp_path: Path, manual_clock: ManualClock) -> Iterator[Bench]:
    made = Bench(tmp_path, manual_clock)
    yield made
    made.close()


def test_every_request_of_the_protocol_is_known(bench: Bench) -> None:
    desks = {
        kind.__name__ for kind in (*commissioning.REQUESTS, *device_facts.REQUESTS)
    }  # not there without their desks
    assert {kind.__name__ for kind in bench.requests._acts} == set(c.REQUESTS) - {"Hello"} - desks


def test_before_the_first_frame_there_is_a_state(bench: Bench) -> None:
    state = bench.ask(c.GetState())
    assert (state.camera.sequence, state.camera.rate_hz, state.camera.frame_age_ms) == (-1, 0.0, -1.0)
    assert (state.view, state.reference, state.regions) == ("relative", None, ())
    assert state.light.state == "ready"
    assert not state.light.wanted_on


def test_values_follow_frames_reference_regions_and_dye(bench: Bench) -> None:
    bench.ask(c.SetReference("base:4,4,30,30"))
    bench.ask(c.PutRegion("tip:60,4,30,30"))
    assert bench.ask(c.GetState()).regions[0].flag == "no picture yet"
    assert bench.turns(2, held=False).regions[0].flag == "unlit"
    bench.turns(40)
    bench.ask(c.MarkInjection())
    bench.camera.dye = 1.0
    state = bench.turns(20)
    assert state.regions[0].percent == pytest.approx(35.0, abs=0.1), "what leaked before the dye is taken off"
    assert state.since_injection_s == pytest.approx(20 * 0.033333, abs=0.001)
    assert len(bench.injections) == 1
    header = bench.bus.headers[-1]
    assert header["values"][0]["percent"] == state.regions[0].percent
    assert header["since_injection_s"] == pytest.approx(state.since_injection_s)
    assert header["rate_hz"] == pytest.approx(30.0, abs=0.1)
    assert bench.ask(c.RemoveRegion("tip")).regions == ()


def test_each_frame_renews_the_lease_and_losses_are_counted(bench: Bench) -> None:
    bench.turns(3)
    bench.camera.sequence += 4
    state = bench.turns(2)
    assert bench.link.leases == [1, 2, 3, 8, 9]
    assert state.camera.lost_frames == 4


def test_a_silent_camera_renews_nothing_and_is_said(bench: Bench) -> None:
    bench.turns(3)
    bench.camera.silent = True
    state = bench.turns(3)
    assert bench.link.leases == [1, 2, 3]
    assert state.warnings == ("the camera gives no frames; check its cable",)
    assert state.camera.frame_age_ms > 250
    bench.camera.silent = False
    assert bench.turns(1).warnings == ()


def test_dye_in_starts_a_recording_with_everything_in_it(bench: Bench) -> None:
    bench.recorder.prepare(CAMERA)
    bench.ask(c.SetReference("base:4,4,30,30"))
    bench.ask(c.PutRegion("tip:60,4,30,30"))
    bench.turns(40)
    state = bench.ask(c.MarkInjection(case="K7", dose_mg=5.0))
    assert state.recording.name is not None
    assert state.warnings == ()
    bench.turns(5)
    bench.ask(c.AddNote("skin marked"))
    bench.ask(c.Record("stop"))
    with bench.recorded() as recording:
        assert recording.case == "K7"
        before = bench.settings.recording.queue_frames // RING_SHARE
        assert recording.frames == before + 5
        run = ReviewedRun(recording, bench.settings.picture)
        assert run.has_baseline  # what leaks through can be taken off, though recording began with the dye
        assert run.injected_at_s == pytest.approx(run.times_s[before - 1], abs=0.04)
        kinds = [event.kind for event in recording.events]
        assert kinds == ["light", "reference", "region", "injection", "note", "end"]
        assert recording.injected_at_ns is not None
        assert [dict(mark.fields) for mark in recording.injections] == [{"dose_mg": 5.0}]
        assert recording.frame_table.lit.all()


def test_dye_of_one_case_is_not_taken_into_another(bench: Bench) -> None:
    """A recording of the same case, or of none named, goes on with the dye's clock; another case begins without."""
    bench.turns(2)
    bench.ask(c.MarkInjection(case="K7"))
    for case, marked in (("", 1), ("K7", 1), ("M2", 0)):
        bench.ask(c.Record("stop"))
        assert bench.recorder.wait_finished(DEADLINE_S)
        name = bench.ask(c.Record("start", case=case)).recording.name
        bench.turns(2)
        bench.ask(c.Record("stop"))
        assert bench.recorder.wait_finished(DEADLINE_S)
        with Recording.open(bench.settings.recording.directory / f"{name}.zarr") as recording:
            assert len(recording.injections) == marked, case
        bench.ask(c.Record("start", case=case))
        bench.turns(1)
    assert bench.requests.state().since_injection_s is None


def test_a_trip_is_kept_with_the_recording(bench: Bench) -> None:
    bench.turns(2)
    bench.ask(c.Record("start"))
    bench.turns(2)
    bench.link.become("tripped")
    state = bench.turns(3)
    assert state.light.reason == "no fresh frame"
    assert not state.light.wanted_on
    bench.ask(c.Record("stop"))
    with bench.recorded() as recording:
        (trip,) = [event for event in recording.events if event.kind == "trip"]
        assert trip.fields["reason"] == "no fresh frame"
        assert list(recording.frame_table.lit) == [True, True, False, False, False]


def test_an_injection_that_cannot_be_recorded_says_so_and_still_starts_the_clock(bench: Bench) -> None:
    bench.free = 1_000_000
    state = bench.ask(c.MarkInjection())
    assert state.since_injection_s == 0.0
    (warning,) = state.warnings
    assert warning.startswith("not recording: no room to record: 1 MB free")
    assert "no baseline: the light was off" in warning
    assert bench.ask(c.MarkInjection(undo=True)).warnings == ()
    assert bench.ask(c.GetState()).since_injection_s is None


@pytest.mark.parametrize(
    ("request_", "line"),
    [
        (c.SetContours((40.0, 20.0)), "contour percentages must rise"),
        (c.SetContours((20.0, 20.0)), "contour percentages must rise"),
        (c.SetReference("tip"), "not a region: tip"),
        (c.SetReference("tip:200,0,5,5"), "region lies outside the picture"),
        (c.PutRegion("tip:0,0,0,5"), "a rectangle needs"),
        (c.RemoveRegion("pier"), "no such region: pier"),
        (c.Record("stop"), "no recording is running; start one"),
        (c.Record("start", "a/b"), "a/b"),
        (c.AddNote("x"), "none is running; start a recording first"),
        (c.SetExposure(40_000, 1), "exposure is longer than a frame: 40000"),
        (c.TakeStill(), "no picture yet"),
        (c.StartExport("pier", ("csv",), "/tmp"), "no such recording: pier"),
    ],
)
def test_what_cannot_be_done_is_one_line_and_changes_nothing(bench: Bench, request_: object, line: str) -> None:
    before = plain(bench.ask(c.GetState()))
    with pytest.raises(Refused) as refused:
        bench.requests.handle(request_)
    assert line in refused.value.line
    assert plain(bench.ask(c.GetState())) == before


def test_regions_have_a_limit_but_may_be_replaced(bench: Bench) -> None:
    for number in range(REGIONS_AT_MOST):
        bench.ask(c.PutRegion(f"r{number}:1,1,5,5"))
    with pytest.raises(Refused, match="too many regions: 12; remove one first"):
        bench.ask(c.PutRegion("more:1,1,5,5"))
    assert len(bench.ask(c.PutRegion("r3:2,2,5,5")).regions) == REGIONS_AT_MOST


def test_exposure_is_locked_while_recording(bench: Bench) -> None:
    bench.ask(c.SetExposure(5000, 2))
    bench.ask(c.Record("start"))
    with pytest.raises(Refused, match="exposure is locked while a recording runs"):
        bench.ask(c.SetExposure(6000, 1))
    assert bench.camera.exposures == [(5000, 2)]


def test_stills_are_kept_each_under_its_own_name(bench: Bench) -> None:
    bench.turns(2)
    names = [taken.name for _ in range(3) if isinstance(taken := bench.requests.handle(c.TakeStill()), c.Taken)]
    assert len(set(names)) == 3
    for name in names:
        with Image.open(bench.folder / "stills" / f"{name}.png") as still:
            assert still.width >= 96
    assert bench.ask(c.GetState()).last_still == names[-1]


def test_the_button_records_twice_pressed_and_shows_what_refuses(bench: Bench) -> None:
    bench.requests.toggle_recording()
    assert bench.ask(c.GetState()).recording.name is not None
    bench.requests.toggle_recording()
    assert bench.recorder.wait_finished(DEADLINE_S)
    bench.free = 1_000_000
    bench.requests.toggle_recording()
    assert "no room to record" in bench.ask(c.GetState()).warnings[0]


@pytest.mark.parametrize(
    ("act", "wanted"),
    [(lambda r: r.light_on(), True), (lambda r: r.light_off(), False), (lambda r: r.step_light(), False)],
)
def test_the_buttons_light(bench: Bench, act: Callable[[Requests], None], wanted: bool) -> None:
    act(bench.requests)
    assert bench.requests.light_wanted is wanted
    assert bench.ask(c.GetState()).light.wanted_on is wanted


def test_recordings_are_listed_newest_first_and_none_is_fine(bench: Bench) -> None:
    assert bench.requests.handle(c.ListRecordings()) == c.Recordings(())
    bench.ask(c.Record("start", "K7"))
    bench.turns(2)
    bench.ask(c.Record("stop"))
    assert bench.recorder.wait_finished(DEADLINE_S)
    found = bench.requests.handle(c.ListRecordings())
    assert isinstance(found, c.Recordings)
    assert [(one.case, one.frames, one.complete) for one in found.recordings] == [("K7", 2, True)]


def test_a_restarted_imager_goes_on_with_what_was_chosen(tmp_path: Path, manual_clock: ManualClock) -> None:
    first = Bench(tmp_path, manual_clock)
    first.turns(3)
    first.ask(c.SetReference("base:10,10,20,20"))
    first.ask(c.PutRegion("tip:60,20,10,10"))
    first.ask(c.SetView("grey"))
    first.ask(c.MarkInjection())
    moment_ns = manual_clock.now_ns()
    manual_clock.advance_ms(5_000)
    first.ask(c.MarkInjection())
    first.ask(c.MarkInjection(undo=True))
    first.close()
    second = Bench(tmp_path, manual_clock)
    second.requests.restore()
    state = second.ask(c.GetState())
    second.close()
    assert (state.view, [one.region for one in state.regions]) == ("grey", ["tip:60,20,10,10"])
    assert state.reference is not None
    assert state.reference.region == "base:10,10,20,20"
    assert state.since_injection_s == pytest.approx((manual_clock.now_ns() - moment_ns) / 1e9)
    assert second.injections == [moment_ns]
    assert "restarted" in state.warnings[-1]


def test_an_imager_started_again_for_a_calibration_says_so_once(tmp_path: Path, manual_clock: ManualClock) -> None:
    ChoicesFile(tmp_path / "choices.json").keep(Choices(for_calibration=True))
    said = []
    for _ in range(2):
        bench = Bench(tmp_path, manual_clock)
        bench.requests.restore()
        said.append(bench.ask(c.GetState()).warnings[-1])
        bench.close()
    assert said[0].startswith("the newest calibration is in force")
    assert said[1].startswith("the imager was restarted")


def test_damaged_choices_are_said_and_left(tmp_path: Path, manual_clock: ManualClock) -> None:
    (tmp_path / "choices.json").write_text('{"view": "upside down"}')
    bench = Bench(tmp_path, manual_clock)
    bench.requests.restore()
    state = bench.ask(c.GetState())
    bench.close()
    assert "upside down" in state.warnings[-1]


def test_a_recording_that_cannot_be_opened_is_said(bench: Bench) -> None:
    broken = bench.settings.recording.directory / "broken.zarr"
    broken.mkdir(parents=True)
    (broken / "zarr.json").write_text("{")
    answer = bench.requests.handle(c.ListRecordings())
    assert isinstance(answer, c.Recordings)
    assert answer.recordings == ()
    assert "broken.zarr" in bench.ask(c.GetState()).warnings[-1]


def test_the_camera_sees_the_ring_come_and_go_and_tells_the_guard_once_each(bench: Bench) -> None:
    bench.turns(10, held=False)
    bench.turns(20)
    bench.ask(c.Light("off"))
    bench.turns(10, held=False)
    assert [one for one in bench.link.opinions if one != "unclear"] == ["agrees", "agrees"]


def test_an_opinion_is_told_until_a_lease_counts(bench: Bench) -> None:
    bench.turns(10, held=False)
    bench.link.trouble = "the frame was old"
    bench.turns(20)
    assert bench.link.opinions.count("agrees") > 5
    bench.link.trouble = ""
    bench.turns(3)
    assert bench.link.opinions[-3:] == ["agrees", "unclear", "unclear"]


def test_a_light_that_makes_no_difference_is_a_warning_while_lit(bench: Bench) -> None:
    bench.turns(10, held=False)
    bench.camera.leak = 0  # a perfect filter, and no dye yet
    warned = any("did not change with the light" in line for line in bench.turns(20).warnings)
    assert warned
    bench.ask(c.Light("off"))
    assert not any("did not change" in line for line in bench.turns(2, held=False).warnings)


def test_the_page_gets_every_condition_as_the_guard_told_it(bench: Bench) -> None:
    (cover,) = bench.turns(2).light.conditions
    assert (cover.name, cover.state, cover.sentence) == ("cover", "missing", "the ring's cover is open")


def test_curves_are_what_the_pictures_said_and_come_without_asking_for_each(bench: Bench) -> None:
    bench.ask(c.SetReference("base:4,4,30,30"))
    bench.ask(c.PutRegion("tip:60,4,30,30"))
    bench.turns(40)
    bench.ask(c.MarkInjection())
    bench.camera.dye = 1.0
    bench.turns(40)
    curves = bench.requests.handle(GetCurves())
    assert isinstance(curves, Curves)
    base, tip = curves.curves
    assert (base.place, tip.place) == ("4,4,30,30", "60,4,30,30")
    header = bench.bus.headers[-1]
    assert header["sensor_time_ns"] // 1_000_000 - curves.times_ms[-1] < 200
    assert tip.signal[-1] == pytest.approx(header["values"][0]["signal"], rel=1e-5)
    percent = 100 * (tip.signal[-1] - tip.baseline) / (base.signal[-1] - base.baseline)  # type: ignore[operator]
    assert percent == pytest.approx(35.0, abs=0.1)
    assert bench.injections[0] // 1_000_000 == curves.injections_ms[0]
