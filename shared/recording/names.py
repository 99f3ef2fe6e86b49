"""Names of recordings and case codes, fit for every file system a stick may carry (FAT and exFAT among them)."""

import re
from datetime import UTC, datetime

from shared.errors import Refused

_CASE = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9._-]{0,38}[A-Za-z0-9_-])?")
_RESERVED = {"CON", "PRN", "AUX", "NUL", *(f"{port}{n}" for port in ("COM", "LPT") for n in range(1, 10))}


def checked_case(case: str) -> str:
    """The case code itself, "" for none; raises Refused for what is no code (a person's name with a space, say)."""
    if case == "":
        return case
    if not _CASE.fullmatch(case) or case.split(".")[0].upper() in _RESERVED:
        raise Refused(
            "not a case code",
            case,
            "use 1 to 40 letters A-Z, digits, dots, dashes or underscores, a code and never a patient's name",
        )
    return case


def recording_name(started_at: datetime, case: str = "") -> str:
    """Name without ending, as 2026-11-25T13-20-11Z_H-7; the moment in UTC, without the colons that FAT does not take."""
    moment = started_at.astimezone(UTC).strftime("%Y-%m-%dT%H-%M-%SZ")
    return f"{moment}_{checked_case(case)}" if case else moment


def checked_name(name: str) -> str:
    """A recording's name, free of anything that leads out of its folder; raises Refused."""
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._-]{0,118}[A-Za-z0-9_-]|[A-Za-z0-9]", name):
        raise Refused("not a name of a recording", name, "use letters, digits, dots, dashes and underscores")
    return name
