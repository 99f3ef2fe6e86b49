"""What the page asks of the imager about the device itself, beyond the state. Standard library only."""

from dataclasses import dataclass
from typing import Annotated, Literal

from shared.bounded import Length


@dataclass(frozen=True)
class GetDevice:
    """Answered by DeviceFacts."""


@dataclass(frozen=True)
class Trip:
    """One trip of the light: when, UTC in ISO 8601, and the guard's reason. ``tried`` says that a check provoked it."""

    at: Annotated[str, Length(20, 20)]
    reason: Annotated[str, Length(0, 400)]
    tried: bool = False


@dataclass(frozen=True)
class SettingLine:
    """One key of the settings. ``changed``: it differs from the vendor's; ``about`` is the vendor's own comment."""

    section: str
    key: str
    value: str
    changed: bool
    about: str


@dataclass(frozen=True)
class DeviceFacts:
    """What is really known. ``now`` is the device's clock, UTC in ISO 8601; ``clock_words`` says what is wrong with it.

    ``clock_set`` says whether the network's time was ever heard since the start. ``settings_file`` is what may be laid over the
    vendor's settings, empty where none was named. ``trips`` are the newest first.
    """

    now: str
    clock_set: Literal["by network", "not since the start", "not known"]
    clock_words: str
    version: str
    started_at: str
    memory_mb: float
    storage_total_mb: float
    storage_free_mb: float
    minutes_left: float
    asked_rate_hz: float
    trips: tuple[Trip, ...]
    settings_file: str
    settings: tuple[SettingLine, ...]


REQUESTS: tuple[type, ...] = (GetDevice,)
ANSWERS: tuple[type, ...] = (DeviceFacts,)
