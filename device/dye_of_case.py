"""The dye record of a case as the page shows it: the same figures as ``tapetum dye --json``."""

from datetime import UTC, datetime

from device.dye_log import CaseRecord, Dose
from shared.dye_record import CAUTIONS, CONCENTRATION_MG_PER_ML, HALF_LIVES_MIN, LIMIT_MG_PER_KG, remainder, volume_ml
from shared.protocol.records import DyeGiven, DyeOfCase


def dye_of_case(record: CaseRecord, now: datetime, unread: int = 0) -> DyeOfCase:
    """Sum, limit and remainder at ``now``; ``unread`` recordings of unknown case are not looked through yet."""
    so_far = record.so_far(now)
    waiting = (
        (f"{unread} recordings are still being looked through: dye marked in them is not counted yet",)
        if unread
        else ()
    )
    return DyeOfCase(
        case=record.case,
        given_mg=round(so_far.given_mg, 4),
        volume_ml=round(volume_ml(so_far.given_mg), 3),
        concentration_mg_per_ml=CONCENTRATION_MG_PER_ML,
        body_mass_kg=record.body_mass_kg,
        body_mass_line=record.body_mass_line,
        limit_mg_per_kg=LIMIT_MG_PER_KG,
        limit_mg=so_far.limit_mg,
        left_least_mg=round(so_far.left_least_mg, 4),
        left_most_mg=round(so_far.left_most_mg, 4),
        half_life_least_min=HALF_LIVES_MIN[0],
        half_life_most_min=HALF_LIVES_MIN[-1],
        without_dose=so_far.without_dose,
        injections=tuple(_given(dose, now) for dose in record.doses),
        warnings=(*waiting, *so_far.remarks(), *record.problems),
        cautions=CAUTIONS,
    )


def _given(dose: Dose, now: datetime) -> DyeGiven:
    left, given = remainder(dose.injection, now), dose.injection.dose_mg
    return DyeGiven(
        at=dose.injection.at.astimezone(UTC).isoformat(timespec="seconds"),
        since_min=round(left.since_min, 2),
        dose_mg=given,
        volume_ml=None if given is None else round(volume_ml(given), 3),
        left_least_percent=round(100 * left.least_share, 3),
        left_most_percent=round(100 * left.most_share, 3),
        source=dose.source,
        line=dose.line,
    )
