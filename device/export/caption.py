"""The strip under an exported picture: when, which case, the scale, the values, and what it is not."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import simplejpeg
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from device.export.overlay import Shown
from shared.colour import PercentColours
from shared.recording import Recording
from shared.settings import PictureSettings

_LINE_PX = 18
_BAR_PX = (260, 12)
_INK, _PAPER = (235, 235, 235), (16, 16, 16)
_NOT_THIS = "relative intensity, not viability; not a certified medical device"


class Caption:
    """Draws the strip for pictures of one recording; a line too long for the picture is cut."""

    def __init__(self, recording: Recording, settings: PictureSettings) -> None:
        self._name = recording.name
        self._font = ImageFont.load_default(_LINE_PX - 5)
        self._settings = settings
        self._bar = _scale_bar(settings)
        self._last: tuple[tuple[str, ...], NDArray[np.uint8]] = ((), np.empty((0, 0, 3), np.uint8))

    def under(self, shown: Shown) -> NDArray[np.uint8]:
        """(height, width, 3) uint8 RGB: the picture with its strip below, both sides even."""
        picture = simplejpeg.decode_jpeg(shown.picture.jpeg, "RGB")
        picture = picture[: picture.shape[0] // 2 * 2, : picture.shape[1] // 2 * 2]
        lines = self._lines(shown)
        if lines != self._last[0] or self._last[1].shape[1] != picture.shape[1]:
            self._last = lines, self._strip(lines, picture.shape[1], shown.picture.header.get("reference") is not None)
        return np.ascontiguousarray(np.vstack([picture, self._last[1]]))

    def _lines(self, shown: Shown) -> tuple[str, ...]:
        header = shown.picture.header
        clock = f"{shown.time_s:.1f} s"
        if shown.since_injection_s is not None:
            clock += f", {shown.since_injection_s:.1f} s after injection"
        return (f"{self._name}   {clock}", _values(header), _NOT_THIS)

    def _strip(self, lines: Sequence[str], width: int, scale: bool) -> NDArray[np.uint8]:
        height = (len(lines) + scale) * _LINE_PX + 8
        strip = Image.new("RGB", (width, height + height % 2), _PAPER)
        draw = ImageDraw.Draw(strip)
        for row, line in enumerate(lines):
            draw.text((6, 4 + row * _LINE_PX), line, _INK, self._font)
        if scale:
            top = 4 + len(lines) * _LINE_PX
            strip.paste(self._bar, (6, top + 2))
            text = f"0 to {self._settings.full_scale_percent:g} % of the reference"
            draw.text((14 + _BAR_PX[0], top), text, _INK, self._font)
        return np.asarray(strip)


def _values(header: Mapping[str, Any]) -> str:
    reference = header.get("reference")
    if reference is None:
        return "no reference: grey only"
    found = [f"{reference['name']} 100 %" + (f" ({reference['flag']})" if reference.get("flag") else "")]
    for value in header.get("values", ()):
        percent = value.get("percent")
        shown = value.get("flag") or "-" if percent is None else f"{percent:.0f} ± {value.get('percent_u') or 0:.0f} %"
        found.append(f"{value['name']} {shown}")
    return "   ".join(found)


def _scale_bar(settings: PictureSettings) -> Image.Image:
    percent = np.linspace(0, settings.full_scale_percent, _BAR_PX[0])[None, :]
    colours = PercentColours(settings.full_scale_percent, 1.0)
    blue, red = colours.chroma(percent)
    planes = np.stack([colours.luma(percent), blue, red], axis=-1)
    pixels = np.rint(np.clip(planes, 0, 255)).astype(np.uint8).repeat(_BAR_PX[1], axis=0)
    return Image.fromarray(pixels, "YCbCr").convert("RGB")
