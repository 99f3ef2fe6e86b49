"""What is burnt in under the picture of a video: when, which values, and the legend of the stills."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import simplejpeg
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from device.export.overlay import Shown
from shared.legend import BACKGROUND, INK, Legend, drawn_legend
from shared.recording import Recording
from shared.settings import PictureSettings

_LEAST_WIDTH = 640
"""Below this the legend's words cannot be read."""


class Captioner:
    """Puts captions under the pictures of one recording; their size is that of the first."""

    def __init__(self, recording: Recording, settings: PictureSettings) -> None:
        self._name = recording.name
        self._settings = settings
        self._legends: dict[tuple[str, bool], Image.Image] = {}
        self._lines: tuple[str, str] = ("", "")
        self._below: NDArray[np.uint8] | None = None

    def under(self, shown: Shown) -> NDArray[np.uint8]:
        """(height, width, 3) uint8 RGB: the picture, two lines and the legend; both sides even."""
        picture = simplejpeg.decode_jpeg(shown.picture.jpeg, "RGB")
        width = max(picture.shape[1], _LEAST_WIDTH) // 2 * 2
        lines = (self._clock(shown), _values(shown.picture.header))
        below = self._below
        if below is None or lines != self._lines:
            below = self._drawn(lines, shown, width)
            self._lines, self._below = lines, below
        whole = np.full((picture.shape[0] // 2 * 2 + below.shape[0], width, 3), BACKGROUND, np.uint8)
        seen = picture[: picture.shape[0] // 2 * 2, :width]
        left = (width - seen.shape[1]) // 2
        whole[: seen.shape[0], left : left + seen.shape[1]] = seen
        whole[seen.shape[0] :] = below
        return whole

    def _clock(self, shown: Shown) -> str:
        after = shown.since_injection_s
        return f"{self._name}   {shown.time_s:.1f} s" + ("" if after is None else f", {after:.1f} s after injection")

    def _drawn(self, lines: tuple[str, str], shown: Shown, width: int) -> NDArray[np.uint8]:
        line_px = max(width // 48, 18)
        font = ImageFont.load_default(size=line_px * 0.75)
        legend = self._legend(shown, width)
        # the longest legend sets the height, so that every picture of a video has the same
        tallest = max(self._legend_of(reference, True, width).height for reference in ("", "reference"))
        height = 2 * line_px + tallest
        image = Image.new("RGB", (width, height + height % 2), BACKGROUND)
        draw = ImageDraw.Draw(image)
        for row, line in enumerate(lines):
            draw.text((line_px * 0.5, line_px * (row + 0.2)), line, INK, font)
        image.paste(legend, (0, 2 * line_px))
        return np.asarray(image)

    def _legend(self, shown: Shown, width: int) -> Image.Image:
        header = shown.picture.header
        reference = header["reference"]
        percent = shown.picture.view != "grey" and reference is not None and not reference["flag"]
        return self._legend_of(reference["name"] if percent else "", bool(header["baseline"]), width)

    def _legend_of(self, reference: str, baseline: bool, width: int) -> Image.Image:
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
            )
            self._legends[key] = drawn_legend(width, legend)
        return self._legends[key]


def _values(header: Mapping[str, Any]) -> str:
    reference = header["reference"]
    if reference is None:
        return "no reference: grey only"
    found = [f"{reference['name']} {reference['flag'] or '100 %'}"]
    for value in header["values"]:
        percent = value["percent"]
        found.append(
            f"{value['name']} " + (value["flag"] if percent is None else f"{percent:.0f} ± {value['percent_u']:.0f} %")
        )
    return "   ".join(found)
