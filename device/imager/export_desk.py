"""What may be asked of the imager about exports: how large, where to, begin, stop."""

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, get_args

from device.drives import Drive, first_removable, removable_drives
from device.export.sizes import needed_bytes
from device.imager.exports import Exports
from device.removed_recordings import kept_folder
from shared.errors import Refused
from shared.protocol import exporting as e
from shared.recording import Recording


class ExportDesk:
    """``running`` names the recording that is being made, which no export may read."""

    def __init__(
        self,
        exports: Exports,
        folder: Path,
        running: Callable[[], str | None],
        drives: Callable[[], Sequence[Drive]] = removable_drives,
        first_drive: Callable[[], Path | None] = first_removable,
    ) -> None:
        self._exports, self._folder, self._running = exports, folder, running
        self._drives, self._first_drive = drives, first_drive

    def acts(self) -> Mapping[type, Callable[[Any], object]]:
        """What answers which request."""
        return {
            e.StartExport: self._start,
            e.StopExport: lambda _: self._exports.stop(),
            e.EstimateExport: self._estimate,
        }

    def _start(self, asked: e.StartExport) -> e.ExportJob:
        names = (asked.recording, *asked.after_it)
        if self._running() in names:
            raise Refused("it is being recorded", self._running(), "stop the recording, and wait until it is written")
        target = Path(asked.target) if asked.target is not None else self._first_drive()
        if target is None:
            raise Refused("no removable drive is mounted", remedy="plug one in and try again")
        return self._exports.start(names, asked.formats, target, asked.language)

    def _estimate(self, asked: e.EstimateExport) -> e.ExportEstimate:
        sizes = dict.fromkeys(get_args(e.ExportFormat), 0)
        missing = []
        for name in dict.fromkeys(asked.recordings):
            try:
                if name == self._running():
                    raise Refused("it is being recorded", name)
                with Recording.open(kept_folder(self._folder, name), planes=False) as recording:
                    for one in sizes:
                        sizes[one] += needed_bytes(recording, one)
            except Refused:
                missing.append(name)
        drives = tuple(
            e.ExportDrive(
                str(one.path),
                one.filesystem,
                one.read_only,
                None if one.free_bytes is None else round(one.free_bytes / 1e6, 1),
            )
            for one in self._drives()
        )
        found = tuple(e.FormatSize(one, round(size / 1e6, 3)) for one, size in sizes.items())
        return e.ExportEstimate(found, drives, tuple(missing))
