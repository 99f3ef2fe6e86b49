"""The strings' current: as designed, the same in each, hardly moved by supply and warmth, and a straight line against duty."""

from dataclasses import replace

import numpy as np
import pytest

from tests.hardware.circuits import bench
from tests.hardware.circuits.bench import driven, pulses, run, supply

PERIOD_S = 50e-6
WINDOW_S = (4.25 * PERIOD_S, 12.25 * PERIOD_S)
DESIGNED_A = 0.344
"""(1.25 V x 1/11 - 10 mV) / 0.3 ohm: the share of the reference, less what the offset resistor takes."""

SINKS = [part for part in bench.BOARD.elements if part.designator[1:-2] not in ("1", "2")]
ALIVE = ("Valive1 alive1 0 0.05", "Valive2 alive2 0 0.05")
"""Both dead-men held alive, so that microseconds can be looked at without waiting for beats."""


def mean_a(folder, duty, volts=5.0, values=None, celsius=27.0):
    dimming = driven("pulses", 3.3) if duty == 1 else pulses("pulses", 3.3, PERIOD_S, duty)
    stimuli = [supply(volts), driven("enable", 3.3), driven("heartbeat", 0.0), dimming, *ALIVE]
    traces = run(
        folder,
        stimuli,
        WINDOW_S[1],
        step_s=1e-6,
        largest_step_s=0.4e-6,
        values=values,
        celsius=celsius,
        elements=SINKS,
    ).between(*WINDOW_S)
    strings = [traces.mean(traces[f"@d{place}01[id]"]) for place in "3456"]
    assert np.ptp(strings) < 1e-3 * max(strings)
    return strings[0]


def test_full_level_is_as_designed(tmp_path):
    assert mean_a(tmp_path, 1) == pytest.approx(DESIGNED_A, rel=0.01)


def test_there_is_voltage_left_for_leds_of_the_top_of_their_class(tmp_path):
    """2.0 V instead of 1.8 V an LED, at the lowest supply."""
    taller = [replace(part, nodes=("raised", part.nodes[1])) if part.name == "D302" else part for part in SINKS]
    stimuli = [supply(4.5), driven("enable", 3.3), driven("heartbeat", 0.0), driven("pulses", 3.3), *ALIVE]
    traces = run(tmp_path, stimuli, 1e-3, elements=[*taller, "Vtaller half_3 raised 0.4"])
    assert traces["@d302[id]"][-1] == pytest.approx(DESIGNED_A, rel=0.02)


@pytest.mark.parametrize(("volts", "celsius"), [(4.5, -10), (4.5, 60), (5.5, -10), (5.5, 60)])
def test_supply_and_warmth_move_it_by_less_than_two_percent(tmp_path, volts, celsius):
    assert mean_a(tmp_path, 1, volts=volts, celsius=celsius) == pytest.approx(mean_a(tmp_path, 1), rel=0.02)


@pytest.mark.parametrize("direction", [-1, 1])
def test_the_worst_parts_move_it_by_less_than_eight_percent(tmp_path, direction):
    values = {
        "reference_volts": 1.25 * (1 + 0.01 * direction),
        "r_set_low": 2e3 * (1 + 0.01 * direction),
        "r_set_top": 10e3 * (1 - 0.01 * direction),
        "r_sense": 0.3 * (1 - 0.01 * direction),
        "offset_opamp": 3e-3 * direction,
    }
    assert mean_a(tmp_path, 1, values=values) == pytest.approx(DESIGNED_A, rel=0.08)


@pytest.mark.parametrize("vth", [0.8, 1.5])
def test_mean_current_is_a_straight_line_of_duty_less_a_short_dead_time(tmp_path, vth):
    """Within 1 % of full level from 5 to 95 %. The dead time is the amplifier's way to the threshold."""
    duties = np.array([0.05, 0.2, 0.4, 0.6, 0.8, 0.95])
    full_a = mean_a(tmp_path, 1)
    shares = np.array([mean_a(tmp_path, duty, values={"vth_n_power": vth}) for duty in duties]) / full_a
    slope, lost = np.polyfit(duties, shares, 1)
    assert np.abs(shares - (slope * duties + lost)).max() < 0.01
    assert slope == pytest.approx(1.0, abs=0.01)
    assert -1.1e-6 / PERIOD_S < lost < 0


def test_an_amplifier_with_the_worst_offset_still_means_off_by_zero(tmp_path):
    stimuli = [supply(5.5), driven("enable", 3.3), driven("heartbeat", 0.0), driven("pulses", 0.0), *ALIVE]
    traces = run(tmp_path, stimuli, 1e-3, values={"offset_opamp": 3e-3, "r_sense": 0.297}, celsius=60, elements=SINKS)
    assert traces.string_a().max() < bench.DARK_A
