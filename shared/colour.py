"""Colour for percent: one perceptually uniform map, laid translucently over grey, and grey itself.

The map is viridis (S. van der Walt and N. Smith, 2015, released under CC0), a general-purpose map whose lightness rises evenly and
which the colour-blind can read. Luma and chroma are those of JPEG (JFIF, ITU-T T.871, full-range BT.601).
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

VIRIDIS = np.frombuffer(
    bytes.fromhex(
        "44015444025645045745055946075a46085c460a5d460b5e470d60470e61471063471164471365481467481668481769"
        "48186a481a6c481b6d481c6e481d6f481f70482071482173482374482475482576482677482878482979472a7a472c7a"
        "472d7b472e7c472f7d46307e46327e46337f463480453581453781453882443983443a83443b84433d84433e85423f85"
        "4240864241864142874144874045884046883f47883f48893e49893e4a893e4c8a3d4d8a3d4e8a3c4f8a3c508b3b518b"
        "3b528b3a538b3a548c39558c39568c38588c38598c375a8c375b8d365c8d365d8d355e8d355f8d34608d34618d33628d"
        "33638d32648e32658e31668e31678e31688e30698e306a8e2f6b8e2f6c8e2e6d8e2e6e8e2e6f8e2d708e2d718e2c718e"
        "2c728e2c738e2b748e2b758e2a768e2a778e2a788e29798e297a8e297b8e287c8e287d8e277e8e277f8e27808e26818e"
        "26828e26828e25838e25848e25858e24868e24878e23888e23898e238a8d228b8d228c8d228d8d218e8d218f8d21908d"
        "21918c20928c20928c20938c1f948c1f958b1f968b1f978b1f988b1f998a1f9a8a1e9b8a1e9c891e9d891f9e891f9f88"
        "1fa0881fa1881fa1871fa28720a38620a48621a58521a68522a78522a88423a98324aa8325ab8225ac8226ad8127ad81"
        "28ae8029af7f2ab07f2cb17e2db27d2eb37c2fb47c31b57b32b67a34b67935b77937b87838b9773aba763bbb753dbc74"
        "3fbc7340bd7242be7144bf7046c06f48c16e4ac16d4cc26c4ec36b50c46a52c56954c56856c66758c7655ac8645cc863"
        "5ec96260ca6063cb5f65cb5e67cc5c69cd5b6ccd5a6ece5870cf5773d05675d05477d1537ad1517cd2507fd34e81d34d"
        "84d44b86d54989d5488bd6468ed64590d74393d74195d84098d83e9bd93c9dd93ba0da39a2da37a5db36a8db34aadc32"
        "addc30b0dd2fb2dd2db5de2bb8de29bade28bddf26c0df25c2df23c5e021c8e020cae11fcde11dd0e11cd2e21bd5e21a"
        "d8e219dae319dde318dfe318e2e418e5e419e7e419eae51aece51befe51cf1e51df4e61ef6e620f8e621fbe723fde725"
    ),
    np.uint8,
).reshape(256, 3)
"""(256, 3) uint8 red, green, blue from lowest to highest."""

CLEAR_PERCENT = 4.0
"""At and below this percentage the map is fully transparent ..."""

COVERED_PERCENT = 12.0
"""... and from here on it has its full opacity."""

NEUTRAL = 128
"""Chroma of grey."""

TONE_KNOTS = ((0.0, 0.0), (1 / 34, 6 / 17), (1.0, 1.0))
"""Share of the converter's range, and the brightness it is shown with: the lesser of 12 x and (2 x + 1) / 3.

What leaks through before the dye is a few hundredths of the range, and one aims by it.
"""


def tone(share: NDArray[np.floating]) -> NDArray[np.float64]:
    """Brightness, 0 to 1, for a share of the converter's range; lifts the dark parts so that one can aim by them."""
    shares, brightness = zip(*TONE_KNOTS, strict=True)
    shown: NDArray[np.float64] = np.interp(share, shares, brightness)
    return shown


def luma_chroma(rgb: NDArray[np.generic]) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Y, Cb, Cr (0 to 255, not rounded) of (..., 3) red, green, blue (ITU-T T.871, clause 7)."""
    red, green, blue = np.moveaxis(np.asarray(rgb, np.float64), -1, 0)
    y = 0.299 * red + 0.587 * green + 0.114 * blue
    return y, NEUTRAL + (blue - y) / 1.772, NEUTRAL + (red - y) / 1.402


@dataclass(frozen=True)
class PercentColours:
    """How a percentage is coloured: ``full_scale_percent`` is the top of the map, ``opacity`` what it covers of the grey."""

    full_scale_percent: float
    opacity: float

    @cached_property
    def _table(self) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        return luma_chroma(VIRIDIS)

    def mapped(self, percent: NDArray[np.floating], channel: int) -> NDArray[np.float64]:
        """Y (0), Cb (1) or Cr (2) of the map itself, 0 to 255."""
        position = np.asarray(percent, np.float64) * (255.0 / self.full_scale_percent)
        mapped: NDArray[np.float64] = np.interp(position, np.arange(256.0), self._table[channel])
        return mapped

    def opacity_at(self, percent: NDArray[np.floating]) -> NDArray[np.float64]:
        """Share of the grey that the map covers: none where there is next to nothing, so that low values are clear, not dark."""
        cover: NDArray[np.float64] = np.interp(percent, (CLEAR_PERCENT, COVERED_PERCENT), (0.0, self.opacity))
        return cover

    def luma(self, percent: NDArray[np.floating]) -> NDArray[np.float64]:
        """Luma of the map itself, 0 to 255."""
        return self.mapped(percent, 0)

    def chroma(self, percent: NDArray[np.floating]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Cb and Cr of the map over grey, which has none of its own: a function of percent alone.

        It can be read back to a step of the table, 1/255 of the full scale: two pairs of neighbours in the table, rounded to 8
        bits, have one chroma. Only tests do so; whoever needs numbers has the recording, the region values or the maps.
        """
        cover = self.opacity_at(percent)
        blue, red = self.mapped(percent, 1), self.mapped(percent, 2)
        return NEUTRAL + cover * (blue - NEUTRAL), NEUTRAL + cover * (red - NEUTRAL)
