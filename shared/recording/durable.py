"""Writing so that a cut of power leaves the old file or the new one, never half of one."""

import os
from collections.abc import Sequence
from pathlib import Path


def replace_file(path: Path, content: bytes, durable: bool = True) -> None:
    """Put ``content`` at ``path`` in one step: temporary file beside it, fsync, rename, fsync of the folder.

    Not ``durable`` leaves the flushing to the caller and so costs no wait for the disk.
    """
    temporary = path.with_name(f".{path.name}.new")
    handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o644)
    try:
        write_all(handle, (content,), 0)
        if durable:
            os.fsync(handle)
    finally:
        os.close(handle)
    temporary.replace(path)
    if durable:
        sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Make names created, renamed or removed in ``folder`` survive a cut of power."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def write_all(handle: int, parts: Sequence[bytes | memoryview], offset: int) -> int:
    """Write ``parts`` one after the other at ``offset`` and return how many bytes that was; raises OSError (ENOSPC) as it comes."""
    left = [memoryview(part).cast("B") for part in parts]
    total = sum(len(part) for part in left)
    done = 0
    while done < total:
        count = os.pwritev(handle, left, offset + done)
        done += count
        while left and count >= len(left[0]):
            count -= len(left.pop(0))
        if left and count:
            left[0] = left[0][count:]
    return total
