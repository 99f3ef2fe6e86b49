"""The dead-man: alight while beats come, dark when they stop however they stop, deaf to what is no beat."""

import math

import numpy as np
import pytest

from device.light.guard import BEAT_NS
from device.light.simulated_ring import DROP_OUT_NS
from tests.hardware.circuits import bench
from tests.hardware.circuits.bench import driven, edges, even, run, supply

BEAT_S = BEAT_NS * 1e-9
LATEST_S = DROP_OUT_NS * 1e-9
LATE_BEAT_S = 0.060
START_S = 0.02
WISHED = (driven("enable", 3.3), driven("pulses", 3.3))

SPREAD = {  # one direction each; what lengthens the drop-out. Film capacitors: 5 %, and 3 % for age and temperature
    "r_bleed": (150e3, 0.01),
    "c_hold": (1e-6, 0.08),
    "c_pump": (270e-9, 0.08),
    "r_mark_top": (33e3, 0.01),
    "r_mark_low": (10e3, -0.01),
}


def corner(direction: int) -> dict[str, float]:
    """Every part at its limit at once, all towards a longer (1) or a shorter (-1) drop-out."""
    values = {name: nominal * (1 + direction * share) for name, (nominal, share) in SPREAD.items()}
    return values | {"offset_comparator": direction * 5e-3, "bias_comparator": -direction * 50e-9}


def leak(direction: int) -> str:
    """Dirt on the board: 20 Mohm from the supply keeps the held voltage up, 10 Mohm to ground takes it down."""
    return "Rdirt fused held_1 20meg" if direction > 0 else "Rdirt held_1 0 10meg"


def test_the_ring_lights_with_the_second_edge_and_does_not_flicker(tmp_path):
    beats = even(START_S, BEAT_S, 30)
    traces = run(tmp_path, [supply(), *WISHED, driven("heartbeat", edges(beats))], beats[-1])
    assert traces.between(0, beats[1]).string_a().max() < bench.DARK_A  # one edge alone lights nothing
    assert traces.first_lit_s() - beats[0] < 0.035
    steady = traces.between(beats[0] + 0.035, beats[-1]).string_a()
    assert np.ptp(steady) < 0.001 * steady.max()


@pytest.mark.parametrize("last_level", ["low", "high"])
def test_a_heartbeat_that_stops_darkens_the_whole_ring(tmp_path, last_level):
    beats = even(START_S, BEAT_S, 20 if last_level == "low" else 21)
    traces = run(tmp_path, [supply(), *WISHED, driven("heartbeat", edges(beats))], beats[-1] + 0.4)
    assert LATE_BEAT_S < traces.last_lit_s() - beats[-1] < LATEST_S


@pytest.mark.parametrize(
    "pull", ["Rpull heartbeat 0 50k", "Rpull heartbeat v33 50k\nVv33 v33 0 3.3", "Ileak 0 heartbeat 1u"]
)
def test_a_heartbeat_that_floats_after_a_beat_darkens_the_ring(tmp_path, pull):
    beats = even(START_S, BEAT_S, 21)
    let_go = (
        f"Vbeats beats 0 {bench.wave(edges(beats))}\nVhold hold 0 PWL(0 1 {beats[-1] + 1e-4} 1 {beats[-1] + 2e-4} 0)\n"
        "Sdrive beats heartbeat hold 0 pin\n.model pin SW (VT=0.5 VH=0.1 RON=50 ROFF=1g)"
    )
    traces = run(tmp_path, [supply(), *WISHED, let_go, pull], beats[-1] + 0.4)
    assert LATE_BEAT_S < traces.last_lit_s() - beats[-1] < LATEST_S


@pytest.mark.parametrize("celsius", [-10, 60])
@pytest.mark.parametrize("volts", [4.5, 5.5])
@pytest.mark.parametrize("direction", [-1, 1])
def test_the_worst_parts_all_at_once_stay_inside_the_window(tmp_path, direction, volts, celsius):
    """Dark within 250 ms of the last beat; no drop-out through a beat 60 ms late, nor in a run of beats 60 ms apart."""
    beats = even(START_S, BEAT_S, 40)
    after_beats = [*beats, *even(beats[-1] + 1.0, LATE_BEAT_S, 20)]
    logic_volts = 3.0 if direction < 0 else 3.6
    traces = run(
        tmp_path,
        [supply(volts), driven("heartbeat", edges(after_beats, logic_volts)), leak(direction)],
        after_beats[-1],
        step_s=5e-4,
        keep=("alive1",),
        values=corner(direction),
        celsius=celsius,
        elements=bench.ONE_DEAD_MAN,
    )
    first = traces.between(0, beats[-1] + 0.9)
    drop_out_s = first.time_s[first.alive()].max() - beats[-1]
    assert BEAT_S + LATE_BEAT_S < drop_out_s < LATEST_S
    assert traces.between(beats[0] + 0.045, beats[-1]).alive().all()
    assert traces.between(beats[-1] + 1.3, after_beats[-1]).alive().all()


def test_jittering_beats_never_drop_out(tmp_path):
    random = np.random.default_rng(7)
    beats = list(START_S + np.cumsum(random.uniform(BEAT_S, LATE_BEAT_S, 200)))
    stimuli = [supply(4.5), driven("heartbeat", edges(beats, 3.0)), leak(-1)]
    traces = run(
        tmp_path, stimuli, beats[-1], step_s=5e-4, keep=("alive1",), values=corner(-1), elements=bench.ONE_DEAD_MAN
    )
    assert traces.between(beats[4], beats[-1]).alive().all()


