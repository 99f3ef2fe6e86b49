"""``python -m hardware.budget``: power, battery life and heat of the handheld as its parts list describes it.

Estimates from data sheets and memory, to choose parts by, before anything is built; measured temperatures take their place
(ASSEMBLY.md, step 12). Formulas: lobe power 2 pi I / (m + 1); Newton's law of cooling, rise = Q / (h A); a lumped body warms as
1 - exp(-t / (R C)) (Incropera and DeWitt, chapter 5; from memory).
"""

import argparse
import json
import math
import sys
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Annotated

from hardware.parts import HERE, RING, Part, read_parts
from shared.bounded import Within, from_toml
from shared.errors import Refused
from shared.optics.ring import Ring, read_ring
from shared.settings import LightSettings

ASSUMED = HERE / "budget.toml"
ALUMINIUM_J_K_CM3 = 2.70 * 0.897
"""Density times specific heat of pure aluminium at 25 degrees (handbook value, from memory)."""
LEDS_A_STRING = 2

Share = Annotated[float, Within(0, 1)]
Positive = Annotated[float, Within(1e-3, 1e6)]


@dataclass(frozen=True)
class Use:
    """How the handheld spends its day."""

    ambient_c: Annotated[float, Within(0, 45)]
    lit_share: Share
    level: Share
    board_busy_share: Share


@dataclass(frozen=True)
class Air:
    """Heat that leaves a square metre for each kelvin."""

    free_w_m2_k: Positive
    in_sleeve_w_m2_k: Positive


@dataclass(frozen=True)
class Surface:
    """What air reaches."""

    body_cm2: Positive
    plate_share: Share


@dataclass(frozen=True)
class Limits:
    """Above these a warning is given."""

    held_surface_c: Positive
    applied_surface_c: Positive
    led_junction_c: Positive
    bank_wh: Positive


@dataclass(frozen=True)
class Assumed:
    """The whole of ``budget.toml``."""

    use: Use
    air: Air
    surface: Surface
    limits: Limits


@dataclass(frozen=True)
class Power:
    """Currents at their highest, both from one 5 V output, so that the ring never has supply alone; mean power in use; hours."""

    board_a: float
    ring_a: float
    supply_a: float
    sensors_3v3_ma: float
    highest_w: float
    mean_w: float
    battery_life_h: float
    battery_life_always_lit_h: float


@dataclass(frozen=True)
class Heat:
    """Where power ends as heat, and how warm that makes things. ``full`` is full level without a pause, ``use`` the mean in use."""

    led_electrical_w: float
    led_light_w: float
    led_heat_w: float
    driver_heat_w: float
    plate_k_w: float
    plate_full_c: float
    plate_use_c: float
    plate_use_in_sleeve_c: float
    junction_full_c: float
    minutes_to_trip_at_full: float | None
    body_use_c: float
    body_use_in_sleeve_c: float


@dataclass(frozen=True)
class Budget:
    """All of it, with a sentence for each limit that is exceeded."""

    power: Power
    heat: Heat
    warnings: tuple[str, ...]


def lobe_power_w(ring: Ring) -> float:
    """Power of one LED at full level: the lobe I cos^m over the half space, 2 pi I / (m + 1)."""
    return 2 * math.pi * ring.full_intensity_w_sr / (ring.lobe_exponent + 1)


def rise_k(heat_w: float, w_m2_k: float, area_cm2: float) -> float:
    """Newton's law of cooling: how much warmer than the air a surface stays."""
    return heat_w / (w_m2_k * area_cm2 * 1e-4)


def minutes_until(rise: float, final_rise: float, k_w: float, j_k: float) -> float | None:
    """When a lumped body has warmed by ``rise``; None where it never does."""
    if final_rise <= rise:
        return None
    return -k_w * j_k * math.log(1 - rise / final_rise) / 60


