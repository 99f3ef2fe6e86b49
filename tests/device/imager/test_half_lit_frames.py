"""No frame during which the light changed counts for a figure: whole simulated device, light switched at any phase of an exposure.

The card is even and steady, so each value is the scene's own level; a frame that saw two lights would show as another.
"""

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from shared.inflow.curves import CurveGatherer
from tests.device.imager.guarded_device import LOW, MS, REFERENCE, GuardedDevice, Lateness

PHASES = (0.0, 0.45, 0.6, 0.97)
"""Of the frame interval; the exposure takes its last 0.45."""
LOW_PERCENT = 33.0
PROMPT, LATE = Lateness(), Lateness(answered_ns=40 * MS)
LATER = Lateness(heard_ns=12 * MS, answered_ns=61 * MS, frame_ns=7 * MS)

Make = Callable[..., GuardedDevice]


@pytest.fixture
def device(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Make]:
    made: list[GuardedDevice] = []

    def make(late: Lateness = PROMPT, **more: object) -> GuardedDevice:
        folder = tmp_path / str(len(made))
        folder.mkdir()
        made.append(GuardedDevice(folder, monkeypatch, late, **more))  # type: ignore[arg-type]
        return made[-1]

    yield make
    for one in made:
        one.close()


def switched(one: GuardedDevice, phase: float) -> None:
    """On; off and on again within half a second, twice; off."""
    light = one.light
    light.choose(1.0)
    one.at(4 + phase, light.page_on)
    one.turns(9)
    one.start_recording()
    for at in (3, 14, 34):
        one.at(at + phase, light.page_off)
    for at in (6, 17):
        one.at(at + phase, light.page_on)
    one.turns(40)


def stepped(one: GuardedDevice, phase: float) -> None:
    """On; dimmed and brightened; a level passed through within a frame; dimmed."""
    light = one.light
    light.choose(1.0)
    one.at(4 + phase, light.page_on)
    one.turns(15)
    one.start_recording()
    for at, level in ((6, 0.4), (18, 1.0), (30, 0.7), (30.3, 1.0), (38, 0.7)):
        one.at(at + phase, lambda level=level: light.choose(level))
    one.turns(54)


def shown(one: GuardedDevice) -> tuple[np.ndarray, np.ndarray]:
    """Of each picture with light: signal of the reference, percent of the other tile."""
    lit = [header for header in one.headers if header["reference"]["signal"] is not None]
    return (
        np.array([header["reference"]["signal"] for header in lit]),
        np.array([header["values"][0]["percent"] for header in lit], np.float64),
    )


@pytest.mark.parametrize("phase", PHASES)
@pytest.mark.parametrize(
    ("shutter", "stamps_light", "late"),
    [
        ("global", False, PROMPT),
        ("global", False, LATE),
        ("global", False, LATER),
        ("rolling", False, PROMPT),
        ("rolling", False, LATE),
        ("rolling", True, PROMPT),
    ],
)
def test_a_frame_during_which_the_light_changed_counts_for_no_figure(
    device: Make, shutter: str, stamps_light: bool, late: Lateness, phase: float
) -> None:
    """Live signals and percent, points of the curves, frames of the maps, baseline, and curves read from the recording."""
    one = device(late, shutter=shutter, stamps_light=stamps_light)
    switched(one, phase)
    signals, percent = shown(one)
    true = float(np.median(signals))
    assert signals.size >= 10
    assert signals == pytest.approx(np.full(signals.size, true), rel=0.002)
    assert percent == pytest.approx(np.full(percent.size, LOW_PERCENT), abs=0.15)
    assert one.maps.signals == pytest.approx([true] * len(one.maps.signals), rel=0.002)
    kept = [signal for signal in one.loop.curves.after(0, ()).curves[0].signal if signal is not None]
    assert len(kept) >= 4
    assert kept == pytest.approx([true] * len(kept), rel=0.002)
    one.live.mark_baseline()
    assert one.live.curve_points()[0].baseline == pytest.approx(true, rel=0.002)
    with one.recorded() as recording:
        gatherer = CurveGatherer(one.calibration, [REFERENCE, LOW])
        for number in range(recording.frames):
            gatherer.add(recording.frame(number))
        curves = gatherer.curves()
        assert curves["base"].signal.size >= 8
        assert curves["base"].signal == pytest.approx(np.full(curves["base"].signal.size, true), rel=0.002)
        assert curves["low"].signal == pytest.approx(np.full(curves["low"].signal.size, 0.33 * true), rel=0.004)
        left_out = np.count_nonzero(recording.half_lit)
        assert left_out <= 22
        assert left_out >= 4 or late is not PROMPT or phase < 0.55, "each change lay within an exposure"


