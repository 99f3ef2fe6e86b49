"""Integrals over the grid, against scipy's quadrature and closed forms."""

import math

import numpy as np
import pytest
from scipy import integrate, stats

from shared.optics.spectrum import (
    FWHM_PER_SIGMA,
    STEP_NM,
    WAVELENGTH_NM,
    check_table,
    from_table,
    gaussian,
    in_photons,
    integral,
    mean,
    share_outside,
)


@pytest.mark.parametrize(
    ("centre_nm", "above_nm", "share"),
    # Radiated fractions of Gaussian LEDs above a wavelength, 30 nm wide: the normal distribution's tail
    [(770, 780, 0.2162), (770, 800, 0.00927), (770, 820, 4.34e-5), (785, 780, 0.653), (760, 780, 0.0582)],
)
def test_the_tail_of_an_led_is_that_of_the_normal_distribution(centre_nm: float, above_nm: float, share: float) -> None:
    found = integral(np.where(above_nm < WAVELENGTH_NM, gaussian(centre_nm, 30), 0))
    assert found == pytest.approx(stats.norm.sf(above_nm, centre_nm, 30 / FWHM_PER_SIGMA), rel=1e-3)
    assert found == pytest.approx(share, rel=2e-3)


def test_a_gaussian_is_half_as_high_at_half_its_width() -> None:
    shape = gaussian(770, 30)
    at = np.interp([755, 770, 785], WAVELENGTH_NM, shape)
    assert at[[0, 2]] / at[1] == pytest.approx([0.5, 0.5], rel=1e-3)


def test_photons_weigh_long_waves_more() -> None:
    power = gaussian(780, 40)
    mean_energy_nm, _ = integrate.quad(lambda x: x * x * stats.norm.pdf(x, 780, 40 / FWHM_PER_SIGMA), 600, 1000)
    norm, _ = integrate.quad(lambda x: x * stats.norm.pdf(x, 780, 40 / FWHM_PER_SIGMA), 600, 1000)
    assert mean(WAVELENGTH_NM, in_photons(power)) == pytest.approx(mean_energy_nm / norm, rel=1e-7)


def test_a_table_is_straight_between_its_points_and_nothing_beyond() -> None:
    values = from_table((700.0, 800.0), (0.2, 0.4))
    assert np.interp(750, WAVELENGTH_NM, values) == pytest.approx(0.3)
    assert values[WAVELENGTH_NM < 699].max() == 0
    assert integral(values) == pytest.approx(30, rel=STEP_NM / 100)


def test_what_lies_outside_a_table_is_counted() -> None:
    outside = share_outside(gaussian(770, 30), 770, 900)
    assert outside == pytest.approx(0.5, abs=1e-9)
    assert math.isclose(share_outside(gaussian(770, 30), 660, 900), 0, abs_tol=1e-12)


@pytest.mark.parametrize(
    ("wavelengths", "values", "words"),
    [
        ((700.0, 710.0), (1.0,), "wavelength_nm has 2 numbers and x has 1"),
        ((700.0,), (1.0,), "x has 1 points; give two or more"),
        ((700.0, 700.0), (1.0, 1.0), "wavelength_nm does not rise from 700 to 700; sort"),
        ((700.0, 710.0), (0.0, 0.0), "x is nowhere above 0"),
    ],
)
def test_a_table_that_is_none_is_refused(wavelengths: tuple[float, ...], values: tuple[float, ...], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        check_table("x", wavelengths, values)
