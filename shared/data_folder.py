"""Folders of the device's data: made where need be, and one line where nothing can be written."""

import errno
import os
from pathlib import Path

from shared.errors import Refused


def writable(folder: Path) -> Path:
    """The folder, made if need be; raises Refused where nothing can be written there."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise unwritable(folder, error.strerror) from None
    if not os.access(folder, os.W_OK):
        raise unwritable(folder, os.strerror(errno.EACCES))
    return folder


def unwritable(path: Path, why: str | None) -> Refused:
    """What is raised where ``path`` cannot be written."""
    remedy = "run it as the user the device runs as, and see that there is room"
    return Refused(f"{path}: cannot be written ({why})", remedy=remedy)
