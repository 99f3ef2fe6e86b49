"""Removable drives that are mounted now: what an export may be written to.

Read from the kernel alone, /proc/self/mountinfo (proc_pid_mountinfo(5)) and sysfs, under a root that tests replace. Mounting and
safe removal are not done here.
"""

import os
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

_MOUNTED_UNDER = ("/media", "/run/media", "/mnt")
_ESCAPED = re.compile(rb"\\([0-7]{3})")


@dataclass(frozen=True)
class Mount:
    """One line of mountinfo. ``device`` is MAJOR:MINOR; ``read_only`` whether the mount or its file system is."""

    device: str
    path: Path
    filesystem: str
    source: str
    read_only: bool


@dataclass(frozen=True)
class Drive:
    """A removable drive's file system. ``free_bytes`` is None where the drive no longer answers."""

    path: Path
    filesystem: str
    source: str
    read_only: bool
    free_bytes: int | None


def removable_drives(root: Path = Path("/"), free_bytes: Callable[[Path], int] | None = None) -> list[Drive]:
    """Removable drives mounted under /media, /run/media or /mnt, in the order in which they were mounted.

    Paths are as the system knows them, without ``root``.
    """
    measure = free_bytes or _free_bytes
    return [
        Drive(
            mount.path, mount.filesystem, mount.source, mount.read_only, _free_if_answering(mount.path, root, measure)
        )
        for mount in mounts((root / "proc/self/mountinfo").read_bytes())
        if _is_for_drives(mount.path) and is_removable(mount.device, root)
    ]


def first_removable(root: Path = Path("/"), free_bytes: Callable[[Path], int] | None = None) -> Path | None:
    """Where the first removable drive that can be written to is mounted; None: there is none."""
    for drive in removable_drives(root, free_bytes):
        if not drive.read_only and drive.free_bytes:
            return drive.path
    return None


def mounts(mountinfo: bytes) -> list[Mount]:
    """Mounts that can be seen, in order; of two at the same path, the later. Lines of another form are left out."""
    seen: dict[Path, Mount] = {}
    for line in mountinfo.split(b"\n"):
        mount = _mount(line)
        if mount is not None:
            seen.pop(mount.path, None)
            seen[mount.path] = mount
    return list(seen.values())


def is_removable(device: str, root: Path = Path("/")) -> bool:
    """Whether the block device MAJOR:MINOR is of removable kind, or hangs on USB (disks in USB cases say 0 to "removable")."""
    link = root / "sys/dev/block" / device
    if not link.exists():
        return False
    folder = link.resolve()
    disk = folder.parent if (folder / "partition").exists() else folder
    flag = disk / "removable"
    if flag.exists() and flag.read_text().strip() == "1":
        return True
    return any(re.fullmatch(r"usb\d+", part) for part in disk.parts)


def _mount(line: bytes) -> Mount | None:
    """ID PARENT MAJOR:MINOR ROOT PATH OPTIONS [OPTIONAL...] - FILESYSTEM SOURCE SUPER-OPTIONS."""
    before, separator, after = line.partition(b" - ")
    fields, tail = before.split(b" "), after.split(b" ")
    if not separator or len(fields) < 6 or len(tail) < 3:
        return None
    options = fields[5].split(b",") + tail[2].split(b",")
    return Mount(
        device=os.fsdecode(fields[2]),
        path=Path(_unescaped(fields[4])),
        filesystem=os.fsdecode(tail[0]),
        source=_unescaped(tail[1]),
        read_only=b"ro" in options,
    )


def _unescaped(field: bytes) -> str:
    """The kernel writes space, tab, line end, backslash and number sign as backslash and three octal digits."""
    return os.fsdecode(_ESCAPED.sub(lambda match: bytes([int(match[1], 8) & 0xFF]), field))


def _is_for_drives(path: Path) -> bool:
    return any(path.is_relative_to(place) for place in _MOUNTED_UNDER)


def _free_if_answering(path: Path, root: Path, measure: Callable[[Path], int]) -> int | None:
    try:
        return measure(root / path.relative_to("/"))
    except OSError:  # pulled out without being unmounted: the mount stays, and every access fails
        return None


def _free_bytes(path: Path) -> int:
    figures = os.statvfs(path)
    return figures.f_bavail * figures.f_frsize
