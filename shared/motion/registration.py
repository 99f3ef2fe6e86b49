"""Where the tissue of one reference view is found in another picture, and how sure that is."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Self

import numpy as np

from shared.calibration import Calibration
from shared.frame import Counts
from shared.motion.correlation import C64, F32, Correlator
from shared.motion.pose import Motion
from shared.motion.reduced import Reducer, Texture
from shared.motion.refinement import WHOLE, Mask, compared_texels, noise_u_texels, place_u_texels, refined, view_share
from shared.motion.resample import into_reference

CONFIDENCE_LIMIT = 0.45
"""Below it there is no lock. Unrelated pictures stay under it: ``tests/shared/motion/test_confidence.py`` measures how often."""
_SEARCH_LIMIT = 0.5
"""The same where many rotations are tried, each of which may match by chance."""
SEARCHED_DEG: tuple[float, ...] = tuple(sign * step for step in (1.5, 3.0, 4.5, 6.0, 7.5, 9.0) for sign in (1, -1))
"""Rotations tried where the expected one finds nothing; what lies between is found by refinement."""
_UPRIGHT_CONFIDENCE = 0.8
"""As sure as this without turning, nothing fits better turned. A round outline alone gives less (measured: 0.65 on a retina's)."""
DYE_PULL_PX = 0.025
"""Standard uncertainty along each axis from the dye's own texture where a view has faded, or its parts tell nothing (``parts.py``;
measured: with everything else 0.057 px where dye is in tissue, 0.066 where it is in vessels, 18 runs each).
"""
_FARTHEST_TEXELS = 3.0
"""A refinement that leaves the coarse place by more than this many fine texels has lost it."""
_LEAST_LIKENESS = 10.0
"""Likeness that a lock needs, in units of 1 / sqrt(texels compared): five times what chance gives, texels going about in fours."""


@dataclass(frozen=True, eq=False)
class Sighting:
    """A picture on its way through registration: its texture, the spectra of it at the rotations looked at so far, and whose
    ``turn`` it is: which rows are looked at goes by that.
    """

    texture: Texture
    spectra: dict[float, C64]
    turn: int = 0

    @classmethod
    def of(cls, texture: Texture, turn: int = 0) -> Self:
        """Wrap a texture."""
        return cls(texture, {}, turn)

    def spectrum(self, correlator: Correlator, rotation_deg: float) -> C64:
        """Spectrum of the texture turned back by ``rotation_deg``."""
        if rotation_deg not in self.spectra:
            self.spectra[rotation_deg] = correlator.transformed(_turned_back(self.texture.coarse, rotation_deg))
        return self.spectra[rotation_deg]


@dataclass(frozen=True, eq=False)
class Registration:
    """One reference view. Translation from a cross-correlation, then translation and rotation by least squares, of which those
    parts of the view are left out that ``counted`` (down, across) holds False for.
    """

    reducer: Reducer
    texture: Texture
    _correlator: Correlator
    counted: Mask = field(default_factory=lambda: WHOLE)

    @classmethod
    def of(cls, reference: Counts, calibration: Calibration | Reducer) -> Self:
        """Take a raw (height, width) uint16 picture as the reference. Raises Refused where the calibration is for another size.

        A ``Reducer`` may be given instead of the calibration, to share it among references.
        """
        reducer = calibration if isinstance(calibration, Reducer) else Reducer(calibration)
        return cls.seen(reducer, reducer.texture(reference))

    @classmethod
    def seen(cls, reducer: Reducer, texture: Texture) -> Self:
        """Take a texture that ``reducer`` made as the reference."""
        return cls(reducer, texture, Correlator.of(texture.coarse))

    @property
    def texels(self) -> int:
        """How many texels of the view least squares compares, where the other picture shows them all."""
        return round(float(self.counted.mean()) * compared_texels(self.texture.fine))

    def shift(self, frame: Counts, near_deg: float | None = None) -> Motion:
        """Motion from the reference to ``frame``, raw (height, width) uint16.

        ``near_deg`` is about how far it is turned, where that is known; otherwise other rotations are looked at wherever none does
        not fit well. Without a lock the motion is zero, its confidence below ``CONFIDENCE_LIMIT`` and ``locked`` False. Raises
        Refused where the size is another.
        """
        sighting = Sighting.of(self.reducer.texture(frame))
        return self.seek(sighting) if near_deg is None else self.match(sighting, near_deg)

    def seek(self, sighting: Sighting) -> Motion:
        """Motion to a picture of which nothing is known: upright where that fits well, else the best of other rotations too."""
        upright = self.coarse(sighting, 0.0)
        if upright.confidence >= _UPRIGHT_CONFIDENCE:
            return self.refine(sighting, upright, 0.0)
        return self.search(sighting, (0.0, *SEARCHED_DEG))

    def search(self, sighting: Sighting, rotations_deg: Sequence[float]) -> Motion:
        """Best of what these rotations find."""
        coarse = [(self.coarse(sighting, rotation), rotation) for rotation in rotations_deg]
        best, rotation = max(coarse, key=lambda found: found[0].confidence)
        if best.confidence < _SEARCH_LIMIT:
            return Motion(confidence=min(best.confidence, CONFIDENCE_LIMIT - 0.01), locked=False)
        return self.refine(sighting, best, rotation)

    def match(self, sighting: Sighting, near_deg: float = 0.0) -> Motion:
        """Motion to a picture that is turned by about ``near_deg`` (within a degree)."""
        return self.refine(sighting, self.coarse(sighting, near_deg), near_deg)

    def coarse(self, sighting: Sighting, near_deg: float) -> Motion:
        """Translation alone, to about a pixel, taking the rotation as ``near_deg``; good for its confidence."""
        peak = self._correlator.peak(sighting.spectrum(self._correlator, near_deg))
        if peak.confidence < CONFIDENCE_LIMIT:
            return Motion(confidence=peak.confidence, locked=False)
        step = sighting.texture.coarse_step * sighting.texture.block_px
        turned = Motion(0.0, 0.0, near_deg)
        return Motion(peak.dx * step, peak.dy * step, 0.0, peak.confidence).then(turned)

    def refine(self, sighting: Sighting, start: Motion, near_deg: float) -> Motion:
        """Better translation and rotation than ``start``, which ``coarse`` found; no lock where the two contradict each other."""
        if not start.locked:
            return start
        block = self.texture.block_px
        texels = (start.dx_px / block, start.dy_px / block, math.radians(near_deg))
        dx, dy, radians, likeness = refined(
            self.texture.fine, sighting.texture.fine, texels, sighting.turn, self.counted
        )
        away = math.hypot(dx - texels[0], dy - texels[1])
        if likeness < _LEAST_LIKENESS / math.sqrt(self.texels) or away > _FARTHEST_TEXELS:
            return Motion(confidence=0.0, locked=False)
        u_px = math.hypot(block * place_u_texels(likeness, self.texels), DYE_PULL_PX)
        shared_px = view_share(self.texture.fine) * block * noise_u_texels(likeness, self.texels)
        own_px, turn_deg = math.sqrt(u_px**2 - shared_px**2), math.degrees(radians)
        return Motion(dx * block, dy * block, turn_deg, start.confidence, True, likeness, u_px, own_px=own_px)


def _turned_back(texture: F32, rotation_deg: float) -> F32:
    """The texture as if the hand had not turned by ``rotation_deg``, zero beyond the edge."""
    if rotation_deg == 0.0:
        return texture
    turned = into_reference(texture, Motion(0.0, 0.0, rotation_deg), np.empty_like(texture))
    return np.nan_to_num(turned, copy=False)