def power_budget(parts: Mapping[str, Part], use: Use, driver_w: float) -> Power:
    """Currents, mean power and battery life. ``driver_w`` is what the ring takes at full level."""
    board, bank = parts["board"], parts["power bank"]
    volts = bank.number("output_v")
    busy_w = board.number("busy_w") + parts["camera"].number("power_w")
    resting_w = board.number("idle_w") + parts["camera"].number("power_w")
    mean_board_w = use.board_busy_share * busy_w + (1 - use.board_busy_share) * resting_w
    mean_w = mean_board_w + driver_w * use.lit_share * use.level
    stored_wh = bank.number("energy_wh") * bank.number("efficiency")
    most_w = busy_w + parts["USB stick"].number("power_w")
    return Power(
        board_a=most_w / volts,
        ring_a=driver_w / volts,
        supply_a=(most_w + driver_w) / volts,
        sensors_3v3_ma=sum(part.quantity * part.parameters.get("supply_ma", 0.0) for part in parts.values()),
        highest_w=most_w + driver_w,
        mean_w=mean_w,
        battery_life_h=stored_wh / mean_w,
        battery_life_always_lit_h=stored_wh / (busy_w + driver_w),
    )


def heat_budget(parts: Mapping[str, Part], ring: Ring, assumed: Assumed, driver_w: float, trip_c: float) -> Heat:
    """Heat of LEDs and driver, and estimates of temperature. ``trip_c`` is where the light guard trips."""
    led, plate, fins = parts["LED on board"], parts["heat sink"], parts["finned heat sink"]
    use, air = assumed.use, assumed.air
    electrical_w = ring.leds * led.number("forward_v") * led.number("current_ma") / 1000
    light_w = ring.leds * lobe_power_w(ring)
    heat_w, duty = electrical_w - light_w, use.lit_share * use.level
    face_cm2 = math.pi / 4 * (plate.number("outer_mm") ** 2 - plate.number("inner_mm") ** 2) / 100
    area_cm2 = 2 * face_cm2 * assumed.surface.plate_share + fins.quantity * fins.number("area_cm2")
    full_k = rise_k(heat_w, air.free_w_m2_k, area_cm2)
    j_k = face_cm2 * plate.number("thickness_mm") / 10 * ALUMINIUM_J_K_CM3
    body_w = parts["board"].number("busy_w") + parts["camera"].number("power_w") + (driver_w - electrical_w) * duty
    body_cm2 = assumed.surface.body_cm2
    plate_full_c = use.ambient_c + full_k
    return Heat(
        led_electrical_w=electrical_w,
        led_light_w=light_w,
        led_heat_w=heat_w,
        driver_heat_w=driver_w - electrical_w,
        plate_k_w=full_k / heat_w,
        plate_full_c=plate_full_c,
        plate_use_c=use.ambient_c + full_k * duty,
        plate_use_in_sleeve_c=use.ambient_c + rise_k(heat_w * duty, air.in_sleeve_w_m2_k, area_cm2),
        junction_full_c=plate_full_c + heat_w / ring.leds * led.number("junction_to_sink_k_w"),
        minutes_to_trip_at_full=minutes_until(trip_c - use.ambient_c, full_k, full_k / heat_w, j_k),
        body_use_c=use.ambient_c + rise_k(body_w, air.free_w_m2_k, body_cm2),
        body_use_in_sleeve_c=use.ambient_c + rise_k(body_w, air.in_sleeve_w_m2_k, body_cm2),
    )


def budget(parts: Mapping[str, Part], ring: Ring, assumed: Assumed, trip_c: float) -> Budget:
    """The whole budget; raises Refused where the LEDs would give more light than they take power."""
    led, volts = parts["LED on board"], parts["power bank"].number("output_v")
    # Strings of two at the supply's voltage, a linear sink in each: the whole voltage times each string's current.
    driver_w = ring.leds / LEDS_A_STRING * volts * led.number("current_ma") / 1000
    if LEDS_A_STRING * led.number("forward_v") >= volts:
        raise Refused("two LEDs in a string do not fit the supply", f"{volts:g} V", "choose LEDs of less forward_v")
    if lobe_power_w(ring) >= led.number("forward_v") * led.number("current_ma") / 1000:
        raise Refused(
            "an LED gives more light than it takes power",
            f"{lobe_power_w(ring):.2f} W",
            "correct ring.toml or parts.csv",
        )
    power = power_budget(parts, assumed.use, driver_w)
    heat = heat_budget(parts, ring, assumed, driver_w, trip_c)
    return Budget(power, heat, tuple(_warnings(parts, power, heat, assumed.limits, trip_c)))


