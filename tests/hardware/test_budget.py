"""Power and heat, against numbers worked out by hand on paper (in the docstrings) and published closed forms."""

import json
import math
import subprocess
import sys
from dataclasses import replace

import pytest

from hardware.budget import ASSUMED, RING, Assumed, budget, lobe_power_w, minutes_until, rise_k, text
from hardware.parts import read_parts
from shared.bounded import from_toml
from shared.errors import Refused
from shared.optics.ring import read_ring

TRIP_C = 60.0


def changed_parts(**numbers):
    """The list with parameters replaced: ``led__forward_v=2`` changes that of the LED."""
    parts = dict(read_parts())
    names = {"led": "LED on board", "bank": "power bank", "board": "board", "plate": "heat sink"}
    for key, value in numbers.items():
        short, _, parameter = key.partition("__")
        part = parts[names[short]]
        parts[names[short]] = replace(part, parameters={**part.parameters, parameter: value})
    return parts


def example(**numbers):
    """Numbers of the worked example, whatever the files say today."""
    plain = {
        "led__forward_v": 1.8,
        "led__current_ma": 350,
        "bank__energy_wh": 37,
        "bank__efficiency": 0.85,
        "bank__output_v": 5,
        "bank__output_a": 3,
        "board__busy_w": 6.0,
        "board__idle_w": 3.0,
    }
    ring = replace(read_ring(RING), leds=8, radiant_intensity_w_sr=0.2, half_angle_deg=30.0)
    assumed = from_toml(Assumed, ASSUMED)
    use = replace(assumed.use, ambient_c=24.0, lit_share=0.3, level=0.6, board_busy_share=1.0)
    return budget(changed_parts(**{**plain, **numbers}), ring, replace(assumed, use=use), TRIP_C)


def test_power_of_the_worked_example():
    """By hand: 4 strings x 5 V x 0.35 A = 7.0 W. Board 6.0 + camera 0.6 = 6.6 W, with the stick 7.1 W = 1.42 A. In use
    6.6 + 7.0 x 0.3 x 0.6 = 7.86 W; 37 Wh x 0.85 = 31.45 Wh; 31.45 / 7.86 = 4.001 h; always lit 31.45 / 13.6 = 2.3125 h.
    """
    power = example().power
    assert (power.ring_a, power.board_a, power.supply_a) == pytest.approx((1.40, 1.42, 2.82))
    assert power.mean_w == pytest.approx(7.86)
    assert power.highest_w == pytest.approx(14.1)
    assert power.battery_life_h == pytest.approx(4.0013, abs=1e-4)
    assert power.battery_life_always_lit_h == pytest.approx(2.3125)


def test_heat_of_the_worked_example():
    """By hand: in 8 x 1.8 V x 0.35 A = 5.04 W; m = ln 0.5 / ln cos 30 = 4.8188; light 8 x 2 pi x 0.2 / 5.8188 = 1.7277 W; heat
    3.3123 W; sinks 7.0 - 5.04 = 1.96 W. Plate: pi/4 x (8.2^2 - 4.44^2) = 37.327 cm2 a face, one face and 8 x 9 cm2 of fins
    = 109.33 cm2; 1 / (8 x 0.010933) = 11.434 K/W; 24 + 3.3123 x 11.434 = 61.87; inside each LED 12 x 0.41404 = 4.97 K more.
    """
    heat = example().heat
    assert (heat.led_electrical_w, heat.driver_heat_w) == pytest.approx((5.04, 1.96))
    assert (heat.led_light_w, heat.led_heat_w) == pytest.approx((1.7277, 3.3123), abs=1e-4)
    assert heat.plate_k_w == pytest.approx(11.434, abs=1e-3)
    assert heat.plate_full_c == pytest.approx(61.87, abs=0.01)
    assert heat.junction_full_c == pytest.approx(66.84, abs=0.01)
    assert heat.plate_use_c == pytest.approx(24 + 37.87 * 0.18, abs=0.01)


