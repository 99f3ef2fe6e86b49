"""Dark is the default: each line by itself, a board in reset or dead, lines that are stuck, a supply that comes and goes."""

import itertools
import tomllib
from pathlib import Path

import numpy as np
import pytest

from tests.hardware.circuits import bench
from tests.hardware.circuits.bench import driven, edges, even, leaking, pulled, pulses, run, supply

BEATS = even(0.02, 0.02, 10)
LINES = ("enable", "pulses", "heartbeat")
FLASH_C = 1e-6
"""Most charge through one LED that counts as no flash: what 3 us at full level bring, 0.6 uJ/sr."""

RESET_PULLS = {"down": (0.0, 50e3), "up": (3.3, 50e3), "strong up": (3.6, 30e3)}
"""Pulls of the board's pins in reset: about 50 kohm (from memory), and a third stronger."""


def test_dark_means_less_light_than_a_twentieth_of_a_milliwatt_per_steradian_from_the_whole_ring():
    """Light at most in proportion to current: an LED gives less than that at microamperes (common practice, no source)."""
    ring = tomllib.loads((Path(bench.DEVICES).parents[1] / "ring.toml").read_text())["ring"]
    leds = [part for part in bench.BOARD.elements if part.key == "led_770"]
    assert len(leds) == ring["leds"]
    assert len(leds) * ring["radiant_intensity_w_sr"] * bench.DARK_A / 0.344 < 50e-6


def flash_c(traces: bench.Traces) -> float:
    """Charge through the brightest LED above what counts as dark."""
    return float(np.trapezoid(np.clip(traces.string_a() - bench.DARK_A, 0, None), traces.time_s))


def high_or_low(line: str, high: bool) -> str:
    if line == "heartbeat":
        return driven(line, edges(BEATS) if high else 0.0)
    return driven(line, 3.3 if high else 0.0)


@pytest.mark.parametrize("asked", list(itertools.product([False, True], repeat=3)))
def test_light_is_enable_and_pulses_and_beats(tmp_path, asked):
    stimuli = [supply(), *(high_or_low(line, high) for line, high in zip(LINES, asked, strict=True))]
    traces = run(tmp_path, stimuli, BEATS[-1])
    if all(asked):
        assert traces.string_a().max() > 0.3
    else:
        assert flash_c(traces) < 1e-9  # the ring's wires are charged when the supply's switch closes
        assert traces.between(BEATS[-2], BEATS[-1]).string_a().max() < bench.DARK_A


@pytest.mark.parametrize("held", ["alive1", "alive2"])
@pytest.mark.parametrize("last_level", ["low", "high"])
def test_either_channel_alone_darkens_when_beats_stop(tmp_path, last_level, held):
    """The other one is held alive for ever, and enable and pulses are stuck high."""
    beats = even(0.02, 0.02, 12 if last_level == "low" else 13)
    stimuli = [
        supply(),
        driven("enable", 3.3),
        driven("pulses", 3.3),
        driven("heartbeat", edges(beats)),
        f"Vheld {held} 0 0.05",
    ]
    traces = run(tmp_path, stimuli, beats[-1] + 0.4)
    assert traces.string_a().max() > 0.3
    assert 0.08 < traces.last_lit_s() - beats[-1] < 0.25


@pytest.mark.parametrize("beat_volts", [0.0, 3.3])
@pytest.mark.parametrize("enable_volts", [0.0, 3.3, 5.0])
@pytest.mark.parametrize("pulse", ["low", "high", "20 kHz"])
def test_lines_stuck_without_beats_are_dark(tmp_path, pulse, enable_volts, beat_volts):
    dimming = (
        pulses("pulses", 3.3, 50e-6, 0.5) if pulse == "20 kHz" else driven("pulses", 3.3 if pulse == "high" else 0.0)
    )
    stimuli = [supply(5.5), driven("enable", enable_volts), dimming, driven("heartbeat", beat_volts)]
    assert run(tmp_path, stimuli, 2e-3, step_s=1e-5, celsius=60).string_a().max() < bench.DARK_A


@pytest.mark.parametrize("pull", RESET_PULLS)
def test_a_board_in_reset_is_dark(tmp_path, pull):
    stimuli = [supply(5.5), *(pulled(line, *RESET_PULLS[pull]) for line in LINES)]
    assert run(tmp_path, stimuli, 0.05, celsius=60).string_a().max() < bench.DARK_A


