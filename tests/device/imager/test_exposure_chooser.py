"""Choosing exposure on the simulated camera: real frames with noise, a ring that they follow, frames in a thread of their own.

What comes back is leaked light alone, which is in proportion to exposure, gain and light output; nothing here needs dye.
"""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any

import pytest

from device.camera.simulated import SimulatedCamera
from device.imager.exposure_chooser import ExposureChooser
from device.imager.next_frame import NextFrame
from shared.errors import Refused
from shared.exposure_choice import HOLDS_WITHIN
from shared.frame import Frame
from shared.optics.pwm_ripple import locked_period_ns
from shared.protocol.control import ChooseExposure
from shared.region import Region
from shared.scene.description import Scene
from shared.settings import Settings, changed
from tests.conftest import ManualClock


@dataclass
class Ring:
    """Light at a level, as camera and chooser see it."""

    on: bool = True
    level: float = 0.2
    chosen: list[float] = field(default_factory=list)

    def over(self, start_ns: int, end_ns: int) -> float:
        return self.level if self.on else 0.0

    def choose(self, level: float) -> None:
        self.level = level
        self.chosen.append(level)


class Bench:
    """A chooser on a scene; ``turning`` gives it frames."""

    def __init__(self, clock: ManualClock, leakage: float = 1.0, **exposure: Any) -> None:
        scene = Scene.from_values(
            {
                "camera": {"width": 96, "height": 80, "exposure_us": 15_000},
                "optics": {"leakage": leakage, "ambient": 0.01, "vignetting": 0.0, "mm_per_px": 1.0},
                "light": {"pwm_hz": 0.0, "fall_off": 0.0},
                "surface": {"texture": 0.0},
            },
            "harbour",
        )
        self.ring, self.frames = Ring(), NextFrame()
        self.camera = SimulatedCamera(scene, 1, clock, self.ring)
        self.reference: Any = None
        self.recorder = SimpleNamespace(recording=False)
        self.source = SimpleNamespace(camera=self.camera, calibration=self.camera.calibration, kind="simulated")
        self.settings = changed(Settings(), exposure=exposure)
        live = SimpleNamespace(reference_state=lambda: self.reference)
        self.parts: Any = SimpleNamespace(
            source=self.source, light=self.ring, live=live, recorder=self.recorder, settings=self.settings
        )
        self.chooser = ExposureChooser(self.parts, self.frames, threading.Lock())
        self.seen: list[Frame] = []

    @contextmanager
    def turning(self) -> Iterator[None]:
        stop = threading.Event()

        def turn() -> None:
            while not stop.is_set():
                with self.camera.next_frame() as frame:
                    self.frames.show(frame)

        self.camera.start()
        thread = threading.Thread(target=turn)
        thread.start()
        try:
            yield
        finally:
            stop.set()
            thread.join()
            self.camera.close()


@pytest.fixture
def bench(manual_clock: ManualClock) -> Bench:
    return Bench(manual_clock)


@pytest.mark.parametrize("begin", [(60.0, 1.0), (15_000.0, 1.0), (33_000.0, 16.0)])
@pytest.mark.parametrize("dye", ["to come", "is in"])
def test_from_dark_right_and_saturated_it_comes_to_the_wanted_share(bench: Bench, begin, dye) -> None:
    bench.camera.set_exposure(*begin)
    with bench.turning():
        chosen = bench.chooser.choose(ChooseExposure(apply=True, dye=dye), None)
        again = bench.chooser.choose(ChooseExposure(dye=dye), None)
    target = 0.15 if dye == "to come" else 0.6
    assert chosen.target_share == target
    assert target / HOLDS_WITHIN <= chosen.seen_share <= target * HOLDS_WITHIN
    assert chosen.steps <= 8
    assert (chosen.gain, chosen.saturated_share) == (1.0, 0.0)
    assert again.verdict == "as it is", "it does not hunt"
    assert (again.exposure_us, again.light_level) == (chosen.exposure_us, chosen.light_level)


