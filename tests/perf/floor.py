"""What no live path can go below: a copy of the bytes it reads and writes, and the JPEG library's own time on ready planes."""

import numpy as np
import simplejpeg

from shared.calibration import Calibration
from shared.live_picture import Planes


class Floor:
    """Copies, once each, a frame, the calibration (dark and gain) and the steadied plane, all two bytes a pixel; encodes planes.

    The finished planes and the smaller tables that the live path also touches are left out, so the floor is rather too low.
    """

    def __init__(self, calibration: Calibration, planes: Planes, quality: int) -> None:
        shape = (4, *calibration.camera.shape)
        self._from, self._to = np.ones(shape, np.uint16), np.zeros(shape, np.uint16)
        self._planes = Planes(*(np.ascontiguousarray(plane).copy() for plane in (planes.y, planes.u, planes.v)))
        self._quality = quality

    def copy(self) -> None:
        """The bytes, once."""
        np.copyto(self._to, self._from)

    def jpeg(self) -> bytes:
        """The library alone."""
        encoded: bytes = simplejpeg.encode_jpeg_yuv_planes(
            self._planes.y, self._planes.u, self._planes.v, self._quality
        )
        return encoded