@pytest.mark.parametrize("leak_a", [-10e-6, 0.0, 10e-6])
def test_floating_lines_are_dark(tmp_path, leak_a):
    """Ten times the leakage of a pin (1 uA is usual, from memory)."""
    stimuli = [supply(5.5), *(leaking(line, leak_a) for line in LINES)]
    assert run(tmp_path, stimuli, 0.05, celsius=60).string_a().max() < bench.DARK_A


@pytest.mark.parametrize("wire", LINES)
def test_a_broken_wire_darkens(tmp_path, wire):
    stimuli = [supply(), *(leaking(line, 1e-6) if line == wire else high_or_low(line, True) for line in LINES)]
    assert flash_c(run(tmp_path, stimuli, BEATS[-1])) < 1e-9


@pytest.mark.parametrize("pull", RESET_PULLS)
@pytest.mark.parametrize("rise_s", [1e-5, 1e-3, 0.1, 1.0])
def test_power_up_with_pins_in_reset_gives_no_flash(tmp_path, rise_s, pull):
    volts, ohm = RESET_PULLS[pull]
    rising = [(0.0, 0.0), (0.01, 0.0), (0.01 + rise_s, 5.5), (rise_s + 0.3, 5.5)]
    stimuli = [supply(rising), *(pulled(line, volts, ohm) for line in LINES)]
    assert flash_c(run(tmp_path, stimuli, rise_s + 0.3, step_s=1e-3)) < FLASH_C


@pytest.mark.parametrize("dip_volts", [4.0, 3.0, 2.5, 2.0, 1.0, 0.0])
@pytest.mark.parametrize("fall_s", [1e-5, 1e-2])
def test_a_brown_out_without_beats_gives_no_flash_with_the_other_lines_stuck_high(tmp_path, fall_s, dip_volts):
    dip = [(0.0, 5.0), (0.02, 5.0), (0.02 + fall_s, dip_volts), (0.1, dip_volts), (0.1 + fall_s, 5.0), (0.3, 5.0)]
    stimuli = [supply(dip), driven("enable", 3.3), driven("pulses", 3.3), driven("heartbeat", 0.0)]
    assert flash_c(run(tmp_path, stimuli, 0.3)) < FLASH_C


def test_a_supply_that_ripples_by_a_volt_at_the_beats_rate_is_no_heartbeat(tmp_path):
    ripple = [(0.0, 5.5)]
    for start_s in even(0.02, 0.04, 20):
        ripple += [(start_s, 5.5), (start_s + 1e-3, 4.5), (start_s + 0.02, 4.5), (start_s + 0.021, 5.5)]
    stimuli = [supply(ripple), driven("enable", 3.3), driven("pulses", 3.3), driven("heartbeat", 0.0)]
    assert run(tmp_path, stimuli, 0.85).string_a().max() < bench.DARK_A


@pytest.mark.parametrize("heartbeat", ["rises too", "weak pull-up"])
def test_a_supply_that_rises_under_lines_driven_high_may_flash_once_for_less_than_the_drop_out(tmp_path, heartbeat):
    """Two edges out of nothing: the supply's rise, and the slicer's step. Known and bounded; README.md, what is left."""
    rise_s = 1e-3 if heartbeat == "rises too" else 0.1
    rising = [(0.0, 0.0), (0.01, 0.0), (0.01 + rise_s, 5.5), (0.8, 5.5)]
    logic = [(time_s, 0.6 * volts) for time_s, volts in rising]
    beat = driven("heartbeat", logic) if heartbeat == "rises too" else pulled("heartbeat", 3.6, 30e3)
    traces = run(tmp_path, [supply(rising), driven("enable", logic), driven("pulses", logic), beat], 0.8)
    assert traces.last_lit_s() - traces.first_lit_s() < 0.15
    assert traces.last_lit_s() < 0.01 + rise_s + 0.25


def test_light_that_comes_back_after_a_dip_overshoots_by_microseconds_only(tmp_path):
    beats = even(0.02, 0.02, 40)
    dip = [(0.0, 5.0), (0.3, 5.0), (0.3001, 2.0), (0.4, 2.0), (0.4001, 5.0)]
    stimuli = [supply(dip), driven("enable", 3.3), driven("pulses", 3.3), driven("heartbeat", edges(beats))]
    traces = run(tmp_path, stimuli, 0.8)
    settled_a = traces.between(0.7, 0.78).string_a().max()
    assert np.trapezoid(np.clip(traces.string_a() - 1.02 * settled_a, 0, None), traces.time_s) < 2 * FLASH_C
