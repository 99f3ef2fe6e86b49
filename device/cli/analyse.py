"""``tapetum analyse``."""

from collections.abc import Iterable, Sequence
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from device.analysed_curves import analysed_curves
from device.analysis import Analysis, analyse, require_usable_reference
from device.cli import answer, json_option
from device.cli.asked_regions import asked_regions, region_options
from device.cli.figure_words import COLUMN, FIGURES, TITLE, figure_words
from device.cli.number import Number
from device.cli.share_done import ShareDone
from device.followed_hand import HandMotion
from device.frames_ahead import nothing_beside
from device.recorded_maps import RecordedMaps
from shared.compare.change import estimates
from shared.inflow.map_values import BASELINE
from shared.inflow.maps_store import FOLDER, write_maps
from shared.inflow.parameters import InflowParameters
from shared.recording import Recording
from shared.recording.afterwards import write_analysis

_REGIONS_ABREAST = 4


@click.command("analyse")
@click.argument("recording", type=click.Path(path_type=Path))
@region_options
@click.option("--no-motion", is_flag=True, help="Leave regions where they were marked instead of following the tissue.")
@click.option(
    "--seen-at",
    "seen_at_s",
    metavar="SECONDS",
    type=Number(min=0),
    default=0.0,
    help="When the picture showed the tissue where R has it, after the first frame. Default: at the beginning.",
)
@click.option("--maps", "with_maps", is_flag=True, help="Also make the inflow maps and keep them in RECORDING.")
@click.option("--curves", "with_curves", is_flag=True, help="With --json: the curves too, in percent, frame by frame.")
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
    intensity is no measure of viability: the decision stays with licensed practice. With --review the result is kept in RECORDING,
    for the page.
    """
    with ExitStack() as stack:
        opened = stack.enter_context(Recording.open(recording))
        marks = asked_regions(opened, reference, regions, review)
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
        kept: dict[str, Any] = {}
        if maps is not None:
            made = maps.made(result.reference, result.hand)
            write_maps(recording, made)
            told = (note for note in made.about.notes_on(BASELINE) if note not in result.warnings)
            kept = {"maps": str(recording / FOLDER), "maps_notes": list(told)}
        found = result.as_json() | ({"curves": analysed_curves(result)} if with_curves or review else {})
        if review:
            write_analysis(recording, found | _kept_besides(result))
        lines = [readable(result)]
        if kept:
            lines += [*(f"maps: {note}" for note in kept["maps_notes"]), f"maps: {kept['maps']}"]
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
    yield " " * TITLE + "".join(f"{name[: COLUMN - 2]:>{COLUMN}}" for name, _ in regions)
    known = [estimates(figures) for _, figures in regions]
    for key, title in FIGURES.items():
        if key in known[0]:  # what only comparisons have is not
            yield f"{title:{TITLE}}" + "".join(f"{figure_words(each[key]):>{COLUMN}}" for each in known)
    ratios = ("-" if each.signal_to_noise is None else f"{each.signal_to_noise:.0f}" for _, each in regions)
    yield f"{'signal to noise of one frame':{TITLE}}" + "".join(f"{ratio:>{COLUMN}}" for ratio in ratios)


def _motion(hand: HandMotion) -> str:
    moved = (
        f"{hand.largest_shift_px:.0f} pixels" if hand.largest_shift_mm is None else f"{hand.largest_shift_mm:.1f} mm"
    )
    followed = f"regions follow the tissue: placed in {100 * hand.locked_share:.1f} % of the frames"
    return f"{followed}, moved by up to {moved}, turned by up to {hand.largest_rotation_deg:.1f} degrees"
