"""Recordings that were removed, and can be put back while there is room for them.

A removed recording is moved, in one step, into a hidden folder beside the others, under MOMENT~NAME.zarr. It stays there until the
recorder needs its room: while less is free than ``until_free_bytes``, the longest removed is deleted for good.
"""

import os
import shutil
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from shared.errors import Refused
from shared.protocol.records import RemovedRecording
from shared.recording.durable import sync_folder
from shared.recording.names import checked_name

FOLDER = ".removed"
_MOMENT = "%Y-%m-%dT%H-%M-%S.%fZ"


def kept_folder(folder: Path, name: str) -> Path:
    """Where the recording of that name is; raises Refused where there is none."""
    path = folder / f"{checked_name(name)}.zarr"
    if path.is_symlink() or not path.is_dir():
        raise Refused("no such recording", name, "choose one from the list")
    return path


class RemovedRecordings:
    """Those of the recordings' ``folder``."""

    def __init__(self, folder: Path, until_free_bytes: float, free: Callable[[Path], int]) -> None:
        self._kept, self._folder = folder, folder / FOLDER
        self.until_free_bytes = until_free_bytes
        self._free = free

    def all(self) -> tuple[RemovedRecording, ...]:
        """The newest removed first."""
        paths = sorted(self._folder.glob("*~*.zarr"), reverse=True)
        return tuple(one for path in paths if (one := _described(path)) is not None)

    def remove(self, name: str, now: datetime) -> RemovedRecording:
        """Take a recording away from the others; raises Refused where there is none, or the disk fails."""
        source = kept_folder(self._kept, name)
        target = self._folder / f"{now.astimezone(UTC).strftime(_MOMENT)}~{name}.zarr"
        _move(source, target)
        found = _described(target)
        assert found is not None
        return found

    def restore(self, removed: str) -> str:
        """Put it back, and return its name, which is another where a newer recording took it. Raises Refused where it is gone."""
        source = self._folder / f"{removed}.zarr"
        _, _, name = removed.partition("~")
        if "/" in removed or not name or not source.is_dir():
            raise Refused("it is not there any more", removed, "what was removed stays only while there is room")
        name = unused(self._kept, checked_name(name))
        _move(source, self._kept / f"{name}.zarr")
        return name

    def is_short(self) -> bool:
        """Whether room is short and something removed takes it, or waits to be swept away."""
        if any(self._folder.glob(".*.going")):
            return True
        return self._free(self._kept) < self.until_free_bytes and any(self._folder.glob("*~*.zarr"))

    def make_room(self) -> tuple[str, ...]:
        """Delete the longest removed for good while too little is free; returns the names of what went. Takes its time."""
        self.sweep()
        went = []
        while self._free(self._kept) < self.until_free_bytes and (left := self.all()):
            self._let_go(left[-1])
            self.sweep()
            went.append(left[-1].recording)
        return tuple(went)

    def forget(self) -> None:
        """None of them can be put back any more; what they take is given back by ``sweep``."""
        for one in self.all():
            self._let_go(one)

    def sweep(self) -> None:
        """Delete what was let go, also by a process that was killed over it. Takes its time."""
        for path in self._folder.glob(".*.going"):
            try:
                shutil.rmtree(path)
            except OSError as error:
                raise Refused(
                    f"{path}: cannot be deleted ({error.strerror})", remedy="check the device's storage"
                ) from None

    def _let_go(self, one: RemovedRecording) -> None:
        path = self._folder / f"{one.removed}.zarr"
        try:
            path.rename(path.with_name(f".{path.name}.going"))  # in one step out of the list, then piece by piece
        except OSError as error:
            raise Refused(
                f"{path}: cannot be deleted ({error.strerror})", remedy="check the device's storage"
            ) from None


def unused(folder: Path, name: str) -> str:
    """``name``, or with a number behind it where that is taken."""
    names = (name, *(f"{name}-{number}" for number in range(2, 1000)))
    return next(one for one in names if not (folder / f"{one}.zarr").exists())


def _move(source: Path, target: Path) -> None:
    try:
        target.parent.mkdir(exist_ok=True)
        source.rename(target)
        sync_folder(target.parent)
        sync_folder(source.parent)
    except OSError as error:
        raise Refused(f"{source}: cannot be moved ({error.strerror})", remedy="check the device's storage") from None


def _described(path: Path) -> RemovedRecording | None:
    """None where it is no removed recording, or goes just now."""
    moment, _, name = path.name.removesuffix(".zarr").partition("~")
    try:
        at = datetime.strptime(moment, _MOMENT).replace(tzinfo=UTC)
        size = size_bytes(path)
    except (ValueError, OSError):
        return None
    return RemovedRecording(
        path.name.removesuffix(".zarr"), name, at.isoformat(timespec="seconds"), round(size / 1e6, 3)
    )


def size_bytes(folder: Path) -> int:
    """What a folder's files take; raises OSError where it goes meanwhile."""
    return sum((Path(inside) / name).stat().st_size for inside, _, names in os.walk(folder) for name in names)
