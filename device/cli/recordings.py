"""``tapetum recordings``."""

from pathlib import Path

import click

from device.cli import answer, json_option
from device.recording_list import summaries
from shared.bounded import plain
from shared.errors import Refused
from shared.protocol.control import RecordingSummary
from shared.settings import RecordingSettings


@click.command("recordings")
@click.argument("folder", type=click.Path(path_type=Path), required=False)
@json_option
def command(folder: Path | None, as_json: bool) -> None:
    """List the recordings in FOLDER (default: where the device keeps them), newest first."""
    folder = RecordingSettings().directory if folder is None else folder
    if not folder.is_dir():
        raise Refused("no such folder of recordings", str(folder), "name the folder that holds NAME.zarr")
    found, problems = summaries(folder)
    result = {"folder": str(folder), "recordings": plain(found), "problems": list(problems)}
    answer(result, _readable(folder, found, problems), as_json)


def _readable(folder: Path, found: tuple[RecordingSummary, ...], problems: tuple[str, ...]) -> str:
    lines = [_line(one) for one in found] or [f"no recordings in {folder}"]
    return "\n".join([*lines, *(f"cannot be opened: {line}" for line in problems)])


def _line(one: RecordingSummary) -> str:
    state = "" if one.complete else ", cut off"
    lost = f", {one.gaps} missing" if one.gaps else ""
    return f"{one.name:48} {one.seconds:8.1f} s {one.frames:7} frames {one.size_mb:9.1f} MB{lost}{state}"
