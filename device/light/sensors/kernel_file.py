"""One number in a file of the kernel: how 1-wire, converters (IIO), hwmon and ranging sensors all show themselves under /sys."""

import math
from pathlib import Path

LONGEST_BYTES = 64


class NotRead(Exception):
    """There is no value; the text says why."""


def number_in(path: Path) -> float:
    """The number that is the whole text of a file; raises NotRead. Takes as long as the kernel takes, which may be for ever."""
    try:
        with path.open("rb", buffering=0) as file:
            text = (file.read(LONGEST_BYTES) or b"").decode("ascii", "replace").strip()
    except OSError as error:
        raise NotRead(f"{path}: {error.strerror or error}") from None
    try:
        number = float(text)
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise NotRead(f"{path}: {text[:20]!r} is not a number")
    return number


class KernelFile:
    """The one file under ``root`` that fits ``pattern``, looked for again after every failure: devices are renumbered when they
    come back.
    """

    def __init__(self, root: Path, pattern: str) -> None:
        self._root, self._pattern = root, pattern
        self._path: Path | None = None

    def number(self) -> float:
        """Its number, as it stands there; raises NotRead."""
        try:
            return number_in(self._found())
        except NotRead:
            self._path = None
            raise

    def scaled(self) -> float:
        """Number of an IIO channel ``..._raw`` in its unit: (raw + offset) x scale, as its siblings say; raises NotRead.

        Source: the kernel's ABI/testing/sysfs-bus-iio; voltages come in millivolts, distances in metres.
        """
        raw = self.number()
        path = self._found()
        scale, offset = (_sibling(path, suffix) for suffix in ("scale", "offset"))
        if scale is None:
            raise NotRead(f"{path}: there is no scale beside it")
        return (raw + (offset or 0.0)) * scale

    def _found(self) -> Path:
        if self._path is None:
            paths = sorted(self._root.glob(self._pattern))
            if len(paths) != 1:
                raise NotRead(f"{len(paths) or 'no'} files fit {self._root}/{self._pattern}, one is wanted")
            self._path = paths[0]
        return self._path


def _sibling(path: Path, suffix: str) -> float | None:
    """``in_voltage3_scale`` of ``in_voltage3_raw``, else the ``in_voltage_scale`` of all channels; None where neither is."""
    channel = path.name.removesuffix("_raw")
    for name in (channel, channel.rstrip("0123456789")):
        sibling = path.with_name(f"{name}_{suffix}")
        if sibling.exists():
            return number_in(sibling)
    return None
