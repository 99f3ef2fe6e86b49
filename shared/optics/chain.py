"""From LED to electrons: how much of the dye's glow and how much leaked excitation reach the sensor, over the picture.

The model, per photon that the LEDs send out: the clean-up filter takes its share; the layer absorbs 1 - 10^-A of the rest; a
share (the quantum yield) of that is emitted again, half of it outwards, and the layer takes some of it back (the inner filter
factor at the emitted wavelength); the emission filter and the sensor weigh what is left. The tissue behind throws ``reflectance``
of the excitation back into the same filter and sensor: that is leakage. Signal and leakage leave the tissue alike, so lens,
distance and fall-off cancel in their ratio.

What it leaves out: scattering and depth, blood and pigment, excitation that passes the layer a second time (up to twice the
signal), mirror reflections from wet skin, light that finds its way inside the case, glow of filters and plastics, room light,
bleaching, and dependence of the quantum yield on surroundings. Ratios between sets of parts are worth more than the
numbers themselves, and a quantum yield known within a factor of three bounds every signal to leakage.
"""

from dataclasses import dataclass

import numpy as np

from shared.optics.dye import absorbance, absorbed_share, inner_filter_share
from shared.optics.field_angles import POSITIONS, Position, Rays, cone_deg, field_angle_deg, radius_mm, steepest_deg
from shared.optics.focus import magnification
from shared.optics.interference_filter import TRUSTED_ANGLE_DEG, shift_factor
from shared.optics.parts_file import Parts
from shared.optics.spectrum import F64, STEP_NM, WAVELENGTH_NM, in_photons, integral, mean

OUTWARD_SHARE = 0.5


@dataclass(frozen=True)
class AtPosition:
    """One place in the picture.

    ``chief_ray_shift_nm`` is what the chief ray's angle does to the shorter edge; ``leakage_share`` the share of the light's power
    on the target that the emission filter passes, ``emission_passed_share`` that of the dye's glow. Signal and leakage are
    electrons per million photons sent out by the LEDs, if the lens gathered all that leaves the tissue.
    """

    position: Position
    field_angle_deg: float
    filter_angle_deg: float
    steepest_ray_deg: float
    passes_from_nm: float | None
    passes_to_nm: float | None
    chief_ray_shift_nm: float
    leakage_share: float
    emission_passed_share: float
    signal_per_million: float
    leakage_per_million: float

    @property
    def signal_to_leakage(self) -> float | None:
        """None where nothing leaks."""
        return self.signal_per_million / self.leakage_per_million if self.leakage_per_million > 0 else None

    @property
    def worth(self) -> float:
        """S^2 / (S + K), the square of signal over shot noise per exposure: twice as much does with half the exposure."""
        both = self.signal_per_million + self.leakage_per_million
        return self.signal_per_million**2 / both if both > 0 else 0.0


@dataclass(frozen=True)
class Chain:
    """What a set of parts does, over the picture; ``epsilon_per_cm_per_molar`` is weighted by the light on the target."""

    light_passed_share: float
    epsilon_per_cm_per_molar: float
    absorbed_share: float
    inner_filter_share: float
    at: tuple[AtPosition, ...]

    def position(self, position: Position) -> AtPosition:
        """One of the places."""
        return next(at for at in self.at if at.position == position)

    @property
    def worth(self) -> float:
        """That of the worst place."""
        return min(at.worth for at in self.at)

    @property
    def untrusted_angle_deg(self) -> float | None:
        """The steepest ray, where it is beyond what the shift formula is trusted to."""
        steepest = max(at.steepest_ray_deg for at in self.at)
        return steepest if steepest > TRUSTED_ANGLE_DEG else None


def leakage_share(light_on_target: F64, filter_transmission: F64) -> float:
    """Share of a light's power that a filter passes."""
    return mean(filter_transmission, light_on_target)


def rays_at(parts: Parts, position: Position) -> Rays:
    """Rays of a place in the picture, where they meet the emission filter."""
    lens, sensor = parts.lens, parts.sensor
    radius = radius_mm(position, sensor.width_mm, sensor.height_mm)
    field_deg = field_angle_deg(radius, lens.focal_length_mm)
    if parts.emission_filter.place == "front":
        rim = lens.focal_length_mm / (2 * lens.f_number) / parts.target.distance_mm
        return Rays(position, field_deg, field_deg, steepest_deg(field_deg, rim), cone_deg(field_deg, rim))
    share = radius / radius_mm("corner", sensor.width_mm, sensor.height_mm)
    chief_deg = float(np.degrees(np.arctan(share * np.tan(np.radians(lens.chief_ray_angle_deg)))))
    at_sensor = (1 + magnification(lens.focal_length_mm, parts.target.distance_mm)) * lens.f_number
    rim = 1 / (2 * at_sensor)
    return Rays(position, field_deg, chief_deg, steepest_deg(chief_deg, rim), cone_deg(chief_deg, rim))


def pass_band_nm(transmission: F64) -> tuple[float | None, float | None]:
    """First and last wavelength with half of the greatest transmission; None where the band runs off the grid."""
    inside = np.flatnonzero(transmission >= transmission.max() / 2)
    first, last = WAVELENGTH_NM[inside[0]] - STEP_NM / 2, WAVELENGTH_NM[inside[-1]] + STEP_NM / 2
    low = None if inside[0] == 0 else float(first)
    return low, None if inside[-1] == WAVELENGTH_NM.size - 1 else float(last)


def chain(parts: Parts) -> Chain:
    """Work out a set of parts."""
    target, dye = parts.target, parts.dye
    on_target = parts.led.power * parts.clean_light
    photons = in_photons(parts.led.power) * parts.clean_light  # per photon the LEDs send out
    epsilon = dye.table.epsilon(target.concentration_um)
    density = absorbance(epsilon, target.concentration_um, target.path_mm)
    absorbed = integral(photons * absorbed_share(density))
    unshaded = integral(photons * density) * np.log(10)
    glow = dye.emission_photons * inner_filter_share(density) * absorbed * dye.quantum_yield * OUTWARD_SHARE
    thrown_back = photons * target.reflectance
    return Chain(
        light_passed_share=integral(on_target),
        epsilon_per_cm_per_molar=mean(epsilon, on_target),
        absorbed_share=absorbed / integral(photons),
        inner_filter_share=float(absorbed / unshaded) if unshaded > 0 else 1.0,
        at=tuple(_at(parts, position, on_target, glow, thrown_back) for position in POSITIONS),
    )


def _at(parts: Parts, position: Position, on_target: F64, glow: F64, thrown_back: F64) -> AtPosition:
    rays = rays_at(parts, position)
    passed = parts.emission_filter.over(rays.angles_deg)
    counted = passed * parts.sensor.electrons_per_photon
    first, last = pass_band_nm(parts.emission_filter.at_angle(0.0))
    edge_nm = first if first is not None else last
    factor = float(shift_factor(rays.chief_deg, parts.emission_filter.n_eff))
    low, high = pass_band_nm(passed)
    return AtPosition(
        position=position,
        field_angle_deg=rays.field_angle_deg,
        filter_angle_deg=rays.chief_deg,
        steepest_ray_deg=rays.steepest_deg,
        passes_from_nm=low,
        passes_to_nm=high,
        chief_ray_shift_nm=0.0 if edge_nm is None else edge_nm * (factor - 1),
        leakage_share=leakage_share(on_target, passed),
        emission_passed_share=mean(passed, parts.dye.emission_photons),
        signal_per_million=1e6 * integral(glow * counted),
        leakage_per_million=1e6 * integral(thrown_back * counted),
    )
