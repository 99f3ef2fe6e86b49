"""``tapetum compare``."""

import math
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import click

from device.cli import answer, json_option
from device.cli.share_done import ShareDone
from device.comparison import Comparison, compare
from device.comparison_files import write_comparison
from device.review_marks import ReviewMarks
from device.second_run import RegionChange
from shared.compare.change import difference, ratio
from shared.errors import Refused
from shared.inflow.parameters import Estimate
from shared.recording import Recording

_TITLE, _COLUMN = 37, 20
_ROWS = (
    ("peak, %", "peak_relative_percent"),
    ("at the reference's peak, %", "relative_percent_at_reference_peak"),
    ("over the last tenth, %", "relative_percent_at_end"),
    ("arrival, s", "arrival_s"),
    ("through a tenth of its peak, s", "tenth_of_peak_s"),
    ("peak, s", "peak_s"),
    ("from arrival to half of its peak, s", "half_rise_s"),
    ("from arrival to its peak, s", "time_to_peak_s"),
    ("half rise over time to peak", "half_rise_over_time_to_peak"),
    ("steepest rise, %/s", "ingress_slope_percent_per_s"),
    ("mean rise, 10 to 90 %, %/s", "mean_ingress_slope_percent_per_s"),
    ("washout half-life, s", "washout_half_life_s"),
    ("area, % s", "area_percent_s"),
    ("baseline, counts/ms", "baseline_counts_per_ms"),
)


@click.command("compare")
@click.argument("first", type=click.Path(path_type=Path))
@click.argument("second", type=click.Path(path_type=Path))
@click.option("--reference", metavar="R", help="Healthy tissue that counts as 100 %. Default: the one marked in FIRST.")
@click.option("--region", "regions", metavar="R", multiple=True, help="Region to compare; may be repeated.")
@click.option(
    "--minutes-between",
    metavar="MIN",
    type=click.FloatRange(0, 100_000),
    help="From injection to injection. Default: what the recordings know.",
)
@click.option(
    "--same-view", is_flag=True, help="Take a pixel for the same place in both instead of matching the views."
)
@click.option("--review", is_flag=True, help="Take reference and regions from the review of FIRST.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Also write pictures, a table and the result into DIR.",
)
@json_option
def command(
    first: Path,
    second: Path,
    reference: str | None,
    regions: tuple[str, ...],
    minutes_between: float | None,
    same_view: bool,
    review: bool,
    out: Path | None,
    as_json: bool,
) -> None:
    """What differs between FIRST and SECOND, two recordings of the same view, the earlier one first.

    R is name:x,y,width,height or name:polygon:x1,y1,x2,y2,... in pixels of FIRST, or a region marked in it; the same tissue is
    looked for in SECOND. What was left of the first injection's dye is taken out of the second run. Pictures show both runs' ends
    in one view and their difference, with no colour where it is uncertain. Relative intensity is no measure of viability: the
    decision stays with licensed practice.
    """
    if review and (reference is not None or regions):
        raise Refused("--review brings its own reference and regions", remedy="leave out --reference and --region")
    between_s = None if minutes_between is None else 60.0 * minutes_between
    with Recording.open(first) as before, Recording.open(second) as after:
        marks = ReviewMarks.of(before) if review else ReviewMarks(reference, regions)
        result = compare(
            before, after, marks.reference, marks.regions, between_s, same_view, ShareDone(as_json), marks.seen_at
        )
        if out is not None:
            write_comparison(result, out)
        answer(result.as_json(), "\n".join(_readable(result)), as_json)


def _readable(result: Comparison) -> Iterable[str]:
    yield f"{result.first.name}, then {result.second.name}" + _between(result)
    yield _alignment(result)
    yield f"reference {result.reference}: its own peak is 100 % in each run; ± one standard uncertainty"
    for name, change in result.regions.items():
        yield ""
        yield f"{name[:_TITLE]:{_TITLE}}" + "".join(
            f"{title:>{_COLUMN}}" for title in ("first", "second", "difference", "ratio")
        )
        yield from _table(change)
        yield _remainder(change)
        first, second = change.first.figures.flags, change.second.figures.flags
        yield from (f"  first: {flag}" for flag in first)
        yield from (f"  second: {flag}" for flag in second)
    yield ""
    yield from (f"warning: {line}" for line in result.warnings)
    yield from (f"caution: {line}" for line in result.cautions)


def _table(change: RegionChange) -> Iterable[str]:
    first, second = change.first.estimates(), change.second.estimates()
    for title, key in _ROWS:
        one, other = first[key], second[key]
        cells = (one, other, difference(one, other), ratio(one, other))
        yield f"{title:{_TITLE}}" + "".join(f"{_cell(cell):>{_COLUMN}}" for cell in cells)


def _between(result: Comparison) -> str:
    if result.between_s is None:
        return "; time between them not known"
    return f", {result.between_s / 60:.1f} minutes later (from {result.between_from})"


def _alignment(result: Comparison) -> str:
    found = result.aligned
    if found is None:
        return "views not matched"
    scale = result.first.camera.mm_per_px
    shift_px = result.shift.shift_px
    moved = f"{shift_px:.1f} pixels" if scale is None else f"{shift_px * scale:.1f} mm"
    return (
        f"second view moved by {moved}, turned by {result.shift.rotation_deg:.1f} degrees, {result.shift.magnification:.3f} times "
        f"as large; confidence {found.pose.confidence:.2f}, {found.agreeing} of {found.tried} pairs of pictures agree"
    )


def _remainder(change: RegionChange) -> str:
    known = change.left_percent
    parts = [
        f"{title} {_quoted(known[key])}"
        for title, key in (
            ("taken out", "left_percent"),
            ("predicted", "predicted_percent"),
            ("seen", "observed_percent"),
        )
        if known[key] is not None
    ]
    interval = known["predicted_95_percent"]
    if interval is not None:
        parts.append(f"prediction's 95 % interval {interval[0]:.1f} to {interval[1]:.1f}")
    figures = f": {', '.join(parts)} % of the reference's peak, at the injection" if parts else ""
    return f"  left-over dye by {change.remainder.method}{figures}"


def _quoted(known: Any) -> str:
    return f"{known['value']:.1f} ± {known['u']:.1f}"


def _cell(figure: Estimate) -> str:
    """Value and uncertainty to the uncertainty's second digit, three decimals at most; a dash where it cannot be known."""
    if figure.value is None or figure.u is None:
        return "-"
    decimals = 2 if figure.u <= 0 else min(max(1 - math.floor(math.log10(figure.u)), 0), 3)
    return f"{figure.value:.{decimals}f} ± {figure.u:.{decimals}f}"
