"""What may be asked about commissioning: what waits, what is kept, and what is refused while the device is in use."""

from dataclasses import replace

import numpy as np
import pytest

from device.imager.commissioning_desk import CommissioningDesk
from shared.commissioning import calibration_folder as folder
from shared.commissioning import proposal
from shared.commissioning.calibration_folder import Figures, Kept, Taken
from shared.commissioning.dark import Dark
from shared.commissioning.defects import Defects
from shared.errors import Refused
from shared.optics import light_output
from shared.optics.light_output import LevelOutput, LightOutput
from shared.protocol import commissioning as p
from shared.protocol import control as c
from tests.device.imager.test_requests import CAMERA, Bench, bench  # noqa: F401 - a fixture

SENSOR, RING = "handheld fake", "handheld"
DARK = Dark(exposure_us=15_000, gain=1, frames=32, mean_counts=60.2, mean_counts_u=0.01, noise_counts=1.0,
            dsnu_counts=0.2, current_counts_per_s=1.0, current_counts_per_s_u=0.1)  # fmt: skip
DEFECTS = Defects(5, 4, 1, 6, 0.0001)
EVIDENCE = b"counts,pixels\n60,1000\n61,0\n62,4\n"
LIGHT = LightOutput(
    "2026-11-20T10:00:00Z", RING, "fake", 15_000, 1, "middle:1,1,9,9", "a",
    (LevelOutput(0.5, 0.544, 1e-4, 5, 5), LevelOutput(1.0, 1.0, 1e-4, 9, 9)),
)  # fmt: skip


class FakeWalks:
    """Remembers what was started."""

    def __init__(self):
        self.newest, self.asked = None, []

    def start(self, asked):
        self.asked.append(asked)
        self.newest = p.WalkState(asked.walk, running=True, started_at="2026-11-25T10:00:00Z")

    def watched(self):
        self.asked.append("watched")

    def stop(self, why="it was stopped"):
        running = self.newest is not None and self.newest.running
        if running:
            self.newest = replace(self.newest, running=False, error=why)
        return running


class FakePapers:
    """Writes nothing."""

    newest = None

    def start(self, paper):
        self.newest = p.PaperState(paper, running=True)


@pytest.fixture
def desk(bench: Bench):  # noqa: F811
    bench.parts = replace(bench.parts, source=replace(bench.parts.source, sensor=SENSOR, ring=RING))
    bench.restarts = 0

    def restart():
        bench.restarts += 1

    made = CommissioningDesk(bench.parts, FakeWalks(), FakePapers(), restart)
    bench.requests._acts.update(made.acts)
    bench.requests._desk = made
    return made


def dark_at(made_at):
    planes = {"dark_counts": np.full(CAMERA.shape, 60, np.float32)}
    return Kept("", Figures.empty(SENSOR, CAMERA)).with_step("dark", DARK, planes, Taken("dark", made_at, "r"))


def propose(data, kept):
    folder.keep(proposal.tray(data), kept, {"dark_histogram.csv": EVIDENCE})


def with_defects(kept, made_at):
    return kept.with_step("defects", DEFECTS, {}, Taken("defects", made_at, "s"))


def ask(bench, request):  # noqa: F811
    answer = bench.requests.handle(request)
    assert isinstance(answer, p.Commissioning)
    return answer


def test_nothing_is_calibrated_at_first(bench, desk):  # noqa: F811
    found = ask(bench, p.GetCommissioning())
    assert [one.step for one in found.steps] == [
        "dark", "defects", "flat", "gain", "light", "scale", "sharpness", "leakage", "sensitivity",
    ]  # fmt: skip
    assert all(one.made_at == "" and one.figures == () for one in found.steps)
    assert [one.step for one in found.steps if not one.lights] == ["dark"]
    assert (found.proposal, found.newest, found.in_force, found.checks, found.trouble) == (None, "", "", (), "")


def test_a_ring_of_one_level_has_no_light_output_to_be_taken(bench, desk):  # noqa: F811
    settings = bench.parts.settings
    desk._parts = replace(bench.parts, settings=replace(settings, light=replace(settings.light, levels=(1.0,))))
    assert "light" not in [one.step for one in ask(bench, p.GetCommissioning()).steps]