@pytest.mark.parametrize("phase", PHASES)
@pytest.mark.parametrize(
    ("shutter", "stamps_light", "late"),
    [
        ("global", False, PROMPT),
        ("global", True, PROMPT),
        ("global", False, LATE),
        ("global", False, LATER),
        ("rolling", False, PROMPT),
        ("rolling", False, LATE),
    ],
)
def test_a_step_of_the_level_is_written_with_a_dark_frame_and_moves_nothing(
    device: Make, shutter: str, stamps_light: bool, late: Lateness, phase: float
) -> None:
    """In a room whose infrared is three tenths of the tissue's own, which does not go with the light: a step would add as much
    as 45 %. Live signals, points of the curves, and curves read from the recording.
    """
    one = device(late, shutter=shutter, stamps_light=stamps_light, ambient=0.3)
    stepped(one, phase)
    signals, _ = shown(one)
    true = signals[:5].mean()
    assert signals.size >= 20
    assert signals == pytest.approx(np.full(signals.size, true), rel=0.01)
    kept = [signal for signal in one.loop.curves.after(0, ()).curves[0].signal if signal is not None]
    assert len(kept) >= 4
    assert kept == pytest.approx([true] * len(kept), rel=0.01)
    assert {header["lit"] for header in one.headers[20:]} == {True}, "a dark frame is no picture"
    with one.recorded() as recording:
        levels, half = recording.frame_table.levels, recording.half_lit
        gatherer = CurveGatherer(one.calibration, [REFERENCE])
        for number in range(recording.frames):
            gatherer.add(recording.frame(number))
        signal = gatherer.curves()["base"].signal
    assert set(np.round(levels[(levels > 0) & ~half], 2)) == {1.0, 0.4, 0.7}
    assert signal == pytest.approx(np.full(signal.size, signal[:3].mean()), rel=0.01)
    if late is PROMPT and shutter == "global":
        passed_through = phase in (0.0, 0.97)  # the frame that came meanwhile asked for a dark one
        assert np.count_nonzero(levels == 0) == 3 + passed_through, "one for each step"
        assert not half.any()
    assert not one.light.tripped


@pytest.mark.parametrize("stamps_light", [True, False])
@pytest.mark.parametrize("phase", PHASES)
def test_light_that_comes_on_within_a_frame_leaves_the_baseline_as_it_is(
    device: Make, phase: float, stamps_light: bool
) -> None:
    """The room's light does not dim with the ring: a frame lit for a tenth of its exposure would count it ten times."""
    one = device(stamps_light=stamps_light, ambient=0.3)
    one.light.choose(1.0)
    one.at(4 + phase, one.light.page_on)
    one.turns(15)
    one.live.mark_baseline()
    early = one.live.curve_points()[0].baseline
    one.turns(45)
    signals, _ = shown(one)
    true = float(np.median(signals))
    assert signals == pytest.approx(np.full(signals.size, true), rel=0.002)
    assert early == pytest.approx(true, rel=0.002)


@pytest.mark.parametrize("late", [PROMPT, LATE])
def test_a_frame_in_which_a_lease_ran_out_is_known_however_late_that_is_heard(device: Make, late: Lateness) -> None:
    """The loop stalls, the light trips within an exposure; pressed again at once, the picture is not a mean of that frame."""
    stalls = Lateness(answered_ns=late.answered_ns, frame_ns=25 * MS)
    one = device(stalls)
    one.light.choose(1.0)
    one.at(4, one.light.page_on)
    one.turns(9)
    one.start_recording()
    one.turns(4)
    one.clock.sleep_until_ns(one.clock.now_ns() + 75 * MS)  # with the frame's own lateness, the lease's whole length
    one.turns(4)
    assert one.light.tripped
    before = len(one.headers)
    one.light.rearm()
    one.turns(2)
    one.light.page_on()
    one.turns(9)
    signals, percent = shown(one)
    after = [header["reference"]["signal"] for header in one.headers[before:] if header["lit"]]
    assert len(after) >= 4
    true = float(np.median(signals))
    assert after == pytest.approx([true] * len(after), rel=0.002)
    assert percent == pytest.approx(np.full(percent.size, LOW_PERCENT), abs=0.15)
    with one.recorded() as recording:
        whole = recording.frame_table.lit & ~recording.half_lit
        means = np.array([recording.pixels(number)[4:34, 4:92].mean() for number in np.flatnonzero(whole)])
        assert means.size >= 8
        assert means == pytest.approx(np.full(means.size, np.median(means)), rel=0.01)


@pytest.mark.parametrize("late", [PROMPT, LATE])
def test_ambient_light_is_learned_from_frames_that_are_surely_dark(device: Make, late: Lateness) -> None:
    """Of a device that puts its light out for a frame now and then, whose guard then dies with the ring lit."""
    one = device(late, unlit_every=8, ambient=0.05)
    one.light.choose(1.0)
    one.turns(6)
    dark = float(one.loop.newest.pixels.mean())  # type: ignore[union-attr]
    one.light.page_on()
    one.turns(60)
    one.house.part()
    one.turns(12)
    _, percent = shown(one)
    assert percent.size >= 20
    assert one.maps.unlit == pytest.approx([dark] * len(one.maps.unlit), rel=0.02)
    assert one.maps.signals == pytest.approx([np.median(one.maps.signals)] * len(one.maps.signals), rel=0.003)
    if late is PROMPT:
        assert len(one.maps.unlit) >= 5
        assert percent[-20:] == pytest.approx(np.full(20, LOW_PERCENT), abs=0.3)
