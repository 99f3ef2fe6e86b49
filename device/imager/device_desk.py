"""What the page may ask about the device itself: clock, storage, trips, settings. Only what is really known."""

import resource
import shutil
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any, Literal

from device.imager.parts import Parts
from device.imager.trip_log import TripLog
from device.settings_table import setting_lines
from shared.commissioning import calibration_folder, case_check
from shared.errors import Refused
from shared.protocol.device_facts import DeviceFacts, GetDevice

_TIMESYNC = Path("run/systemd/timesync")
"""Holds a file ``synchronized`` once systemd-timesyncd has heard the network's time (systemd-timesyncd.service(8))."""
_FORM = "%Y-%m-%dT%H:%M:%SZ"


@dataclass
class DeviceDesk:
    """``vendor`` and ``override`` are the settings' files; ``root`` is where /run is looked for."""

    parts: Parts
    trips: TripLog
    vendor: Path
    override: Path | None
    root: Path = Path("/")
    now: Callable[[], datetime] = lambda: datetime.now(UTC)
    started_at: datetime = field(init=False)

    def __post_init__(self) -> None:
        self.started_at = self.now()

    @property
    def acts(self) -> Mapping[type, Callable[[Any], object]]:
        """What is answered here."""
        return {GetDevice: lambda _: self.facts()}

    def facts(self) -> DeviceFacts:
        """As it stands."""
        parts, now = self.parts, self.now()
        camera = parts.source.camera.description
        storage = shutil.disk_usage(_existing(parts.data_folder))
        free_mb, asked_hz = storage.free / 1e6, 1e6 / camera.frame_interval_us
        minutes_left = case_check.minutes_left(
            free_mb, parts.settings.recording.least_free_mb, camera.width, camera.height, asked_hz
        )
        clock = case_check.clock(now, self._moments())
        return DeviceFacts(
            now=now.strftime(_FORM),
            clock_set=clock_set(self.root),
            clock_words="" if clock.passed else clock.words,
            version=version("tapetum"),
            started_at=self.started_at.strftime(_FORM),
            memory_mb=round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, 1),
            storage_total_mb=round(storage.total / 1e6, 1),
            storage_free_mb=round(free_mb, 1),
            minutes_left=round(minutes_left, 1),
            asked_rate_hz=round(asked_hz, 3),
            trips=self.trips.newest_first,
            settings_file="" if self.override is None else str(self.override),
            settings=setting_lines(parts.settings, self.vendor),
        )

    def _moments(self) -> list[datetime]:
        """When things happened that the clock cannot be before."""
        try:
            listed = calibration_folder.listed(self.parts.data_folder, self.parts.source.sensor)
        except Refused:
            listed = []
        found = [figures.made_at for _, figures in listed[:1]]
        found += [trip.at for trip in self.trips.newest_first[:1]]
        return [datetime.fromisoformat(one) for one in found]


def clock_set(root: Path) -> Literal["by network", "not since the start", "not known"]:
    """Whether the network's time was heard since the start, as far as this can be known."""
    folder = root / _TIMESYNC
    if not folder.is_dir():
        return "not known"
    return "by network" if (folder / "synchronized").exists() else "not since the start"


def _existing(folder: Path) -> Path:
    return next(one for one in (folder, *folder.parents) if one.exists())
