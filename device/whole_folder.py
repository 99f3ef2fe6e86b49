"""Folders that appear whole or not at all."""

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from shared.errors import Refused
from shared.recording.durable import sync_folder


@contextmanager
def appearing_whole(out: Path) -> Iterator[Path]:
    """Path to write a recording to; it becomes ``out`` when the block ends well, and else nothing is left behind.

    Raises Refused where ``out`` exists already or the disk does not take it.
    """
    if out.exists():
        raise Refused("there is already something of this name", str(out), "choose another name, or remove it first")
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=f".{out.name}.", dir=out.parent) as beside:
            # a folder of its own, so that the recording already bears its final name inside
            growing = Path(beside) / out.name
            yield growing
            growing.rename(out)
        sync_folder(out.parent)
    except OSError as error:
        raise Refused(
            f"{out}: cannot be written ({error.strerror})", remedy="free some space or choose another folder"
        ) from None
