"""Addresses of Unix sockets in folders of any depth: the kernel takes 107 bytes, a temporary folder may have more."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

_LONGEST_BYTES = 107


@contextmanager
def reachable(path: Path) -> Iterator[str]:
    """An address for ``path`` that fits; the way through an open folder when the path itself does not.

    Raises OSError when the folder does not exist.
    """
    text = str(path)
    if len(os.fsencode(text)) <= _LONGEST_BYTES:
        yield text
        return
    folder = os.open(path.parent, os.O_PATH | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        yield f"/proc/self/fd/{folder}/{path.name}"
    finally:
        os.close(folder)
