"""``tapetum record``."""

from pathlib import Path
from typing import Literal, cast

import click

from device.cli import answer, json_option
from device.cli.running import asked, connected, run_dir_option
from shared.bounded import plain
from shared.protocol.control import Record


@click.command()
@click.argument("act", type=click.Choice(["start", "stop"]))
@click.option("--case", default="", metavar="CODE", help="Case code, never a name.")
@run_dir_option
@json_option
def command(act: str, case: str, run_dir: Path, as_json: bool) -> None:
    """Start or stop a recording on the running device."""
    with connected(run_dir) as client:
        state = asked(client, Record(cast(Literal["start", "stop"], act), case))
    recording = state.recording
    answer(plain(recording), f"recording {recording.name or 'stopped'}, {recording.frames} frames", as_json)
