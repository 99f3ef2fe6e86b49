"""``tapetum analyse``."""

import math
from collections.abc import Iterable, Sequence
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from device.analysed_curves import analysed_curves
from device.analysis import Analysis, analyse, require_usable_reference
from device.cli import answer, json_option
from device.cli.share_done import ShareDone
from device.followed_hand import HandMotion
from device.frames_ahead import nothing_beside
from device.recorded_maps import RecordedMaps
from device.review_marks import ReviewMarks
from shared.errors import Refused
from shared.inflow.maps_store import FOLDER, write_maps
from shared.inflow.parameters import Estimate, InflowParameters
from shared.recording import Recording
from shared.recording.afterwards import write_analysis

_TITLE, _COLUMN, _REGIONS_ABREAST = 37, 20, 4
_ROWS = (
    ("peak, %", "peak_relative_percent"),
    ("at the reference's peak, %", "relative_percent_at_reference_peak"),
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
    ("signal to noise of one frame", "signal_to_noise"),
)


@click.command("analyse")
@click.argument("recording", type=click.Path(path_type=Path))
@click.option(
    "--reference", metavar="R", help="Healthy tissue that counts as 100 %. Default: the one marked while recording."
)
@click.option("--region", "regions", metavar="R", multiple=True, help="Region to measure; may be repeated.")
@click.option("--no-motion", is_flag=True, help="Leave regions where they were marked instead of following the tissue.")
@click.option(
    "--seen-at",
    "seen_at_s",
    metavar="SECONDS",
    type=click.FloatRange(min=0),
    default=0.0,
    help="When the picture showed the tissue where R has it, after the first frame. Default: at the beginning.",
)
@click.option("--maps", "with_maps", is_flag=True, help="Also make the inflow maps and keep them in RECORDING.")
@click.option("--curves", "with_curves", is_flag=True, help="With --json: the curves too, in percent, frame by frame.")
@click.option(
    "--review",
    is_flag=True,
    help="Take reference and regions from the recording's review, and keep the result in RECORDING for the page.",
)
@json_option
def command(
    recording: Path,
    reference: str | None,
    regions: tuple[str, ...],
    no_motion: bool,
    seen_at_s: float,
    with_maps: bool,
    with_curves: bool,
    review: bool,
    as_json: bool,
) -> None:
    """Inflow curves of RECORDING: relative peak, arrival, rise and washout of each region, with standard uncertainties.

    R is name:x,y,width,height or name:polygon:x1,y1,x2,y2,... in pixels, or the name of a region marked while recording. Relative
    intensity is no measure of viability: the decision stays with licensed practice.
    """
    if review and (reference is not None or regions):
        raise Refused("--review brings its own reference and regions", remedy="leave out --reference and --region")
    with ExitStack() as stack:
        opened = stack.enter_context(Recording.open(recording))
        marks = ReviewMarks.of(opened) if review else ReviewMarks(reference, regions)
        maps = stack.enter_context(RecordedMaps(opened, not no_motion)) if with_maps else None
        result = analyse(
            opened,
            marks.reference,
            marks.regions,
            ShareDone(as_json),
            follow_motion=not no_motion,
            seen_at_s=seen_at_s,
            seen_at=marks.seen_at,
            beside=nothing_beside if maps is None else maps.take,
        )
        if not review:
            require_usable_reference(result)
        if maps is not None:
            write_maps(recording, maps.made(result.reference, result.hand))
        found = result.as_json() | ({"curves": analysed_curves(result)} if with_curves or review else {})
        if review:
            write_analysis(recording, found | _kept_besides(result))
        kept = {"maps": str(recording / FOLDER)} if with_maps else {}
        lines = [readable(result), *(f"maps: {path}" for path in kept.values())]
        answer(found | kept, "\n".join(lines), as_json)


def _kept_besides(result: Analysis) -> dict[str, Any]:
    """What the page wants of an analysis beyond figures and curves: when it was made, and where the tissue was in each frame."""
    track = None if result.hand is None else result.hand.kept()
    return {
        "made_at": datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
        "track": None if track is None else track.as_values(),
    }


def readable(result: Analysis) -> str:
    """The figures as a table for people: a line a figure, a column a region, uncertainties behind a plus-minus sign."""
    recording = result.recording
    since = "the injection" if result.injected_at_s is not None else "the first frame"
    regions = list(result.parameters.items())
    lines = [
        f"{recording.name}: {recording.frames} frames, {recording.duration_s:.1f} s, {recording.gaps} missing",
        f"reference {result.reference}: its peak is 100 %; times since {since}; ± one standard uncertainty",
        "",
    ]
    for first in range(0, len(regions), _REGIONS_ABREAST):
        lines += [*_table(regions[first : first + _REGIONS_ABREAST]), ""]
    for name, figures in regions:
        lines += [f"{name}: {flag}" for flag in figures.flags]
    lines += [f"warning: {line}" for line in result.warnings]
    lines += [] if result.motion is None else [_motion(result.motion)]
    lines.append("Relative intensity, not viability; not a certified medical device.")
    return "\n".join(lines)


def _table(regions: Sequence[tuple[str, InflowParameters]]) -> Iterable[str]:
    yield " " * _TITLE + "".join(f"{name[: _COLUMN - 2]:>{_COLUMN}}" for name, _ in regions)
    for title, key in _ROWS:
        yield f"{title:{_TITLE}}" + "".join(f"{_cell(getattr(figures, key)):>{_COLUMN}}" for _, figures in regions)


def _motion(hand: HandMotion) -> str:
    moved = (
        f"{hand.largest_shift_px:.0f} pixels" if hand.largest_shift_mm is None else f"{hand.largest_shift_mm:.1f} mm"
    )
    followed = f"regions follow the tissue: placed in {100 * hand.locked_share:.1f} % of the frames"
    return f"{followed}, moved by up to {moved}, turned by up to {hand.largest_rotation_deg:.1f} degrees"


def _cell(figure: Estimate | float | None) -> str:
    """Value and uncertainty to the uncertainty's second digit, three decimals at most; a dash where it cannot be known."""
    if isinstance(figure, float):
        return f"{figure:.0f}"
    if figure is None or figure.value is None or figure.u is None:
        return "-"
    decimals = 2 if figure.u <= 0 else min(max(1 - math.floor(math.log10(figure.u)), 0), 3)
    return f"{figure.value:.{decimals}f} ± {figure.u:.{decimals}f}"
