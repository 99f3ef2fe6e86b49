"""TIFF stacks and folders of pictures from any camera as footage."""

import logging
import math
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import tifffile
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

from device.camera.footage import Taken, check_size
from shared.calibration import Calibration
from shared.errors import Refused
from shared.frame import CameraDescription, Counts

PICTURES = frozenset({".png", ".tif", ".tiff", ".jpg", ".jpeg", ".bmp"})
ASSUMED_FPS = 30.0
_UNKNOWN = ("gamma", "black level", "exposure", "gain", "light level", "scale")
_LOOKED_AT = 16
_SECONDS = {
    **dict.fromkeys(("sec", "s", "second", "seconds"), 1.0),
    **dict.fromkeys(("msec", "ms", "millisecond", "milliseconds"), 1e-3),
    **dict.fromkeys(("min", "minute", "minutes"), 60.0),
}
"""In a unit of time as ImageJ's tag has it (from memory); another one says nothing of the rate."""
_Image = NDArray[np.uint8] | NDArray[np.uint16]


class Pictures:
    """Equally spaced grey pictures; ``fps`` None assumes 30 a second and says so in ``unknown``.

    Bit depth is 8 for 8-bit pictures, else (``depth_is_guessed``) the least that holds the largest of sixteen pictures spread over
    the whole.
    """

    def __init__(self, name: str, fps: float | None, unknown: tuple[str, ...] = _UNKNOWN) -> None:
        self._name = name
        self.unknown = unknown if fps is not None else (*unknown, f"frame rate ({ASSUMED_FPS:g} a second assumed)")
        self._interval_ns = 1e9 / (fps or ASSUMED_FPS)
        first = self._image(0)
        check_size(name, first.shape[1], first.shape[0])
        self.depth_is_guessed = first.dtype != np.uint8
        self.description = CameraDescription(
            model=f"pictures {Path(name).name}"[:80],
            width=first.shape[1],
            height=first.shape[0],
            bit_depth=self._bit_depth(),
            frame_interval_us=self._interval_ns / 1000,
        )
        self.calibration = Calibration.assumed(self.description)

    def __len__(self) -> int:
        raise NotImplementedError

    def _image(self, number: int) -> _Image:
        """Picture ``number``, (height, width) uint8 or uint16."""
        raise NotImplementedError

    def time_ns(self, number: int) -> int:
        """Counted with the frame rate, from 0."""
        return round(number * self._interval_ns)

    def read(self, number: int, out: Counts) -> Taken:
        """Load picture ``number`` into ``out``; raises Refused where it is damaged or of another size."""
        image = self._image(number)
        if image.shape != self.description.shape:
            raise Refused(
                f"{self._name}: picture {number} is of another size",
                f"{image.shape[1]} x {image.shape[0]}",
                f"all must be {self.description.width} x {self.description.height}",
            )
        out[:] = image
        return Taken(number, self.description.frame_interval_us)

    def close(self) -> None:
        """Nothing is open between frames."""

    def _bit_depth(self) -> int:
        if not self.depth_is_guessed:
            return 8
        chosen = {round(number) for number in np.linspace(0, len(self) - 1, min(_LOOKED_AT, len(self)))}
        return max(8, max(int(self._image(number).max()) for number in chosen).bit_length())


