"""A recording put under another case afterwards: its code changes inside, and in its name, which carries it out of the house."""

from datetime import UTC, datetime
from pathlib import Path

from device.removed_recordings import kept_folder, unused
from shared.errors import Refused
from shared.recording import Recording
from shared.recording.durable import replace_file, sync_folder
from shared.recording.layout import as_json
from shared.recording.names import checked_case, checked_name
from shared.recording.planes import read_document

BEFORE = "case_before"
"""Key in the recording's ``extra``: the codes it had, each with the moment it lost it."""


def change_case(folder: Path, name: str, case: str, now: datetime) -> str:
    """Put recording ``name`` of ``folder`` under ``case``; returns the name it has then. Nothing changes for the same case.

    The code inside is replaced in one step, and then the folder is renamed: cut off between the two, it has the new case under the
    old name. Raises Refused for a bad code, or where there is no such recording.
    """
    path, case = kept_folder(folder, name), checked_case(case)
    with Recording.open(path, planes=False) as recording:  # one that cannot be read is not rewritten
        before = recording.case
    if before == case:
        return name
    new = unused(folder, renamed(name, before, case))
    root = path / "zarr.json"
    document = read_document(root)
    about = document["attributes"]["tapetum"]
    about["case"] = case
    extra = about.get("extra") or {}
    earlier = extra.get(BEFORE, [])
    moment = now.astimezone(UTC).isoformat(timespec="seconds")
    about["extra"] = {
        **extra,
        BEFORE: [*(earlier if isinstance(earlier, list) else []), {"case": before, "until": moment}],
    }
    for scales in document["attributes"].get("ome", {}).get("multiscales", []):
        scales["name"] = new
    try:
        replace_file(root, as_json(document))
        path.rename(folder / f"{new}.zarr")
        sync_folder(folder)
    except OSError as error:
        raise Refused(f"{path}: cannot be changed ({error.strerror})", remedy="check the device's storage") from None
    return new


def renamed(name: str, before: str, case: str) -> str:
    """``name`` with the old code behind the moment replaced by the new one; a name of another form stays, its code unknown."""
    moment, _, code = name.partition("_")
    if not before:
        return checked_name(f"{name}_{case}")
    if code != before and not (code.startswith(f"{before}-") and code[len(before) + 1 :].isdigit()):
        return name
    return checked_name(f"{moment}_{case}" if case else moment)
