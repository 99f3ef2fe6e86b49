"""A set of parts as a builder writes it down: dye, LED, filters, lens, sensor and what is looked at."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Self

import numpy as np

from shared.bounded import Length, Within, from_toml
from shared.optics.dye import AbsorptionTable, absorption_table, mirror_emission
from shared.optics.field_angles import Place
from shared.optics.interference_filter import InterferenceFilter, Nanometres
from shared.optics.sensor_response import sensor_table
from shared.optics.spectrum import (
    F64,
    HIGH_NM,
    LOW_NM,
    check_table,
    from_table,
    gaussian,
    normalised,
    share_outside,
)
from shared.optics.stock import stock

_LIGHT_MAY_MISS = 1e-3
_GLOW_MAY_MISS = 0.1
Share = Annotated[float, Within(0, 1)]
OnGrid = Annotated[float, Within(LOW_NM, HIGH_NM)]
Millimetres = Annotated[float, Within(0, 100)]


@dataclass(frozen=True)
class DyePart:
    """The dye: a stock table of its absorption, and where it glows (a model's peak, or a table of one's own)."""

    absorption: str = "icg-plasma"
    emission_peak_nm: Annotated[float, Within(810, 840)] = 830.0
    quantum_yield: Annotated[float, Within(0.0001, 1)] = 0.04
    wavelength_nm: Annotated[tuple[OnGrid, ...], Length(0, 5000)] = ()
    emission: Annotated[tuple[Annotated[float, Within(0, 1e12)], ...], Length(0, 5000)] = ()

    def __post_init__(self) -> None:
        if self.absorption not in stock("dyes"):
            raise ValueError(
                f"absorption {self.absorption!r} is not one of {', '.join(stock('dyes'))}; choose one of those"
            )
        if self.emission or self.wavelength_nm:
            check_table("emission", self.wavelength_nm, self.emission)

    @property
    def table(self) -> AbsorptionTable:
        """The absorption."""
        return absorption_table(self.absorption)

    @property
    def emission_photons(self) -> F64:
        """Photons per nm, integral 1."""
        if self.emission:
            return normalised(from_table(self.wavelength_nm, self.emission))
        return mirror_emission(self.emission_peak_nm)


@dataclass(frozen=True)
class LedPart:
    """Light as a Gaussian, or as a table of power per nm from the data sheet."""

    centre_nm: Annotated[float, Within(680, 850)] | None = None
    fwhm_nm: Annotated[float, Within(0.5, 100)] = 30.0
    wavelength_nm: Annotated[tuple[OnGrid, ...], Length(0, 5000)] = ()
    relative_power: Annotated[tuple[Annotated[float, Within(0, 1e12)], ...], Length(0, 5000)] = ()

    def __post_init__(self) -> None:
        if self.relative_power or self.wavelength_nm:
            check_table("relative_power", self.wavelength_nm, self.relative_power)
            if self.centre_nm is not None:
                raise ValueError("centre_nm stands beside a table; keep one of the two")
        elif self.centre_nm is None:
            raise ValueError("centre_nm is absent; give it, or wavelength_nm with relative_power")

    @property
    def power(self) -> F64:
        """Power per nm, integral 1."""
        if self.centre_nm is None:
            return normalised(from_table(self.wavelength_nm, self.relative_power))
        return gaussian(self.centre_nm, self.fwhm_nm)


@dataclass(frozen=True)
class CleanUpPart(InterferenceFilter):
    """Filter over the LEDs; ``angle_deg`` is the mean angle at which their light goes through it."""

    angle_deg: Annotated[float, Within(0, 60)] = 0.0


@dataclass(frozen=True)
class EmissionFilterPart(InterferenceFilter):
    """Filter of the camera, as a plate before or behind the lens; ``replaces`` is the plate behind the lens that was taken out."""

    place: Place = "front"
    thickness_mm: Millimetres = 1.0
    refractive_index: Annotated[float, Within(1.3, 2.5)] = 1.51
    replaces_thickness_mm: Millimetres = 0.0
    replaces_refractive_index: Annotated[float, Within(1.3, 2.5)] = 1.51


@dataclass(frozen=True)
class LensPart:
    """The lens. ``chief_ray_angle_deg`` is at the sensor's corner, behind the lens; 12 is typical of small lenses (from memory)."""

    focal_length_mm: Annotated[float, Within(1, 100)] = 6.0
    f_number: Annotated[float, Within(0.7, 22)] = 2.0
    chief_ray_angle_deg: Annotated[float, Within(0, 45)] = 12.0