def test_a_lambert_emitter_of_one_watt_has_one_over_pi_watt_per_steradian():
    """Lambert's law: I(0) = P / pi."""
    ring = replace(read_ring(RING), half_angle_deg=60.0, radiant_intensity_w_sr=1 / math.pi)
    assert lobe_power_w(ring) == pytest.approx(1.0)


def test_newton_s_law_of_cooling():
    assert rise_k(10.0, 10.0, 1000.0) == pytest.approx(10.0)  # 10 W through 0.1 m2 at 10 W/m2/K


def test_a_lumped_body_reaches_63_percent_after_one_time_constant():
    assert minutes_until(1 - math.exp(-1), 1.0, k_w=6.0, j_k=100.0) == pytest.approx(10.0)
    assert minutes_until(2.0, 1.0, k_w=6.0, j_k=100.0) is None


def test_the_time_to_the_trip_agrees_with_stepping_through_the_heat_balance():
    """C dT/dt = Q - T / R, in steps of 0.1 s; C of 37.327 cm2 x 0.4 cm of aluminium at 2.422 J/K/cm3 is 36.16 J/K."""
    heat, rise, seconds = example().heat, 0.0, 0.0
    while rise < TRIP_C - 24.0:
        rise += 0.1 * (heat.led_heat_w - rise / heat.plate_k_w) / 36.16
        seconds += 0.1
    assert heat.minutes_to_trip_at_full == pytest.approx(seconds / 60, rel=2e-3)


def test_light_and_heat_account_for_all_power():
    heat = example().heat
    assert heat.led_light_w + heat.led_heat_w + heat.driver_heat_w == pytest.approx(7.0)


@pytest.mark.parametrize(
    ("numbers", "words"),
    [
        ({"board__busy_w": 7.0}, "board and ring take 3.02 A of the power bank's 3 A"),
        ({"bank__energy_wh": 120}, "the power bank holds 120 Wh, over 100 Wh"),
        ({"led__junction_to_sink_k_w": 80}, "LEDs reach 95 °C inside, over 85 °C"),
        ({"plate__outer_mm": 60}, "the light trips at 60 °C"),
        ({"board__busy_w": 12.0}, "in use the body reaches 55 °C, over 48 °C"),
    ],
)
def test_each_limit_has_its_warning(numbers, words):
    warnings = example(**numbers).warnings
    assert any(words in sentence for sentence in warnings), warnings
    assert f"warning: {warnings[0]}" in text(example(**numbers))


def test_nothing_is_warned_of_where_every_limit_is_kept():
    parts = changed_parts(board__busy_w=3.0, led__current_ma=250)
    assert budget(parts, read_ring(RING), from_toml(Assumed, ASSUMED), TRIP_C).warnings == ()


@pytest.mark.parametrize(
    ("numbers", "words"),
    [
        ({"led__forward_v": 2.6}, "two LEDs in a string do not fit the supply: 5 V"),
        ({"led__current_ma": 100}, "an LED gives more light than it takes power: 0.22 W"),
    ],
)
def test_what_cannot_be_is_refused(numbers, words):
    with pytest.raises(Refused, match=words):
        example(**numbers)


def test_the_command_says_the_same_to_people_and_to_machines(tmp_path):
    command = [sys.executable, "-m", "hardware.budget"]
    printed = json.loads(subprocess.run([*command, "--json"], capture_output=True, text=True, check=True).stdout)
    read = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    assert f"{printed['power']['battery_life_h']:5.1f} h in use" in read
    assert f"{printed['heat']['plate_full_c']:.1f} °C lit without end" in read
    assert [line for line in read.splitlines() if line.startswith("warning: ")] == [
        f"warning: {w}" for w in printed["warnings"]
    ]
    wrong = tmp_path / "budget.toml"
    wrong.write_text(ASSUMED.read_text().replace("lit_share = 0.3", "lit_share = 3"))
    refused = subprocess.run([*command, "--assume", str(wrong)], capture_output=True, text=True, check=False)
    assert (refused.returncode, refused.stdout) == (2, "")
    assert refused.stderr == f"{wrong}: use.lit_share must be from 0 to 1: 3.0; choose a value inside\n"
