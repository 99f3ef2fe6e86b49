"""Gain: the photon transfer curve of this sensor, and how its pixels differ, as a calibration keeps them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from shared.bounded import Within
from shared.commissioning.nonuniformity import Nonuniformity, dsnu_electrons, nonuniformity
from shared.commissioning.photon_transfer import Exposed, PhotonTransfer, photon_transfer
from shared.commissioning.stack import Stack

CLIPPED = 0.98
"""Where the brightest mean stays below this share of the converter's range, the pixels themselves are full before it is."""


@dataclass(frozen=True)
class Gain:
    """``counts_per_electron`` is K at unit gain. ``saturates_at_counts`` is the raw count from which a pixel is saturated.

    ``read_noise_is_upper_bound``: rounding to whole counts hides the read noise, which is at most that (EMVA 1288).
    """

    counts_per_electron: Annotated[float, Within(1e-6, 1000)]
    counts_per_electron_u: Annotated[float, Within(0, 1000)]
    read_noise_electrons: Annotated[float, Within(0, 1e5)]
    read_noise_electrons_u: Annotated[float, Within(0, 1e5)]
    read_noise_is_upper_bound: bool
    full_well_electrons: Annotated[float, Within(0, 1e9)]
    reached_saturation: bool
    linearity_low_percent: float
    linearity_high_percent: float
    dsnu_electrons: Annotated[float, Within(0, 1e6)]
    prnu_percent: Annotated[float, Within(0, 100)]
    saturates_at_counts: Annotated[int, Within(1, 65535)]
    exposures: Annotated[int, Within(1, 1000)]


def gain(
    points: Sequence[Exposed],
    capped: Stack,
    unlit: Stack,
    lit: Stack,
    good: NDArray[np.bool_],
    white_level: int,
    camera_gain: float,
) -> Gain:
    """From the curve's points, the dark step's stack, and stacks at about half of saturation whose shading is taken off.

    DSNU is that of the capped lens: unlit frames of a target see the room. Raises Refused.
    """
    curve = photon_transfer(points, white_level)
    k = curve.counts_per_electron
    prnu_percent = nonuniformity(unlit, lit, k, good, shaded=True).prnu_percent
    differ = Nonuniformity(dsnu_electrons(capped, k, good), prnu_percent)
    return _joined(curve, differ, _saturates_at(curve, points, white_level), camera_gain)


def _saturates_at(curve: PhotonTransfer, points: Sequence[Exposed], white_level: int) -> int:
    """White level, unless the means level off below it."""
    brightest = max(one.mean for one in points)
    if not curve.reached_saturation or brightest > CLIPPED * white_level:
        return white_level
    return math.floor(CLIPPED * brightest)


def _joined(curve: PhotonTransfer, differ: Nonuniformity, saturates_at: int, camera_gain: float) -> Gain:
    return Gain(
        counts_per_electron=curve.counts_per_electron / camera_gain,
        counts_per_electron_u=curve.counts_per_electron_u / camera_gain,
        read_noise_electrons=curve.read_noise_electrons,
        read_noise_electrons_u=curve.read_noise_electrons_u,
        read_noise_is_upper_bound=curve.read_noise_is_upper_bound,
        full_well_electrons=curve.full_well_electrons,
        reached_saturation=curve.reached_saturation,
        linearity_low_percent=curve.linearity_low_percent,
        linearity_high_percent=curve.linearity_high_percent,
        dsnu_electrons=differ.dsnu_electrons,
        prnu_percent=differ.prnu_percent,
        saturates_at_counts=saturates_at,
        exposures=curve.exposures,
    )
