"""The ring of LEDs as a builder describes it: what lights, how strongly, at which angle, from where. Standard library only."""

import math
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Annotated

from shared.bounded import Within, from_toml

FWHM_PER_SIGMA = 2 * math.sqrt(2 * math.log(2))

BAND_LOW_NM, BAND_HIGH_NM = 700.0, 1400.0
"""Where all limits used here hold for light that is hardly seen (IEC 62471:2006 4.3.6 ends at 1400 nm; below about 700 nm light
dazzles, and other limits, not in this program, come first)."""


@dataclass(frozen=True)
class Ring:
    """Equal LEDs evenly spaced on a circle, square to it; the keys of ``[ring]``.

    ``radiant_intensity_w_sr`` is that of each LED on its axis at full level; ``radiant_power_w`` may stand in its place (the
    other is then 0 or left out). ``half_angle_deg`` is the angle from the axis at which the intensity has halved, ``level`` the
    share of full power that is switched on. Raises ValueError, which the readers of TOML turn into Refused with the file's name.
    """

    leds: Annotated[int, Within(1, 500)]
    radius_mm: Annotated[float, Within(0, 500)]
    wavelength_nm: Annotated[float, Within(BAND_LOW_NM, BAND_HIGH_NM)]
    fwhm_nm: Annotated[float, Within(0.1, 200)]
    half_angle_deg: Annotated[float, Within(1, 89.9)]
    emitter_diameter_mm: Annotated[float, Within(0.01, 100)]
    radiant_intensity_w_sr: Annotated[float, Within(0, 10_000)] = 0.0
    radiant_power_w: Annotated[float, Within(0, 1000)] = 0.0
    level: Annotated[float, Within(0.001, 1)] = 1.0

    def __post_init__(self) -> None:
        given = (self.radiant_intensity_w_sr > 0) + (self.radiant_power_w > 0)
        if given != 1:
            raise ValueError(
                f"exactly one of radiant_intensity_w_sr ({self.radiant_intensity_w_sr:g}) and radiant_power_w "
                f"({self.radiant_power_w:g}) must be above 0"
            )
        if self.wavelength_nm - self.fwhm_nm < BAND_LOW_NM or self.wavelength_nm + self.fwhm_nm > BAND_HIGH_NM:
            raise ValueError(
                f"wavelength_nm {self.wavelength_nm:g} with fwhm_nm {self.fwhm_nm:g} reaches outside {BAND_LOW_NM:g} to "
                f"{BAND_HIGH_NM:g} nm, where the limits used here hold (IEC 62471:2006 4.3.6)"
            )

    @cached_property
    def lobe_exponent(self) -> float:
        """Exponent m of the generalised Lambert lobe I(angle) = I(0) cos(angle)^m that halves at ``half_angle_deg``."""
        return lobe_exponent(self.half_angle_deg)

    @cached_property
    def full_intensity_w_sr(self) -> float:
        """Radiant intensity of one LED on its axis at full level, given or from the power (see ``axis_intensity_w_sr``)."""
        return self.radiant_intensity_w_sr or axis_intensity_w_sr(self.radiant_power_w, self.lobe_exponent)

    @property
    def intensity_w_sr(self) -> float:
        """Radiant intensity of one LED on its axis at ``level``."""
        return self.full_intensity_w_sr * self.level

    def share_above(self, wavelength_nm: float) -> float:
        """Share of the radiated power above a wavelength, the spectrum taken as a Gaussian of this peak and width."""
        sigma_nm = self.fwhm_nm / FWHM_PER_SIGMA
        return 0.5 * math.erfc((wavelength_nm - self.wavelength_nm) / (sigma_nm * math.sqrt(2)))


@dataclass(frozen=True)
class _RingFile:
    ring: Ring


def read_ring(path: Path) -> Ring:
    """The ``[ring]`` of a TOML file; raises Refused naming file, key and value."""
    return from_toml(_RingFile, path).ring


def lobe_exponent(half_angle_deg: float) -> float:
    """Exponent m = -ln 2 / ln cos(half angle): the power of the cosine that halves there (1 at 60 degrees: a Lambert emitter)."""
    return -math.log(2) / math.log(math.cos(math.radians(half_angle_deg)))


def axis_intensity_w_sr(radiant_power_w: float, exponent: float) -> float:
    """I(0) = P (m + 1) / (2 pi): a lobe cos^m integrated over the half space gives 2 pi / (m + 1)."""
    return radiant_power_w * (exponent + 1) / (2 * math.pi)
