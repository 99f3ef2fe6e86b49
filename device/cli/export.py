"""``tapetum export``."""

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from device.cli import answer, json_option
from device.cli.share_done import ShareDone
from device.drives import first_removable
from device.export.delivery import ExportCancelled
from device.export.job import FORMATS, Exported, export
from shared.errors import Refused
from shared.recording import Recording


@click.command("export")
@click.argument("recording", type=click.Path(path_type=Path))
@click.argument("target", type=click.Path(path_type=Path), required=False)
@click.option("--as", "formats", default=",".join(FORMATS), show_default=True, help="Formats, with commas between.")
@json_option
def command(recording: Path, target: Path | None, formats: str, as_json: bool) -> None:
    """Write RECORDING into a new folder in TARGET (default: the first mounted removable drive).

    csv: curves, figures, frames and events. tiff: raw 16-bit counts. mp4: the picture as shown, with its legend. png: stills.
    maps: inflow maps as pictures with a legend, 32-bit TIFF and a summary.
    manifest.json lists every file with its SHA-256. All is written and checked, or nothing is left. With --json, lines such as
    {"done": 0.42} on standard error tell how far it is.
    """
    folder = target or first_removable()
    if folder is None:
        raise Refused("no removable drive is mounted", remedy="plug one in, or name a folder")
    chosen = [one.strip() for one in formats.split(",") if one.strip()]
    try:
        with _stopped_by_sigterm(), Recording.open(recording) as opened:
            done = export(opened, folder, chosen, on_progress=ShareDone(as_json))
    except ExportCancelled:
        raise Refused("the export was stopped", recording.name, "nothing was left behind; start it again") from None
    result = {
        "folder": str(done.folder),
        "files": [{"name": file.name, "bytes": file.size_bytes, "sha256": file.sha256} for file in done.files],
        "notes": list(done.notes),
    }
    answer(result, _readable(done), as_json)


@contextmanager
def _stopped_by_sigterm() -> Iterator[None]:
    """Asked to end, remove what was half written first."""

    def stop(number: int, frame: object) -> None:
        raise ExportCancelled

    before = signal.signal(signal.SIGTERM, stop)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def _readable(done: Exported) -> str:
    lines = [f"{done.folder}:"]
    lines += [f"  {file.name:28} {file.size_bytes / 1e6:10.2f} MB" for file in done.files]
    return "\n".join([*lines, *(f"note: {note}" for note in done.notes)])