@dataclass(frozen=True)
class SensorPart:
    """The sensor: a class that comes with the program (an estimate), or quantum efficiency from the data sheet."""

    response: str = "global-shutter-mono"
    width_px: Annotated[int, Within(16, 20_000)] = 1456
    height_px: Annotated[int, Within(16, 20_000)] = 1088
    pixel_um: Annotated[float, Within(0.5, 50)] = 3.45
    wavelength_nm: Annotated[tuple[Nanometres, ...], Length(0, 5000)] = ()
    quantum_efficiency: Annotated[tuple[Share, ...], Length(0, 5000)] = ()

    def __post_init__(self) -> None:
        if self.response not in stock("sensors"):
            raise ValueError(
                f"response {self.response!r} is not one of {', '.join(stock('sensors'))}; choose one of those"
            )
        if self.quantum_efficiency or self.wavelength_nm:
            check_table("quantum_efficiency", self.wavelength_nm, self.quantum_efficiency)

    @property
    def table(self) -> tuple[tuple[float, ...], tuple[float, ...]]:
        """Wavelengths and electrons a photon."""
        if self.quantum_efficiency:
            return self.wavelength_nm, self.quantum_efficiency
        stocked = sensor_table(self.response)
        return stocked.wavelength_nm, stocked.quantum_efficiency

    @property
    def electrons_per_photon(self) -> F64:
        """Quantum efficiency on the grid; 0 outside its table."""
        return from_table(*self.table)

    @property
    def width_mm(self) -> float:
        """Of the light-sensitive area."""
        return self.width_px * self.pixel_um / 1000

    @property
    def height_mm(self) -> float:
        """Of the light-sensitive area."""
        return self.height_px * self.pixel_um / 1000


@dataclass(frozen=True)
class TargetPart:
    """What is looked at: a layer with dye on tissue that throws back ``reflectance`` of the excitation (0.5: from memory)."""

    distance_mm: Annotated[float, Within(10, 2000)] = 250.0
    concentration_um: Annotated[float, Within(0, 5000)] = 0.1
    path_mm: Annotated[float, Within(0.001, 100)] = 1.0
    reflectance: Annotated[float, Within(0.001, 1)] = 0.5


@dataclass(frozen=True)
class Parts:
    """The whole, in the sections of the TOML file."""

    led: LedPart
    emission_filter: EmissionFilterPart
    dye: DyePart = field(default_factory=DyePart)
    clean_up: CleanUpPart | None = None
    lens: LensPart = field(default_factory=LensPart)
    sensor: SensorPart = field(default_factory=SensorPart)
    target: TargetPart = field(default_factory=TargetPart)
    title: Annotated[str, Length(0, 200)] = ""

    def __post_init__(self) -> None:
        if self.target.distance_mm <= self.lens.focal_length_mm * 1.5:
            raise ValueError(
                f"target.distance_mm {self.target.distance_mm:g} is too near for lens.focal_length_mm "
                f"{self.lens.focal_length_mm:g}; choose a longer distance or a shorter lens"
            )
        dye = self.dye.table
        self._check_light("dye.absorption", dye.low_nm, dye.high_nm)
        wavelengths, _ = self.sensor.table
        self._check_light("sensor.wavelength_nm", wavelengths[0], wavelengths[-1])
        if self.glow_beyond_sensor > _GLOW_MAY_MISS:
            raise ValueError(
                f"{100 * self.glow_beyond_sensor:.0f} % of the glow that passes lies outside sensor.wavelength_nm "
                f"{wavelengths[0]:g}-{wavelengths[-1]:g}; extend the table"
            )

    def _check_light(self, key: str, low_nm: float, high_nm: float) -> None:
        missed = share_outside(self.led.power, low_nm, high_nm)
        if missed > _LIGHT_MAY_MISS:
            raise ValueError(
                f"{100 * missed:.1f} % of led's light lies outside {key}'s table of {low_nm:g}-{high_nm:g} nm; "
                "extend the table, or choose another led"
            )

    @property
    def glow_beyond_sensor(self) -> float:
        """Share of the glow that the emission filter passes on axis where the sensor's table says nothing (taken as unseen)."""
        wavelengths, _ = self.sensor.table
        passed = self.dye.emission_photons * self.emission_filter.at_angle(0.0)
        return share_outside(passed, wavelengths[0], wavelengths[-1])

    @property
    def clean_light(self) -> F64:
        """Transmission of what is before the LED; 1 where there is nothing."""
        return (
            np.ones_like(self.led.power) if self.clean_up is None else self.clean_up.at_angle(self.clean_up.angle_deg)
        )

    @classmethod
    def load(cls, path: Path) -> Self:
        """Read a parts file; raises Refused naming file and key."""
        return from_toml(cls, path)