def test_a_result_is_shown_kept_and_then_the_newest(bench, desk):  # noqa: F811
    propose(bench.folder, dark_at("2026-11-25T10:00:00Z"))
    waits = ask(bench, p.GetCommissioning()).proposal
    assert (waits.step, waits.made_at, waits.before) == ("dark", "2026-11-25T10:00:00Z", ())
    assert ("mean", "60.200 ± 0.010 counts", "", None) in [
        (f.figure, f.words, f.limit, f.passed) for f in waits.figures
    ]
    curve = bench.requests.handle(p.GetCurve("dark", proposed=True))
    assert (curve.x, curve.series[0].values) == ((60.0, 61.0, 62.0), (1000.0, None, 4.0))
    assert ask(bench, p.GetCommissioning()).newest == ""

    kept = ask(bench, p.SettleProposal(keep=True))
    assert (kept.proposal, kept.newest, kept.steps[0].made_at) == (None, "2026-11-25T10:00:00Z", "2026-11-25T10:00:00Z")
    assert bench.requests.handle(p.GetCurve("dark")).x == curve.x
    assert not (bench.folder / proposal.TRAY).exists()
    with pytest.raises(Refused, match="no result waits"):
        bench.requests.handle(p.SettleProposal(keep=True))


def test_discarded_nothing_of_it_is_left(bench, desk):  # noqa: F811
    propose(bench.folder, dark_at("2026-11-25T10:00:00Z"))
    found = ask(bench, p.SettleProposal(keep=False))
    assert (found.proposal, found.calibrations) == (None, ())
    assert not (bench.folder / proposal.TRAY).exists()


def test_a_result_that_leans_on_what_was_replaced_meanwhile_is_not_kept(bench, desk):  # noqa: F811
    first = dark_at("2026-11-25T10:00:00Z")
    folder.keep(bench.folder, first, {})
    propose(bench.folder, with_defects(first, "2026-11-25T10:05:00Z"))
    folder.keep(bench.folder, dark_at("2026-11-25T10:02:00Z"), {})
    with pytest.raises(Refused, match=r"another calibration was kept since.*take the step again"):
        bench.requests.handle(p.SettleProposal(keep=True))
    assert ask(bench, p.SettleProposal(keep=False)).newest == "2026-11-25T10:02:00Z"


def test_a_step_on_top_of_another_is_kept_beside_it_and_undone_by_using_the_former(bench, desk):  # noqa: F811
    first = dark_at("2026-11-25T10:00:00Z")
    folder.keep(bench.folder, first, {})
    propose(bench.folder, with_defects(first, "2026-11-25T10:05:00Z"))
    found = ask(bench, p.SettleProposal(keep=True))
    assert [one.steps for one in found.calibrations] == [("dark", "defects"), ("dark",)]
    former = found.calibrations[1].name
    again = ask(bench, p.UseCalibration(former))
    assert (again.calibrations[0].steps, again.calibrations[0].again_from) == (("dark",), former)
    assert len(again.calibrations) == 3, "nothing is lost"


def test_light_output_waits_and_is_kept_the_same_way(bench, desk):  # noqa: F811
    light_output.keep(proposal.tray(bench.folder), LIGHT, "sequence\n1\n")
    waits = ask(bench, p.GetCommissioning()).proposal
    assert (waits.step, waits.figures[0].words) == ("light", "0.5440 ± 0.0001 of full level")
    found = ask(bench, p.SettleProposal(keep=True))
    (line,) = [one for one in found.steps if one.step == "light"]
    assert line.made_at == LIGHT.made_at
    assert light_output.newest(bench.folder, RING) == LIGHT
    assert bench.requests.handle(p.GetCurve("light")).series[0].values == (0.0, 0.544, 1.0)


def test_a_step_waits_for_the_decision_on_the_one_before_a_check_does_not(bench, desk):  # noqa: F811
    propose(bench.folder, dark_at("2026-11-25T10:00:00Z"))
    with pytest.raises(Refused, match="waits to be kept or discarded"):
        bench.ask(p.StartWalk("defects"))
    assert bench.ask(p.StartWalk("check")).walk.walk == "check"