def _warnings(parts: Mapping[str, Part], power: Power, heat: Heat, limits: Limits, trip_c: float) -> list[str]:
    bank, full = parts["power bank"], "lit without end at full level"
    held_c = limits.held_surface_c
    checks = [
        (power.supply_a, bank.number("output_a"), "board and ring take {0:.2f} A of the power bank's {1:g} A"),
        (bank.number("energy_wh"), limits.bank_wh, "the power bank holds {0:g} Wh, over {1:g} Wh"),
        (heat.junction_full_c, limits.led_junction_c, full + ", LEDs reach {0:.0f} °C inside, over {1:g} °C"),
        (heat.plate_full_c, trip_c, full + ", the ring reaches {0:.0f} °C; the light trips at {1:g} °C"),
        (
            heat.plate_use_in_sleeve_c,
            limits.applied_surface_c,
            "in use in a sleeve the ring reaches {0:.0f} °C, over {1:g} °C",
        ),
        (heat.body_use_c, held_c, "in use the body reaches {0:.0f} °C, over {1:g} °C"),
        (heat.body_use_in_sleeve_c, held_c, "in use in a sleeve the body reaches {0:.0f} °C, over {1:g} °C"),
    ]
    return [words.format(value, limit) for value, limit, words in checks if value > limit]


def text(result: Budget) -> str:
    """For people."""
    power, heat = result.power, result.heat
    trip = heat.minutes_to_trip_at_full
    lines = [
        f"board, 5 V          {power.board_a:5.2f} A at most",
        f"ring, 5 V           {power.ring_a:5.2f} A at full level",
        f"both, from one bank {power.supply_a:5.2f} A at most",
        f"sensors, 3.3 V      {power.sensors_3v3_ma:5.1f} mA, from the board",
        f"power               {power.mean_w:5.1f} W in use, {power.highest_w:.1f} W at most",
        f"battery             {power.battery_life_h:5.1f} h in use, {power.battery_life_always_lit_h:.1f} h lit without a pause",
        f"LEDs                {heat.led_electrical_w:5.2f} W in, {heat.led_light_w:.2f} W light, {heat.led_heat_w:.2f} W heat",
        f"driver              {heat.driver_heat_w:5.2f} W heat at full level",
        f"ring                {heat.plate_use_c:5.1f} °C in use ({heat.plate_use_in_sleeve_c:.1f} °C in a sleeve), "
        f"{heat.plate_full_c:.1f} °C lit without end at full level, {heat.plate_k_w:.1f} K/W",
        f"LED junctions       {heat.junction_full_c:5.1f} °C lit without end at full level",
        "trips for heat      "
        + ("never" if trip is None else f"{trip:5.1f} min after a cold start at full level without a pause"),
        f"body                {heat.body_use_c:5.1f} °C in use, {heat.body_use_in_sleeve_c:.1f} °C in a sleeve",
    ]
    lines += [f"warning: {sentence}" for sentence in result.warnings]
    return "\n".join([*lines, "Estimates before anything was built: measure currents and temperatures on the bench."])


def main(arguments: list[str] | None = None) -> int:
    """Print the budget; exit 0 also with warnings, 2 where a file is wrong."""
    parser = argparse.ArgumentParser(prog="python -m hardware.budget", description="Power and heat of the handheld.")
    parser.add_argument("--json", action="store_true", help="for machines")
    parser.add_argument("--ring", type=Path, default=RING, help="ring description (default: hardware/ring.toml)")
    parser.add_argument("--assume", type=Path, default=ASSUMED, help="assumptions (default: hardware/budget.toml)")
    options = parser.parse_args(arguments)
    try:
        trip_c = LightSettings().led_temperature.highest_c
        result = budget(read_parts(), read_ring(options.ring), from_toml(Assumed, options.assume), trip_c)
    except Refused as refused:
        print(refused.line, file=sys.stderr)
        return 2
    print(json.dumps(asdict(result)) if options.json else text(result))
    return 0


if __name__ == "__main__":
    sys.exit(main())
