"""What is burnt in under the picture of a video: when, which values, and the legend of the stills."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import simplejpeg
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from device.export.overlay import Shown
from shared.legend import BACKGROUND, INK, Legend, drawn_legend
from shared.papers.font import packed, paper_font
from shared.papers.words import Words
from shared.recording import Recording
from shared.settings import PictureSettings

_LEAST_WIDTH = 640
"""Below this the legend's words cannot be read."""


class Captioner:
    """Puts captions under the pictures of one recording; their size is that of the first."""

    def __init__(self, recording: Recording, settings: PictureSettings, words: Words) -> None:
        self._name = recording.name
        self._settings = settings
        self._words = words
        self._legends: dict[tuple[str, bool], NDArray[np.uint8]] = {}
        self._lines: list[str] = []
        self._rows = 0
        self._shown_legend: NDArray[np.uint8] | None = None
        self._whole: NDArray[np.uint8] | None = None

    def under(self, shown: Shown) -> NDArray[np.uint8]:
        """(height, width, 3) uint8 RGB, lent until the next call: picture, when and which values, legend; both sides even."""
        picture = simplejpeg.decode_jpeg(shown.picture.jpeg, "RGB")
        header = shown.picture.header
        height, width = picture.shape[0] // 2 * 2, max(picture.shape[1], _LEAST_WIDTH) // 2 * 2
        line_px = max(width // 48, 18) // 2 * 2
        if self._whole is None:
            # the longest legend and the longest values set the height, so that every picture of a video has the same
            name = "reference" if header["reference"] is None else header["reference"]["name"]
            below = max(self._legend_of(reference, True, width).shape[0] for reference in ("", name))
            self._rows = 1 + len(_lines(_longest(header, self._words), width, line_px))
            self._whole = np.full((height + self._rows * line_px + below + below % 2, width, 3), BACKGROUND, np.uint8)
        left, foot = (width - min(picture.shape[1], width)) // 2, height + self._rows * line_px
        self._whole[:height, left : left + picture.shape[1]] = picture[:height, :width]
        lines = [self.clock(shown), *_lines(_values(header, self._words), width, line_px)]
        if lines != self._lines:
            self._lines = lines
            self._whole[height:foot] = _drawn(lines, width, line_px, self._rows)
        legend = self._legend(shown, width)
        if legend is not self._shown_legend:
            self._shown_legend = legend
            self._whole[foot:] = BACKGROUND
            self._whole[foot:][: legend.shape[0]] = legend
        return self._whole

    def clock(self, shown: Shown) -> str:
        """The first line: which recording, when, and whether the light was off."""
        words, after = self._words, shown.since_injection_s
        time = words.number(shown.time_s, ".1f")
        if after is None:
            clock = words("at-time", name=self._name, time=time)
        else:
            clock = words("after-injection", name=self._name, time=time, after=words.number(after, ".1f"))
        return clock if shown.is_lit else f"{clock}   {words('light-off')}"

    def _legend(self, shown: Shown, width: int) -> NDArray[np.uint8]:
        header = shown.picture.header
        reference = header["reference"]
        percent = shown.picture.view != "grey" and reference is not None and not reference["flag"]
        return self._legend_of(reference["name"] if percent else "", bool(header["baseline"]), width)

    def _legend_of(self, reference: str, baseline: bool, width: int) -> NDArray[np.uint8]:
        """Legend of a picture in percent of ``reference``, or of a grey one where that is empty."""
        key = (reference, baseline)
        if key not in self._legends:
            settings = self._settings
            legend = Legend(
                full_scale_percent=settings.full_scale_percent,
                opacity=settings.overlay_opacity,
                contours_percent=settings.contours_percent,
                reference=reference,
                has_percent=bool(reference),
                baseline=baseline,
                widest_u_percent=settings.widest_u_percent,
                words=self._words,
            )
            self._legends[key] = np.asarray(drawn_legend(width, legend))
        return self._legends[key]


def _font(line_px: int) -> ImageFont.FreeTypeFont:
    return paper_font(round(line_px * 0.7))


def _lines(values: Sequence[str], width: int, line_px: int) -> list[str]:
    return packed(values, "   ", _font(line_px), width - line_px)


def _drawn(lines: Sequence[str], width: int, line_px: int, rows: int) -> NDArray[np.uint8]:
    image = Image.new("RGB", (width, rows * line_px), BACKGROUND)
    draw = ImageDraw.Draw(image)
    for row, line in enumerate(lines):
        draw.text((line_px * 0.5, line_px * (row + 0.05)), line, INK, _font(line_px))
    return np.asarray(image)


def _values(header: Mapping[str, Any], words: Words) -> list[str]:
    reference = header["reference"]
    if reference is None:
        return [words("grey-only")]
    found = [f"{reference['name']} {words.said(reference['flag']) or '100 %'}"]
    for value in header["values"]:
        found.append(f"{value['name']} {words.said(value['flag']) or _percent(value['percent'], value['percent_u'])}")
    return found


def _percent(percent: float, u: float) -> str:
    """As on the page: an uncertainty below one percent is rounded up to it."""
    return f"{percent:.0f} ± {max(u, 1.0):.0f} %"


def _longest(header: Mapping[str, Any], words: Words) -> list[str]:
    """As long as the values of this recording can become."""
    flag = "reference too dark"
    ailing = [{**one, "flag": flag} for one in (header["reference"], *header["values"]) if one is not None]
    return _values({"reference": ailing[0] if ailing else None, "values": ailing[1:]}, words)