@pytest.mark.parametrize("direction", [-1, 1])
def test_one_edge_lights_nothing_even_with_the_worst_parts(tmp_path, direction):
    charging = {"c_pump": 270e-9 * 1.08, "c_hold": 0.92e-6, "r_mark_top": 33e3 * 1.01, "r_mark_low": 9.9e3}
    stimuli = [supply(5.5), driven("heartbeat", edges([START_S], 3.6)), leak(1)]
    values = corner(direction) | charging
    traces = run(
        tmp_path,
        stimuli,
        0.3,
        keep=("alive1", "held_1", "mark_1"),
        values=values,
        celsius=60,
        elements=bench.ONE_DEAD_MAN,
    )
    assert 0.6 < np.max(traces["v(held_1)"] / traces["v(mark_1)"]) < 0.95  # the edge did arrive
    assert not traces.between(1e-3, 0.3).alive().any()


@pytest.mark.parametrize("interval_s", [0.3, 0.5, 1.0])
def test_beats_that_are_too_slow_stay_dark(tmp_path, interval_s):
    beats = even(START_S, interval_s, 6)
    stimuli = [supply(), driven("heartbeat", edges(beats))]
    for direction in (-1, 1):
        traces = run(
            tmp_path,
            stimuli,
            beats[-1],
            step_s=5e-4,
            keep=("alive1",),
            values=corner(direction),
            elements=bench.ONE_DEAD_MAN,
        )
        assert not traces.between(1e-3, beats[-1]).alive().any()


@pytest.mark.parametrize("interval_s", [0.10, 0.14, 0.18])
def test_between_too_slow_and_fast_enough_each_beat_lights_for_less_than_the_drop_out(tmp_path, interval_s):
    beats = even(START_S, interval_s, 10)
    traces = run(
        tmp_path,
        [supply(), driven("heartbeat", edges(beats))],
        beats[-1] + 0.3,
        keep=("alive1",),
        elements=bench.ONE_DEAD_MAN,
    )
    assert traces.time_s[traces.alive()].max(initial=0.0) < beats[-1] + LATEST_S


@pytest.mark.parametrize(
    ("hz", "duty"), [(20e3, 0.2), (20e3, 0.45), (20e3, 0.8), (1e3, 0.5), (400, 0.2), (400, 0.45), (400, 0.6)]
)
def test_pulses_that_a_solder_bridge_brings_to_the_heartbeat_are_no_beats(tmp_path, hz, duty):
    """Worst filter: a class-2 ceramic that has lost 40 %. Whatever the duty, at most the first step counts as an edge."""
    stimuli = [supply(), bench.pulses("heartbeat", 3.6, 1 / hz, duty)]
    traces = run(
        tmp_path,
        stimuli,
        0.08 if hz > 2e3 else 0.3,
        step_s=1e-3,
        keep=("alive1", "held_1"),
        values={"c_filter": 0.6 * 470e-9},
        elements=bench.ONE_DEAD_MAN,
    )
    assert not traces.between(1e-3, 1.0).alive().any()
    later = traces.between(0.04, 1.0)["v(held_1)"]
    assert later[-1] <= later[0] + 1e-3  # nothing is pumped any more


def test_the_drop_out_agrees_with_a_hand_calculation(tmp_path):
    """Discharge of a capacitor, V(t) = V0 exp(-t/RC), hence t = RC ln(V0/V1): any textbook of electronics, from memory.

    The pump whose output stands high stays joined to the held voltage through its diode, so C is hold and one pump together.
    """
    beats = even(START_S, BEAT_S, 60)
    traces = run(
        tmp_path,
        [supply(), driven("heartbeat", edges(beats))],
        beats[-1] + 0.4,
        keep=("alive1", "held_1"),
        elements=bench.ONE_DEAD_MAN,
    )
    drop_out_s = traces.time_s[traces.alive()].max() - beats[-1]

    hold_f, pump_f, bleed_ohm = 1e-6, 270e-9, 150e3
    tau_s = bleed_ohm * (hold_f + pump_f)
    kept = math.exp(-BEAT_S / tau_s)
    swing_v = 5.0 - 0.13 - 2 * 0.33  # from the comparator's low to the supply, less two diodes at microamperes
    held_v = (
        pump_f * swing_v / (hold_f + pump_f - hold_f * kept)
    )  # each edge: C V = hold x what was kept + pump x swing
    # Alive, the comparator's low end of 330 kohm lies beside the 10 kohm: the mark is a divider of 33 k and 10 k || 330 k.
    low_ohm = 1 / (1 / 10e3 + 1 / 330e3)
    mark_v = 5.0 * low_ohm / (33e3 + low_ohm)
    # The last edge falls. It takes its time through the filter, down to the slicer's lower threshold.
    low_v = mark_v * (1 + 100 / 820) - 4.98 * 100 / 820
    filter_s = (10e3 + 1 / (1 / 520 + 1 / 4700)) * 470e-9 * math.log(3.3 * 4700 / 5220 / low_v)
    assert drop_out_s == pytest.approx(filter_s + tau_s * math.log(held_v / mark_v), rel=0.03)
    assert traces["v(held_1)"].max() == pytest.approx(held_v, rel=0.03)
