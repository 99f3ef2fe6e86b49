"""``tapetum export``."""

import json
import signal
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from device.cli import answer, json_option
from device.cli.share_done import ShareDone
from device.drives import first_removable
from device.export.delivery import ExportCancelled
from device.export.job import FORMATS, Exported, checked_formats, export
from device.export.settled import settle
from shared.errors import Refused
from shared.papers.words import LANGUAGES, Words, words_in
from shared.protocol.languages import Language
from shared.recording import Recording

_SETTLED = (
    "all of it has reached the drive: it can be pulled out (it is not unmounted: a computer may offer to check it)"
)
_UNSETTLED = "the drive does not say that all has reached it: switch the device off before you pull it out"


@click.command("export")
@click.argument("recording", type=click.Path(path_type=Path))
@click.argument("target", type=click.Path(path_type=Path), required=False)
@click.option("--as", "formats", default=",".join(FORMATS), show_default=True, help="Formats, with commas between.")
@click.option(
    "--after-it",
    "others",
    metavar="REC",
    multiple=True,
    type=click.Path(path_type=Path),
    help="Write this one too, then.",
)
@click.option(
    "--language",
    type=click.Choice(LANGUAGES),
    default="en",
    show_default=True,
    help="Of legends, captions and cautions.",
)
@json_option
def command(
    recording: Path, target: Path | None, formats: str, others: tuple[Path, ...], language: Language, as_json: bool
) -> None:
    """Write RECORDING into a new folder in TARGET (default: the first mounted removable drive).

    csv: curves, figures, frames and events. tiff: raw 16-bit counts. mp4: the picture as shown, with its legend. png: stills.
    maps: inflow maps as pictures with a legend, 32-bit TIFF and a summary.
    manifest.json lists every file with its SHA-256. All of a recording is written and checked, or nothing of it is left; one that
    cannot be written holds up none after it. Whether all has reached the drive, so that it can be pulled out, is said at the end.
    With --json, lines such as {"done": 0.42} on standard error tell how far it is, and {"settled": true} that it has.
    """
    folder = target or first_removable()
    if folder is None:
        raise Refused("no removable drive is mounted", remedy="plug one in, or name a folder")
    chosen = checked_formats([one.strip() for one in formats.split(",") if one.strip()])
    words = words_in(language)
    if not others:
        Recording.open(recording).close()  # refused before anything is said of the drive
        with _settling(folder, as_json):
            done = _written(recording, folder, chosen, words, ShareDone(as_json))
        answer(_as_json(done), _readable(done), as_json)
        return
    batch = _Batch((recording, *others), folder, chosen, words, as_json)
    try:
        with _settling(folder, as_json):
            batch.write()
    finally:  # also where it was stopped: what is whole counts
        answer({"exports": batch.exports, "failed": batch.failed}, "\n".join(batch.lines), as_json)
    if batch.failed:
        raise Refused(
            "recordings that could not be written", f"{len(batch.failed)} of {len(others) + 1}", "see which, and why"
        )


class _Batch:
    """Several recordings, one after the other."""

    def __init__(
        self, sources: Sequence[Path], folder: Path, formats: Sequence[str], words: Words, as_json: bool
    ) -> None:
        self._sources, self._folder, self._formats, self._words = sources, folder, formats, words
        self._as_json, self._share = as_json, ShareDone(as_json)
        self.exports: list[dict[str, Any]] = []
        self.failed: list[dict[str, str]] = []
        self.lines: list[str] = []

    def write(self) -> None:
        """Write them; raises Refused where it was asked to stop."""
        for number, source in enumerate(self._sources):
            if self._as_json:
                click.echo(json.dumps({"recording": source.stem}), err=True)
            try:
                done = _written(source, self._folder, self._formats, self._words, self._part(number))
            except _Stopped:
                raise
            except Refused as refused:
                self.failed.append({"recording": source.stem, "line": refused.line})
                self.lines.append(f"{source.stem}: {refused.line}")
            else:
                self.exports.append({"recording": source.stem, **_as_json(done)})
                self.lines.append(_readable(done))

    def _part(self, number: int) -> Callable[[float], None]:
        return lambda done: self._share((number + done) / len(self._sources))


class _Stopped(Refused):
    """Asked to end."""


def _written(
    recording: Path, folder: Path, formats: Sequence[str], words: Words, on_progress: Callable[[float], None]
) -> Exported:
    try:
        with _stopped_by_sigterm(), Recording.open(recording) as opened:
            return export(opened, folder, formats, words=words, on_progress=on_progress)
    except ExportCancelled:
        raise _Stopped("the export was stopped", recording.name, "nothing was left behind; start it again") from None


def _as_json(done: Exported) -> dict[str, Any]:
    return {
        "folder": str(done.folder),
        "files": [{"name": file.name, "bytes": file.size_bytes, "sha256": file.sha256} for file in done.files],
        "notes": list(done.notes),
    }


@contextmanager
def _settling(folder: Path, as_json: bool) -> Iterator[None]:
    """However it ends, what was written or removed reaches the drive, and it is said whether it did."""
    try:
        yield
    finally:
        settled = settle(folder)
        if as_json:
            click.echo(json.dumps({"settled": settled}), err=True)
        else:
            click.echo(_SETTLED if settled else _UNSETTLED, err=True)


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
    widest = max((len(file.name) for file in done.files), default=0)
    lines += [f"  {file.name:{widest}} {file.size_bytes / 1e6:10.2f} MB" for file in done.files]
    return "\n".join([*lines, *(f"note: {note}" for note in done.notes)])