@pytest.mark.parametrize("asked", [p.StartWalk("check"), p.StartWalk("dark"), p.PutInForce()])
def test_a_device_in_use_is_left_alone(bench, desk, asked):  # noqa: F811
    bench.turns(2)
    with pytest.raises(Refused, match="in use"):
        bench.ask(asked)
    bench.ask(c.Light("off"))
    bench.ask(c.Record("start"))
    with pytest.raises(Refused, match="in use"):
        bench.ask(asked)
    bench.ask(c.Record("stop"))
    assert bench.restarts == 0
    assert '"for_calibration": true' not in (bench.folder / "choices.json").read_text()
    assert desk._walks.asked == []
    bench.recorded().close()
    bench.ask(asked)
    assert desk._walks.asked or bench.restarts


def test_while_a_walk_runs_nothing_else_is_decided(bench, desk):  # noqa: F811
    propose(bench.folder, dark_at("2026-11-25T10:00:00Z"))
    bench.ask(p.StartWalk("check"))
    for asked in (p.SettleProposal(keep=True), p.UseCalibration("x"), p.PutInForce()):
        with pytest.raises(Refused, match="being taken: check"):
            bench.requests.handle(asked)
    bench.ask(p.WatchWalk())
    assert bench.ask(p.StopWalk()).walk.error == "it was stopped"
    assert desk._walks.asked[-1] == "watched"


def test_a_calibration_of_another_frame_size_is_told_with_both_and_no_start_is_offered_for_it(bench, desk):  # noqa: F811
    small = replace(CAMERA, width=48, height=32)
    planes = {"dark_counts": np.full(small.shape, 60, np.float32)}
    taken = Taken("dark", "2026-11-25T10:00:00Z", "r")
    folder.keep(bench.folder, Kept("", Figures.empty(SENSOR, small)).with_step("dark", DARK, planes, taken), {})
    words = "the newest calibration is of another frame size: 48 x 32, where the camera gives 96 x 64; set camera.width"
    found = ask(bench, p.GetCommissioning())
    assert found.trouble.startswith(words)
    assert [one.steps for one in found.calibrations] == [("dark",)], "it is kept all the same"
    with pytest.raises(Refused, match=words):
        bench.requests.handle(p.PutInForce())
    assert bench.restarts == 0


def test_a_damaged_calibration_is_told_not_hidden(bench, desk):  # noqa: F811
    path = folder.keep(bench.folder, dark_at("2026-11-25T10:00:00Z"), {})
    (path / folder.FIGURES).write_text("{")
    found = ask(bench, p.GetCommissioning())
    assert "cannot be read" in found.trouble
    assert found.calibrations == ()


def test_a_replay_has_nothing_to_calibrate(bench, desk):  # noqa: F811
    desk._parts = replace(bench.parts, source=replace(bench.parts.source, sensor="", ring=""))
    with pytest.raises(Refused, match="no sensor"):
        bench.ask(p.StartWalk("dark"))
    with pytest.raises(Refused, match="no sensor"):
        bench.ask(p.MakePaper("certificate"))
    assert ask(bench, p.MakePaper("target-a4")).paper == p.PaperState("target-a4", running=True)


def test_any_press_of_the_button_ends_a_walk_and_does_nothing_else(bench, desk):  # noqa: F811
    level = bench.parts.light.level
    bench.ask(p.StartWalk("gain"))
    assert bench.requests.confirmed(bench.clock.now_ns()), "swallowed: the level does not step"
    assert bench.ask(c.GetState()).walk.error == "the handheld's button ended it"
    assert bench.parts.light.level == level
    assert not bench.requests.confirmed(bench.clock.now_ns()), "the next press is one like any other"
    bench.ask(p.StartWalk("check"))
    bench.requests.light_on()
    assert not bench.ask(c.GetState()).walk.running
    assert bench.parts.light.wanted, "whoever holds the button has light"