class TiffStack(Pictures):
    """Pictures of one TIFF file over time, 8 or 16 bits a sample, grey. The frame interval comes from ``fps``, else from what
    ImageJ or OME wrote into it.
    """

    def __init__(self, path: Path, fps: float | None = None) -> None:
        self._one_block: NDArray[np.generic] | None = None
        try:
            with _heard() as complaints:
                self._file = tifffile.TiffFile(path)
                self._pages = self._file.pages
                self._count = len(self._pages)
                told = self._file.is_imagej or self._file.is_ome
                sizes = dict(zip(self._file.series[0].axes, self._file.series[0].shape, strict=True)) if told else {}
        except (tifffile.TiffFileError, ValueError, OSError, IndexError, KeyError) as error:
            raise Refused(
                f"{path}: not a TIFF that can be read ({error})", remedy="save the stack again as TIFF"
            ) from None
        if not self._count:
            self._file.close()
            raise Refused(
                f"{path}: not a TIFF that can be read (it leads to no page)", remedy="save the stack again as TIFF"
            )
        try:
            self._require_whole(path, complaints)
            _require_only_time(path, sizes)
            super().__init__(str(path), fps if fps is not None else self._own_fps())
        except BaseException:
            self._file.close()
            raise

    def __len__(self) -> int:
        return self._count

    def close(self) -> None:
        """Close the file; may be called twice."""
        self._file.close()

    def _require_whole(self, path: Path, complaints: list[str]) -> None:
        """Raise Refused where the file ends early. ImageJ keeps stacks over 4 GB as one page with all pictures behind it."""
        wanted = int((self._file.imagej_metadata or {}).get("images", self._count))
        if self._count == 1 < wanted and (series := self._file.series[0]).dataoffset is not None:
            shape = (wanted, *self._pages[0].shape)
            if series.size == math.prod(shape):
                dtype = series.dtype.newbyteorder(self._file.byteorder)
                self._one_block = np.memmap(path, dtype, "r", series.dataoffset, shape)
                self._count = wanted
        if self._count < wanted or any("invalid page offset" in one for one in complaints):
            of = f" of {wanted}" if wanted > self._count else ""
            raise Refused(f"{path}: the stack is cut off", f"after picture {self._count}{of}", "copy or save it again")

    def _own_fps(self) -> float | None:
        ome = re.search(r'TimeIncrement="(\d+\.?\d*(?:[eE][+-]?\d+)?)"', self._file.ome_metadata or "")
        if ome is not None:
            unit = re.search(r'TimeIncrementUnit="(\w+)"', self._file.ome_metadata or "")
            unit_s, interval_s = _SECONDS.get("s" if unit is None else unit[1]), float(ome[1])
            return 1.0 / (interval_s * unit_s) if unit_s is not None and interval_s > 0 else None
        about = self._file.imagej_metadata or {}
        interval, unit_s = about.get("finterval"), _SECONDS.get(str(about.get("tunit", "sec")).strip().lower())
        if unit_s is not None and isinstance(interval, int | float) and interval > 0:
            return 1.0 / (float(interval) * unit_s)
        fps = about.get("fps")
        return float(fps) if isinstance(fps, int | float) and fps > 0 else None

    def _image(self, number: int) -> _Image:
        if self._one_block is not None:
            return _grey(self._one_block[number], f"{self._name}: picture {number}")
        try:
            image = self._pages[number].asarray()
        except Exception as error:  # noqa: BLE001  (decoders raise what they like; all of it means a damaged page)
            offset = getattr(self._pages[number], "offset", "?")
            raise Refused(
                f"{self._name}: page {number} at byte {offset} is damaged ({error})", remedy="save the stack again"
            ) from None
        return _grey(image, f"{self._name}: page {number}")


class PictureFolder(Pictures):
    """Pictures of a folder in the order of their names, numbers counted as numbers."""

    def __init__(self, folder: Path, fps: float | None = None) -> None:
        found = [path for path in folder.iterdir() if path.suffix.lower() in PICTURES and path.is_file()]
        if not found:
            raise Refused(
                f"{folder}: no picture in this folder", remedy=f"it should hold {', '.join(sorted(PICTURES))} files"
            )
        self.paths = sorted(found, key=_by_number)
        super().__init__(str(folder), fps)

    def __len__(self) -> int:
        return len(self.paths)

    def _image(self, number: int) -> _Image:
        path = self.paths[number]
        try:
            with Image.open(path) as picture:
                grey = picture if picture.mode in ("L", "I;16", "I;16B", "I") else picture.convert("L")
                image = np.asarray(grey)
        except (UnidentifiedImageError, OSError, SyntaxError, ValueError) as error:
            raise Refused(f"{path}: not a picture that can be read ({error})", remedy="remove or replace it") from None
        return _grey(image, str(path))


def _require_only_time(path: Path, sizes: Mapping[str, int]) -> None:
    """Raise Refused where pictures follow each other in more than time, as far as the file says what they are."""
    channels, depth, times = (sizes.get(axis, 1) for axis in "CZT")
    if channels > 1:
        raise Refused(f"{path}: pictures of several channels", channels, "save the one of the dye alone")
    if depth > 1 and times > 1:
        raise Refused(f"{path}: pictures at several depths", depth, "save one of them alone")


@contextmanager
def _heard() -> Iterator[list[str]]:
    """What the TIFF reader complains of meanwhile, instead of writing it to the terminal."""
    found: list[str] = []

    class Ear(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            found.append(record.getMessage())

    log, ear = logging.getLogger("tifffile"), Ear(logging.WARNING)
    before, log.propagate = log.propagate, False
    log.addHandler(ear)
    try:
        yield found
    finally:
        log.removeHandler(ear)
        log.propagate = before


def _grey(image: NDArray[np.generic], name: str) -> _Image:
    if image.ndim != 2:
        raise Refused(f"{name} is not grey", f"shape {image.shape}", "save it with one brightness a pixel")
    if image.dtype == np.int32 and image.min() >= 0 and image.max() <= 65535:  # how Pillow opens some 16-bit PNG files
        image = image.astype(np.uint16)
    if image.dtype == np.uint8 or image.dtype == np.uint16:
        return image  # type: ignore[return-value]
    raise Refused(f"{name} has samples of another kind", str(image.dtype), "save it with 8 or 16 bits, unsigned")


def _by_number(path: Path) -> tuple[object, ...]:
    parts = re.split(r"(\d+)", path.name.lower())
    return tuple((int(part), "") if part.isdigit() else (-1, part) for part in parts)
