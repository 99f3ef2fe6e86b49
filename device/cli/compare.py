"""``tapetum compare``."""

from collections.abc import Iterable
from pathlib import Path
from typing import Any

import click

from device.cli import answer, json_option
from device.cli.asked_regions import asked_regions, region_options
from device.cli.figure_words import COLUMN, FIGURES, TITLE, figure_words
from device.cli.number import Number
from device.cli.share_done import ShareDone
from device.comparison import Comparison, compare
from device.comparison_files import write_comparison
from device.second_run import RegionChange
from shared.recording import Recording


@click.command("compare")
@click.argument("first", type=click.Path(path_type=Path))
@click.argument("second", type=click.Path(path_type=Path))
@region_options
@click.option(
    "--minutes-between",
    metavar="MIN",
    type=Number(0, 100_000),
    help="From injection to injection. Default: what the recordings know.",
)
@click.option(
    "--same-view", is_flag=True, help="Take a pixel for the same place in both instead of matching the views."
)
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
    looked for in SECOND, as far as a third nearer or farther away. What was left of the first injection's dye is taken out of the
    second run. Pictures show both runs' ends in one view and their difference, with no colour where it is uncertain. Relative
    intensity is no measure of viability: the decision stays with licensed practice.
    """
    between_s = None if minutes_between is None else 60.0 * minutes_between
    with Recording.open(first) as before, Recording.open(second) as after:
        marks = asked_regions(before, reference, regions, review)
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
        yield f"{name[:TITLE]:{TITLE}}" + "".join(
            f"{title:>{COLUMN}}" for title in ("first", "second", "difference", "ratio")
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
    compared = change.compared()
    for key, title in FIGURES.items():
        yield f"{title:{TITLE}}" + "".join(f"{figure_words(cell):>{COLUMN}}" for cell in compared[key])


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
