"""Checks before a case as they are kept: one dated JSON file each, in the device's data folder."""

import json
from pathlib import Path

from shared.bounded import filled, plain
from shared.data_folder import unwritable, writable
from shared.errors import Refused
from shared.protocol.commissioning import CheckRecord
from shared.recording.durable import replace_file

FOLDER = "checks"
SHOWN = 12


def keep(data_folder: Path, record: CheckRecord) -> Path:
    """Write a check; returns its path. Raises Refused where it cannot be written."""
    path = writable(data_folder / FOLDER) / f"{record.made_at.replace(':', '-')}.json"
    try:
        replace_file(path, json.dumps(plain(record), indent=1).encode())
    except OSError as error:
        raise unwritable(path, error.strerror) from None
    return path


def newest(data_folder: Path, most: int = SHOWN) -> tuple[CheckRecord, ...]:
    """The newest first; one that cannot be read is left out, for it says nothing about the device."""
    found: list[CheckRecord] = []
    for path in sorted((data_folder / FOLDER).glob("*.json"), reverse=True)[:most]:
        try:
            found.append(filled(CheckRecord, json.loads(path.read_bytes()), str(path)))
        except (OSError, ValueError, Refused):
            continue
    return tuple(found)
