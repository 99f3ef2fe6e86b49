"""``tapetum analyse``."""

from pathlib import Path

import click

from device.analysis import Analysis, analyse
from device.cli import answer, json_option
from shared.inflow.parameters import Estimate, InflowParameters
from shared.recording import Recording


@click.command("analyse")
@click.argument("recording", type=click.Path(path_type=Path))
@click.option(
    "--reference", metavar="R", help="Healthy tissue that counts as 100 %. Default: the one marked while recording."
)
@click.option("--region", "regions", metavar="R", multiple=True, help="Region to measure; may be repeated.")
@json_option
def command(recording: Path, reference: str | None, regions: tuple[str, ...], as_json: bool) -> None:
    """Inflow curves of RECORDING: relative peak, arrival, rise and washout of each region, with standard uncertainties.

    R is name:x,y,width,height or name:polygon:x1,y1,x2,y2,... in pixels, or the name of a region marked while recording. Relative
    intensity is no measure of viability: the decision stays with licensed practice.
    """
    with Recording.open(recording) as opened:
        result = analyse(opened, reference, regions)
        answer(result.as_json(), readable(result), as_json)


def readable(result: Analysis) -> str:
    """The figures as a table for people, uncertainties behind a plus-minus sign."""
    recording = result.recording
    since = "the injection" if result.injected_at_s is not None else "the first frame"
    lines = [
        f"{recording.name}: {recording.frames} frames, {recording.duration_s:.1f} s, {recording.gaps} missing",
        f"relative to {result.reference}; times since {since}; ± one standard uncertainty",
        "",
        f"{'region':16}{'peak %':>15}{'at ref. peak %':>16}{'arrival s':>15}{'to peak s':>15}{'half rise s':>15}"
        f"{'slope %/s':>15}{'half-life s':>15}  flags",
    ]
    lines += [_row(name, figures) for name, figures in result.parameters.items()]
    lines += ["", *(f"warning: {line}" for line in result.warnings)]
    lines.append("Relative intensity, not viability; not a certified medical device.")
    return "\n".join(lines)


def _row(name: str, figures: InflowParameters) -> str:
    cells = (
        _cell(figures.peak_relative_percent, 15),
        _cell(figures.relative_percent_at_reference_peak, 16),
        _cell(figures.arrival_s, 15),
        _cell(figures.time_to_peak_s, 15),
        _cell(figures.half_rise_s, 15),
        _cell(figures.ingress_slope_percent_per_s, 15),
        _cell(figures.washout_half_life_s, 15),
    )
    return f"{name:16}{''.join(cells)}  {', '.join(figures.flags)}".rstrip()


def _cell(estimate: Estimate, width: int) -> str:
    if estimate.value is None or estimate.u is None:
        return f"{'-':>{width}}"
    return f"{estimate.value:.2f} ± {estimate.u:.2g}".rjust(width)
