"""Real pictures that come with scikit-image's wheel (camera CC0, cell CC0, retina and microaneurysms CC0), as raw counts, moved by
scipy's own interpolation.
"""

import numpy as np
from scipy.ndimage import affine_transform
from skimage import data

from shared.calibration import Calibration
from shared.frame import CameraDescription
from shared.motion.pose import Motion

CROP = 40
"""Pixels cut off on each side after a move, so that no invented edge is in the picture."""


def picture(name: str) -> np.ndarray:
    """(height, width) float, 0 to 255."""
    raw = getattr(data, name)()
    return np.asarray(raw[..., 1] if raw.ndim == 3 else raw, np.float64)


def moved(plane: np.ndarray, motion: Motion) -> np.ndarray:
    """The plane as seen after ``motion``, by scipy's cubic splines; what was not there is nearest."""
    matrix = motion.back().to_frame(plane.shape)[::-1, [1, 0, 2]]
    return affine_transform(plane, matrix[:, :2], matrix[:, 2], order=3, mode="nearest")


def counts(plane: np.ndarray, rng: np.random.Generator | None = None, electrons: float = 2000.0) -> np.ndarray:
    """Raw uint16 counts of the cut plane: black level 60, 10 electrons a count, ``electrons`` where the plane is 255."""
    cut = plane[CROP:-CROP, CROP:-CROP] * electrons / 255.0
    seen = cut if rng is None else rng.poisson(np.maximum(cut, 0.0)) + rng.normal(0.0, 3.0, cut.shape)
    return np.clip(np.rint(60.0 + 0.1 * seen), 0, 65535).astype(np.uint16)


def assumed(raw: np.ndarray) -> Calibration:
    """What stands in for a calibration of these pictures."""
    return Calibration.assumed(CameraDescription("test", raw.shape[1], raw.shape[0], 12, black_level=60.0))
