"""``tapetum dye``."""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import click

from device.cli import answer, json_option
from device.dye_log import CaseRecord, DyeLog
from shared.dye_record import (
    CAUTIONS,
    CONCENTRATION_MG_PER_ML,
    HALF_LIVES_MIN,
    LIMIT_MG_PER_KG,
    checked_dose_mg,
    remainder,
    volume_ml,
)
from shared.errors import Refused
from shared.settings import RecordingSettings


@click.command("dye")
@click.argument("case", required=False)
@click.option("--give", "dose_mg", metavar="MG", type=float, help="Enter dye that was given, in milligrams.")
@click.option("--minutes-ago", metavar="MIN", type=float, help="When --give went in, before now. Default: just now.")
@click.option("--body-mass-kg", "mass_kg", metavar="KG", type=float, help="Enter the body mass, for the label's limit.")
@click.option("--undo", "undone", metavar="LINE", type=int, help="Take an entry back by a further one.")
@click.option(
    "--undo-mark", "mark", metavar="AT", help="Take back an injection that a recording marks AT, as --json lists it."
)
@click.option(
    "--data",
    "folder",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Folder of recordings. Default: the device's.",
)
@json_option
def command(
    case: str | None,
    dose_mg: float | None,
    minutes_ago: float | None,
    mass_kg: float | None,
    undone: int | None,
    mark: str | None,
    folder: Path | None,
    as_json: bool,
) -> None:
    """Dye given to CASE so far beside the label's limit, the time since each injection, and about how much is left.

    Counts what is entered here and what recordings of the case have marked with a dose. Entries are only added; a wrong one is
    taken back by a further one. Without CASE: every case with a record. Advice to look up, never a prescription.
    """
    folder = RecordingSettings().directory if folder is None else folder
    if not folder.is_dir():
        raise Refused("no such folder of recordings", str(folder), "name the folder that holds NAME.zarr with --data")
    log, now = DyeLog(folder), datetime.now(UTC)
    if case is None:
        if any(one is not None for one in (dose_mg, minutes_ago, mass_kg, undone, mark)):
            raise Refused("an entry needs a case code", remedy="name the case: tapetum dye CASE ...")
        _list(log, now, as_json)
        return
    if minutes_ago is not None and (dose_mg is None or not 0 <= minutes_ago <= 7 * 24 * 60):
        raise Refused("--minutes-ago is 0 to 10080 and belongs to --give", minutes_ago, "say when the dose went in")
    if sum((undone is not None, mark is not None, dose_mg is not None or mass_kg is not None)) > 1:
        # the second of them might be refused when the first is written already, and then be entered twice
        raise Refused("what is entered and what is taken back are two commands", case, "do one after the other")
    if dose_mg is not None:
        checked_dose_mg(dose_mg)  # before anything is written
    if mass_kg is not None:
        log.weigh(case, mass_kg, now)
    if dose_mg is not None:
        log.give(case, dose_mg, now - timedelta(minutes=minutes_ago or 0.0), now)
    if undone is not None:
        log.undo(case, undone, now)
    if mark is not None:
        log.undo_mark(case, mark, now)
    record = log.read(case)
    answer(_as_json(record, now), "\n".join(_readable(record, now)), as_json)


def _list(log: DyeLog, now: datetime, as_json: bool) -> None:
    records = [log.read(case) for case in log.cases()]
    lines = [_sum_line(record, now) for record in records] or ["no case has a dye record"]
    answer({"cases": [_as_json(record, now) for record in records]}, "\n".join(lines), as_json)


def _as_json(record: CaseRecord, now: datetime) -> dict[str, Any]:
    so_far = record.so_far(now)
    injections = []
    for dose in record.doses:
        left, given = remainder(dose.injection, now), dose.injection.dose_mg
        injections.append(
            {
                "at": dose.injection.at.astimezone(UTC).isoformat(timespec="seconds"),
                "since_min": round(left.since_min, 2),
                "dose_mg": given,
                "volume_ml": None if given is None else round(volume_ml(given), 3),
                "left_percent": [round(100 * left.least_share, 3), round(100 * left.most_share, 3)],
                "source": dose.source,
                "line": dose.line,
            }
        )
    return {
        "case": record.case,
        "body_mass_kg": record.body_mass_kg,
        "given_mg": round(so_far.given_mg, 4),
        "limit_mg": so_far.limit_mg,
        "limit_mg_per_kg": LIMIT_MG_PER_KG,
        "share_of_limit": None if so_far.share_of_limit is None else round(so_far.share_of_limit, 4),
        "volume_ml": round(volume_ml(so_far.given_mg), 3),
        "concentration_mg_per_ml": CONCENTRATION_MG_PER_ML,
        "left_mg": [round(so_far.left_least_mg, 4), round(so_far.left_most_mg, 4)],
        "half_lives_min": list(HALF_LIVES_MIN),
        "injections": injections,
        "warnings": [*so_far.remarks(), *record.problems],
        "cautions": list(CAUTIONS),
    }


def _readable(record: CaseRecord, now: datetime) -> Iterable[str]:
    yield _sum_line(record, now)
    for dose in record.doses:
        left, given = remainder(dose.injection, now), dose.injection.dose_mg
        amount = "dose not entered" if given is None else f"{given:g} mg"
        since = f"{left.since_min:7.1f} min ago" if left.since_min >= 0 else "ahead of the clock"
        yield (
            f"  {since}  {amount:17} {_range(100 * left.least_share, 100 * left.most_share)} % left   ({dose.source})"
        )
    so_far = record.so_far(now)
    if so_far.given_mg:
        shortest, longest = HALF_LIVES_MIN[0], HALF_LIVES_MIN[-1]
        amount = _range(so_far.left_least_mg, so_far.left_most_mg)
        yield f"  about {amount} mg left in the blood, for half-lives of {shortest:g} to {longest:g} min"
    yield from (f"warning: {line}" for line in (*so_far.remarks(), *record.problems))
    yield from (f"caution: {line}" for line in CAUTIONS)


def _sum_line(record: CaseRecord, now: datetime) -> str:
    so_far = record.so_far(now)
    least = "at least " if so_far.without_dose else ""
    line = f"{record.case}: {least}{so_far.given_mg:g} mg of dye given"
    line += f" ({volume_ml(so_far.given_mg):g} mL at {CONCENTRATION_MG_PER_ML:g} mg/mL)"
    if so_far.limit_mg is None or so_far.share_of_limit is None:
        return f"{line}; label's limit {LIMIT_MG_PER_KG:g} mg/kg, body mass not entered"
    share = 100 * so_far.share_of_limit
    return f"{line}; {least}{share:.0f} % of the label's limit of {so_far.limit_mg:g} mg for {record.body_mass_kg:g} kg"


def _range(least: float, most: float) -> str:
    return f"{least:.1f}" if f"{least:.1f}" == f"{most:.1f}" else f"{least:.1f} to {most:.1f}"
