"""``tapetum light-limits``."""

import math
from pathlib import Path

import click

import device
from device.cli import answer, json_option
from device.light_limits import CAUTIONS, AtDistance, LightLimits, light_limits
from shared.optics.exposure_limits import EYE_INFRARED, RETINA, RETINA_BRIEF, SKIN
from shared.optics.ring import Ring, read_ring
from shared.optics.ring_hazards import binding_limit, risk_group
from shared.settings import EXAMPLE_RING, load

_VENDOR = Path(device.__path__[0]) / "settings.toml"


@click.command("light-limits")
@click.argument("ring", metavar="[RING.toml]", type=click.Path(path_type=Path), required=False)
@click.option(
    "--distance-mm",
    "distances_mm",
    metavar="D",
    multiple=True,
    type=float,
    help="Distance from ring to eye or skin; may be repeated.",
)
@click.option("--plot", metavar="F", type=click.Path(path_type=Path), help="Draw it against distance, as .png or .svg.")
@click.option("--settings", metavar="F", type=click.Path(path_type=Path), help="Settings laid over the vendor's.")
@json_option
def command(
    ring: Path | None, distances_mm: tuple[float, ...], plot: Path | None, settings: Path | None, as_json: bool
) -> None:
    """Exposure limits for eye and skin in front of a ring of LEDs: shortest distance, allowed time, and the limit that binds.

    RING.toml has a table [ring]: leds radius_mm wavelength_nm fwhm_nm half_angle_deg emitter_diameter_mm level, and either
    radiant_intensity_w_sr (each LED, on its axis, full level) or radiant_power_w. Without it the ring of the device's settings
    counts. An estimate after IEC 62471 and ICNIRP: goggles, local rules and a competent person decide.
    """
    result = light_limits(_ring(ring, settings), distances_mm)
    if plot is not None:
        from device.light_plot import draw

        draw(result, plot)
    answer(
        {**result.as_json(), **({"plot": str(plot)} if plot else {})},
        readable(result) + (f"\ndrawn: {plot}" if plot else ""),
        as_json,
    )


def _ring(file: Path | None, settings: Path | None) -> Ring:
    return read_ring(file) if file is not None else load(_VENDOR, settings).ring


def readable(result: LightLimits) -> str:
    """The figures as a table for people."""
    ring = result.ring
    lines = [
        f"{ring.leds} LEDs of {ring.full_intensity_w_sr:.3g} W/sr at {ring.wavelength_nm:g} nm ({ring.fwhm_nm:g} nm wide) on a "
        f"circle of {ring.radius_mm:g} mm radius,",
        f"half angle {ring.half_angle_deg:g}°, emitters of {ring.emitter_diameter_mm:g} mm, level {ring.level * 100:g} %",
        *(["These are the vendor's EXAMPLE figures, not your ring's."] if ring == EXAMPLE_RING else []),
        "",
        f"{'distance':>9}{'irradiance':>12}  {'of what may last without end':>26}{'allowed':>14}{'risk':>9}",
        f"{'mm':>9}{'W/m²':>12}{'infrared':>10}{'retina':>9}{'skin':>9}{'time':>14}{'group':>9}  nearest limit",
        *(_row(one) for one in result.at),
        "",
        f"Light need not end from {result.shortest_distance_mm:.2f} mm on.",
        *(f"{line[0].upper()}{line[1:]}." for line in result.warnings),
        *CAUTIONS,
    ]
    return "\n".join(lines)


def _row(one: AtDistance) -> str:
    retina = max(one.share(RETINA), one.share(RETINA_BRIEF))
    return (
        f"{one.distance_mm:9g}{one.hazards.irradiance_w_m2:12.4g}{one.share(EYE_INFRARED):10.0%}{retina:9.0%}{one.share(SKIN):9.0%}"
        f"{in_words(one.allowed_time_s):>14}{risk_group(one.hazards):>9}  {binding_limit(one.hazards).words}"
    )


def in_words(time_s: float) -> str:
    """A time that is never said longer than it is: whole seconds, or tenths under ten."""
    if math.isinf(time_s):
        return "no end"
    if time_s < 10:
        return f"{math.floor(time_s * 10) / 10:.1f} s"
    minutes, seconds = divmod(math.floor(time_s), 60)
    return f"{minutes} min {seconds:02d} s" if minutes else f"{seconds} s"
