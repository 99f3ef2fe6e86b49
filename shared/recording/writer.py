"""Writes a recording so that it can be opened at any moment, also after the writer was killed.

``append`` never flushes; ``sync``, about once a second and from any thread, makes what was appended survive a cut of power and
grows the declared length of the image. Why so: DECISION-store.md.
"""

import os
import threading
from collections.abc import Mapping, Sequence
from importlib.metadata import version
from pathlib import Path
from typing import Any, Self

from shared.bounded import plain
from shared.calibration import Calibration
from shared.errors import Refused
from shared.frame import CameraDescription, Frame
from shared.recording.durable import replace_file, sync_folder
from shared.recording.events import EventWriter, checked_event
from shared.recording.layout import FORMAT, as_json, group_metadata, image_metadata, ome_metadata
from shared.recording.packing import FrameRoom
from shared.recording.planes import write_planes
from shared.recording.shard import SHARD_FRAMES, ShardWriter
from shared.recording.table import FrameRow, TableWriter


class RecordingWriter:
    """A new recording in the folder ``path`` (NAME.zarr), which must not exist yet; raises Refused where it does.

    ``started_at`` is UTC in ISO 8601, empty where nobody knows, ``case`` a code, ``extra`` anything JSON can hold (a simulated
    scene and its seed, say). ``unknown`` says in words what nobody knows of footage from elsewhere; its frames may then have NaN
    for exposure, gain and light level.
    ``append`` and ``event`` belong to one thread, ``sync`` may run in another.
    """

    def __init__(
        self,
        path: Path,
        camera: CameraDescription,
        calibration: Calibration,
        *,
        started_at: str,
        case: str = "",
        extra: Mapping[str, Any] | None = None,
        unknown: Sequence[str] = (),
    ) -> None:
        if calibration.camera.shape != camera.shape:
            raise Refused(
                "the calibration is for another frame size", calibration.camera.shape, f"give one for {camera.shape}"
            )
        self.path = path
        self._camera = camera
        self._about = {
            "format": FORMAT,
            "software": f"tapetum {version('tapetum')}",
            "camera": plain(camera),
            "started_at": started_at,
            "case": case,
            "extra": plain(dict(extra or {})),
            "unknown": list(unknown),
        }
        self._room = FrameRoom(camera.shape)
        self._lock = threading.Lock()
        self._metadata_lock = threading.Lock()
        self._shard: ShardWriter | None = None
        self._retired: list[ShardWriter] = []
        self._fresh_folders: list[Path] = []
        self._frames = 0
        self._declared = -1
        self._bytes = 0
        self._closed = False
        self._all_new = True
        self._make_folder(calibration)

    @property
    def frames(self) -> int:
        """Frames written so far."""
        return self._frames

    @property
    def bytes_written(self) -> int:
        """Compressed size of those frames."""
        return self._bytes

    def append(self, frame: Frame) -> None:
        """Write one frame behind the last. Raises OSError (ENOSPC) and then leaves everything as it was before the call."""
        if frame.pixels.shape != self._camera.shape:
            raise Refused("frame of another size", frame.pixels.shape, f"this recording holds {self._camera.shape}")
        self._room.take(frame.pixels)
        self.append_taken(FrameRow.of(frame), self._room)

    def append_taken(self, row: FrameRow, room: FrameRoom) -> None:
        """The same for a frame whose pixels ``room`` has taken in, and what else is known of it."""
        packed = room.packed()
        with self._lock:
            if self._closed:
                raise ValueError(f"{self.path} is closed")
            shard = self._shard if self._shard is not None and not self._shard.full else self._next_shard()
            self._table.put(self._frames, row)
            self._bytes += shard.append(packed)
            self._frames += 1

    def event(self, kind: str, time_ns: int, **fields: Any) -> None:
        """Write one event at once; raises Refused for an unknown kind."""
        event = checked_event(kind, time_ns, fields)
        with self._lock:
            self._events.append(event)

    def sync(self) -> None:
        """Make all that was appended before this call durable, and declare it to other tools."""
        with self._metadata_lock:
            self._sync()

    def close(self, complete: bool = True) -> None:
        """Make everything durable, say whether the recording is complete, and close; a second call does nothing.

        Raises OSError where the disk does not take the last metadata; what was appended stays readable all the same.
        """
        with self._metadata_lock:
            if self._closed:
                return
            try:
                self._sync()
                self._closed = True
                self._table.declare(exactly=self._frames)
                if complete:
                    self._write_root(complete=True)
                    sync_folder(self.path)
            finally:
                self._closed = True
                self._close_files()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: object, *_: object) -> None:
        self.close(complete=kind is None)

    # ---- pieces -----------------------------------------------------------------------------------------------------

    def _make_folder(self, calibration: Calibration) -> None:
        try:
            self.path.mkdir(parents=True)
        except FileExistsError:
            raise Refused("there is already something of this name", str(self.path), "choose another name") from None
        except OSError as error:
            raise Refused(f"{self.path}: cannot be made ({error.strerror})", remedy="choose another folder") from None
        write_planes(self.path / "calibration", calibration)
        (self.path / "image").mkdir()
        self._declare_image(0, durable=False)
        self._table = TableWriter(self.path / "frames")
        self._events = EventWriter(self.path / "events.jsonl")
        self._write_root(complete=False, durable=False)

    def _write_root(self, complete: bool, durable: bool = True) -> None:
        attributes = {
            "ome": ome_metadata(self._camera, self.path.stem),
            "tapetum": self._about | {"complete": complete, "frames": self._frames if complete else None},
        }
        replace_file(self.path / "zarr.json", as_json(group_metadata(attributes)), durable)

    def _next_shard(self) -> ShardWriter:
        number = self._frames // SHARD_FRAMES
        folder = self.path / "image" / "c" / str(number) / "0"
        shard = ShardWriter(folder / "0")
        if self._shard is not None:
            self._retired.append(self._shard)
        self._shard = shard
        self._fresh_folders += [folder, folder.parent, folder.parent.parent, folder.parent.parent.parent]
        return shard

    def _sync(self) -> None:
        with self._lock:
            if self._closed:
                return
            frames = self._frames
            retired, self._retired = self._retired, []
            folders, self._fresh_folders = self._fresh_folders, []
            live = [self._events.handle] + ([self._shard.handle] if self._shard else [])
            handles = [os.dup(handle) for handle in (*live, *self._table.handles())]
        try:
            for handle in handles + [shard.handle for shard in retired]:
                os.fdatasync(handle)
        finally:
            for handle in handles:
                os.close(handle)
            for shard in retired:
                shard.forget()
                shard.close()
        for folder in folders:
            sync_folder(folder)
        if self._all_new:
            _sync_tree(self.path)
            self._all_new = False
        self._table.declare()
        if frames != self._declared:
            self._declare_image(frames)
            self._declared = frames

    def _declare_image(self, frames: int, durable: bool = True) -> None:
        metadata = image_metadata(frames, self._camera, SHARD_FRAMES)
        replace_file(self.path / "image" / "zarr.json", as_json(metadata), durable)

    def _close_files(self) -> None:
        for shard in [*self._retired, *([self._shard] if self._shard else [])]:
            shard.close()
        self._table.close()
        self._events.close()


def _sync_tree(folder: Path) -> None:
    for inside, _, names in os.walk(folder):
        for name in names:
            handle = os.open(Path(inside) / name, os.O_RDONLY)
            try:
                os.fsync(handle)
            finally:
                os.close(handle)
        sync_folder(Path(inside))
    sync_folder(folder.parent)