def test_less_light_and_a_longer_exposure_or_the_other_way_round(manual_clock: ManualClock) -> None:
    found = {}
    for prefer in ("less light", "short exposure"):
        bench = Bench(manual_clock, prefer=prefer)
        with bench.turning():
            found[prefer] = bench.chooser.choose(ChooseExposure(apply=True, dye="is in"), None)
    assert found["less light"].light_level < found["short exposure"].light_level == 1.0
    assert found["less light"].exposure_us > found["short exposure"].exposure_us


def test_before_the_dye_a_dark_picture_is_no_reason_for_more_than_the_device_is_set_up_with(
    manual_clock: ManualClock,
) -> None:
    """Leaked light of a hundredth of the dye's: brought to 15 % of full scale, the dye would be at many times full scale."""
    bench = Bench(manual_clock, leakage=0.01)
    bench.camera.set_exposure(33_000.0, 4.0)
    with bench.turning():
        chosen = bench.chooser.choose(ChooseExposure(apply=True), None)
    assert chosen.verdict == "as bright as it goes"
    assert (chosen.exposure_us, chosen.gain) == (bench.settings.camera.exposure_us, 1.0)


def test_without_apply_nothing_moves(bench: Bench) -> None:
    bench.camera.set_exposure(60.0, 1.0)
    with bench.turning():
        proposed = bench.chooser.choose(ChooseExposure(), None)
        after = bench.frames.look(lambda frame: (frame.exposure_us, frame.light_level))
    assert proposed.verdict == "brighter"
    assert not proposed.applied
    assert (after, bench.ring.chosen) == ((60.0, 0.2), [])


def test_the_reference_is_what_counts_where_one_is_set(bench: Bench) -> None:
    bench.reference = SimpleNamespace(region=str(Region.parse("quay:0,0,10,10")), name="quay")
    with bench.turning():
        assert bench.chooser.choose(ChooseExposure(), None).area == "quay"
        bench.reference = None
        assert bench.chooser.choose(ChooseExposure(), None).area == "the picture's middle"


def test_a_run_locks_it_and_the_dark_tells_nothing(bench: Bench) -> None:
    with bench.turning():
        bench.recorder.recording = True
        with pytest.raises(Refused, match="locked for the run: a recording runs"):
            bench.chooser.choose(ChooseExposure(apply=True), None)
        bench.recorder.recording = False
        with pytest.raises(Refused, match="locked for the run: dye went in 30 s ago, which locks it for 570 s more"):
            bench.chooser.choose(ChooseExposure(), 30.0)
        bench.ring.on = False
        while bench.frames.look(lambda frame: frame.lit):
            pass
        with pytest.raises(Refused, match="the light is off; hold it on"):
            bench.chooser.choose(ChooseExposure(), None)
        bench.source.kind = "replay"
        with pytest.raises(Refused, match="exposed long ago"):
            bench.chooser.choose(ChooseExposure(), None)
    assert bench.ring.chosen == []


def test_the_guard_s_pulses_fit_whatever_exposure_was_chosen(bench: Bench) -> None:
    """The period is an exact fraction of the exposure to within a step of 1 ns (the guard derives it from each lease)."""
    with bench.turning():
        chosen = bench.chooser.choose(ChooseExposure(apply=True, dye="is in"), None)
    period_ns = locked_period_ns(chosen.exposure_us * 1000, 20_000.0, 1)
    pulses = chosen.exposure_us * 1000 / period_ns
    assert pulses == pytest.approx(round(pulses), abs=1e-2)


def test_what_fails_at_a_look_belongs_to_the_one_who_asked(bench: Bench) -> None:
    def fail(frame: Frame) -> None:
        raise ValueError("mine")

    with bench.turning():
        with pytest.raises(ValueError, match="mine"):
            bench.frames.look(fail)
        assert bench.frames.look(lambda frame: frame.sequence) >= 0
    with pytest.raises(Refused, match="no frame came in time"):
        bench.frames.look(lambda frame: None, timeout_s=0.01)
