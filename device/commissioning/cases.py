"""Case codes under which commissioning records; nothing of a patient is in such a recording."""

import re
from pathlib import Path

LIGHT_OUTPUT = "light-output"
CHECK = "check"
_STEP = rf"(?:{LIGHT_OUTPUT}|{CHECK}|[a-z]+-step)"
_NAME = re.compile(rf"[^_]+_{_STEP}(?:-\d+)?")


def case_of(step: str) -> str:
    """Case code of a step."""
    return f"{step}-step"


def is_step(case: str) -> bool:
    """Whether commissioning records under this code."""
    return re.fullmatch(_STEP, case) is not None


def of_a_patient(recording: Path | None) -> Path | None:
    """The recording's folder itself, None for one of commissioning: what is worked out for patients is not for targets."""
    return None if recording is None or _NAME.fullmatch(recording.stem) else recording
