"""Files on a stick or in a folder: all of them, whole and checked, or none.

Everything is written into a hidden folder beside the final one, flushed, read again from the disk and compared, and only then given
its name. FAT has no atomic rename across a cut of power, so the manifest inside says what belongs to the folder and its SHA-256.
"""

import hashlib
import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from shared.errors import Refused
from shared.recording.durable import sync_folder

FAT_LARGEST_BYTES = (1 << 32) - 1
_BLOCK = 1 << 20
_RESERVE_BYTES = 8_000_000


class ExportCancelled(Exception):
    """Someone asked to stop; nothing was left behind."""


@dataclass(frozen=True)
class Delivered:
    """A file in the folder: name, bytes and SHA-256 in hexadecimal."""

    name: str
    size_bytes: int
    sha256: str


@dataclass(eq=False)
class Delivery:
    """A folder being filled; ``make`` returns the path for a new file, ``check`` flushes and hashes what was made."""

    folder: Path
    final: Path
    largest_file_bytes: int | None
    files: list[Delivered] = field(default_factory=list)

    def make(self, name: str) -> Path:
        """Where to write the file that shall be called ``name``."""
        return self.folder / name

    def check(self, name: str, on_progress: Callable[[float], None] = lambda _: None) -> Delivered:
        """Flush the file, read it again from the disk and compare; raises Refused when the medium gives back something else."""
        path = self.folder / name
        with path.open("rb") as file:
            written = _digest(file.fileno(), lambda done: on_progress(0.5 * done))
            os.fsync(file.fileno())
            os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
            again = _digest(file.fileno(), lambda done: on_progress(0.5 + 0.5 * done))
        if written != again:
            raise Refused(f"{self.final / name}: the drive gives back something else", remedy="use another drive")
        made = Delivered(name, path.stat().st_size, again)
        self.files.append(made)
        return made


@contextmanager
def delivery(
    target: Path, name: str, needed_bytes: int, free: Callable[[Path], int], filesystem: str = ""
) -> Iterator[Delivery]:
    """Fill ``target``/``name`` (or name-2, ... where that exists) in the ``with``.

    Leaving it by an exception removes everything. Raises Refused where the target is no folder, cannot be written to, has less
    room than ``needed_bytes``, or fills up on the way.
    """
    if not target.is_dir():
        raise Refused("no such folder to export to", str(target), "plug in a drive, or name a folder that exists")
    free_bytes = free(target)
    if free_bytes < needed_bytes + _RESERVE_BYTES:
        raise Refused(
            f"no room on {target}: {free_bytes / 1e6:.0f} MB free, about {needed_bytes / 1e6:.0f} MB needed",
            remedy="free some space, or choose fewer formats",
        )
    final = _unused(target, name)
    growing = target / f".{final.name}.part"
    try:
        shutil.rmtree(growing, ignore_errors=True)
        growing.mkdir()
        filling = Delivery(growing, final, FAT_LARGEST_BYTES if filesystem in ("vfat", "msdos") else None)
        yield filling
        sync_folder(growing)
        growing.rename(final)
        sync_folder(target)
    except OSError as error:
        shutil.rmtree(growing, ignore_errors=True)
        raise Refused(
            f"{final}: cannot be written ({error.strerror or 'the drive is full, or was pulled out'})",
            remedy="free some space, or use another drive",
        ) from error
    except BaseException:
        shutil.rmtree(growing, ignore_errors=True)
        raise


def _unused(target: Path, name: str) -> Path:
    names = [name, *(f"{name}-{number}" for number in range(2, 1000))]
    return next(target / one for one in names if not (target / one).exists())


def _digest(handle: int, on_progress: Callable[[float], None]) -> str:
    digest = hashlib.sha256()
    size = max(os.fstat(handle).st_size, 1)
    offset = 0
    while block := os.pread(handle, _BLOCK, offset):
        digest.update(block)
        offset += len(block)
        on_progress(offset / size)
    return digest.hexdigest()
