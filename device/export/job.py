"""One export: a recording into a folder of files, in the formats asked for."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import cast, get_args

from device.analysis import analyse
from device.drives import mounts
from device.export.delivery import Delivered, Delivery, delivery
from device.export.manifest import write_manifest
from device.export.maps import write_map_files
from device.export.sizes import needed_bytes
from device.export.stack import write_stack
from device.export.stills import write_stills
from device.export.tables import write_curves, write_events, write_figures, write_frames
from device.export.video import write_video
from device.recorder import free_bytes, utc_now
from shared.errors import Refused
from shared.papers.words import ENGLISH, Words
from shared.protocol.control import ExportFormat
from shared.recording import Recording
from shared.recording.names import checked_name
from shared.settings import PictureSettings

FORMATS: tuple[str, ...] = get_args(ExportFormat)
_COST = {"csv": 2.0, "tiff": 1.0, "mp4": 8.0, "png": 4.0, "maps": 4.0}
_CHECK = 0.5
_MANIFEST = "manifest.json"


@dataclass(frozen=True)
class Exported:
    """Where the files are, what they are, and what could not be shown in them."""

    folder: Path
    files: tuple[Delivered, ...]
    notes: tuple[str, ...]


def export(
    recording: Recording,
    target: Path,
    formats: Sequence[str],
    *,
    picture: PictureSettings | None = None,
    words: Words = ENGLISH,
    on_progress: Callable[[float], None] = lambda _: None,
    free: Callable[[Path], int] = free_bytes,
    wall: Callable[[], datetime] = utc_now,
) -> Exported:
    """Write ``recording`` into a new folder in ``target``, named after it; all of it, or nothing.

    Pictures, video and cautions speak the language of ``words``; tables, their headers and notes are English.

    ``on_progress`` gets the share done, 0 to 1; raising from it (delivery.ExportCancelled) stops and removes everything. Raises
    Refused for an unknown format, an empty recording, or a target without room.
    """
    chosen = checked_formats(formats)
    if not recording.frames:
        raise Refused("the recording holds no frames", recording.name, "choose another recording")
    name = checked_name(recording.name)
    work = _Work(recording, picture or PictureSettings(), words, chosen, on_progress)
    with delivery(target, name, work.needed_bytes, free, filesystem_of(target)) as filling:
        for one in chosen:
            work.write(one, filling)
        moment = wall().astimezone(UTC).isoformat(timespec="seconds")
        write_manifest(filling.make(_MANIFEST), recording, filling.files, chosen, work.notes, moment, words)
        filling.check(_MANIFEST)
    on_progress(1.0)
    return Exported(filling.final, tuple(filling.files), tuple(work.notes))


def filesystem_of(folder: Path, mountinfo: Path = Path("/proc/self/mountinfo")) -> str:
    """Kind of the file system ``folder`` lies on, as the kernel names it ("vfat", "ext4", ...); "" where it cannot be told."""
    inside = folder.resolve()
    found = [mount for mount in mounts(mountinfo.read_bytes()) if inside.is_relative_to(mount.path)]
    return max(found, key=lambda mount: len(mount.path.parts)).filesystem if found else ""


class _Work:
    """The formats one after the other, with their shares of the progress."""

    def __init__(
        self,
        recording: Recording,
        picture: PictureSettings,
        words: Words,
        formats: Sequence[ExportFormat],
        on_progress: Callable[[float], None],
    ) -> None:
        self.notes: list[str] = []
        self._recording = recording
        self._picture = picture
        self._words = words
        self._on_progress = on_progress
        self._total = sum(_COST[one] + _CHECK for one in formats)
        self._done = 0.0
        self.needed_bytes = sum(needed_bytes(recording, one) for one in formats)

    def write(self, one: str, filling: Delivery) -> None:
        """Write the files of one format and check them."""
        names = {"csv": self._tables, "tiff": self._stack, "mp4": self._video, "png": self._stills, "maps": self._maps}[
            one
        ](filling)
        self._done += _COST[one]
        for number, name in enumerate(names):
            filling.check(name, lambda done, n=number: self._say((n + done) / len(names) * _CHECK))  # type: ignore[misc]
        self._done += _CHECK

    def _say(self, cost: float) -> None:
        self._on_progress(min((self._done + cost) / self._total, 1.0))

    def _told(self, one: str) -> Callable[[float], None]:
        return lambda done: self._say(done * _COST[one])

    def _tables(self, filling: Delivery) -> list[str]:
        write_frames(filling.make("frames.csv"), self._recording)
        write_events(filling.make("events.csv"), self._recording)
        try:
            analysis = analyse(self._recording, on_progress=self._told("csv"))
        except Refused as refused:
            self.notes.append(f"no curves: {refused.line}")
            return ["frames.csv", "events.csv"]
        write_curves(filling.make("curves.csv"), analysis)
        write_figures(filling.make("figures.csv"), analysis)
        self.notes += analysis.warnings
        return ["frames.csv", "events.csv", "curves.csv", "figures.csv"]

    def _stack(self, filling: Delivery) -> list[str]:
        names = write_stack(filling, self._recording, self._told("tiff"))
        if len(names) > 1:
            self.notes.append(f"the stack is in {len(names)} files: the drive holds no file over 4 GiB")
        return names

    def _video(self, filling: Delivery) -> list[str]:
        path = filling.make("picture.mp4")
        note = write_video(path, self._recording, self._picture, self._words, self._told("mp4"))
        self.notes += [note] if note else []
        return ["picture.mp4"]

    def _stills(self, filling: Delivery) -> list[str]:
        names, note = write_stills(filling, self._recording, self._picture, self._words, self._told("png"))
        self.notes += [note] if note else []
        return names

    def _maps(self, filling: Delivery) -> list[str]:
        try:
            names, note = write_map_files(filling, self._recording, self._words, self._told("maps"))
        except Refused as refused:
            self.notes.append(f"no maps: {refused.line}")
            return []
        self.notes.append(note)
        return names


def checked_formats(formats: Sequence[str]) -> list[ExportFormat]:
    """Each once, in the order given; raises Refused for one that does not exist, or none at all."""
    for one in formats:
        if one not in FORMATS:
            raise Refused("no such export format", one, f"choose from {', '.join(FORMATS)}")
    chosen = cast(list[ExportFormat], list(dict.fromkeys(formats)))
    if not chosen:
        raise Refused("no export format given", remedy=f"choose from {', '.join(FORMATS)}")
    return chosen
