"""The dye against its published tables, Beer-Lambert worked by hand, and the mirror-image rule solved another way."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from shared.errors import Refused
from shared.optics.dye import (
    absorbance,
    absorbed_share,
    absorption_table,
    inner_filter_share,
    mirror_emission,
)
from shared.optics.spectrum import WAVELENGTH_NM, gaussian, integral, mean

SPECTRA = Path(__file__).parents[2] / "reference_data" / "icg_spectrum"
PLASMA = absorption_table("icg-plasma")
WATER = absorption_table("icg-water")


def at(wavelength_nm: float, epsilon: np.ndarray) -> float:
    return float(np.interp(wavelength_nm, WAVELENGTH_NM, epsilon))


def test_the_tables_are_the_published_ones_row_for_row() -> None:
    """Both files as their authors publish them (tests/reference_data/icg_spectrum/SOURCES.md); ours is rounded to 0.1."""
    lines = (SPECTRA / "ICG_patato_raw.csv").read_text().split()
    plasma = dict(tuple(float(cell.replace(",", ".")) for cell in line.split(";")) for line in lines)
    assert PLASMA.wavelength_nm == tuple(float(nm) for nm in range(660, 901))
    published = [plasma[wavelength] for wavelength in PLASMA.wavelength_nm]
    assert PLASMA.epsilon_per_cm_per_molar[0] == pytest.approx(published, abs=0.051)
    rows = [
        [float(cell) for cell in line.split()] for line in (SPECTRA / "icg_water_omlc.csv").read_text().splitlines()[2:]
    ]
    wavelengths, *columns = np.array([row for row in rows if row]).T
    assert WATER.concentration_um == (6.5, 65.0, 650.0, 1290.0)
    assert np.array_equal(wavelengths, WATER.wavelength_nm)
    assert np.array_equal(columns, WATER.epsilon_per_cm_per_molar)


def test_ratios_of_absorption_bound_to_protein() -> None:
    """The table of patato 0.7.0, which is the source of the numbers."""
    epsilon = PLASMA.epsilon(1.0)
    peak = at(805, epsilon)
    assert peak == pytest.approx(189_325, rel=1e-3)
    ratios = [at(wavelength, epsilon) / peak for wavelength in (770, 785, 830)]
    assert ratios == pytest.approx([0.47503, 0.69626, 0.60541], rel=1e-3)
    assert WAVELENGTH_NM[np.argmax(epsilon)] == pytest.approx(810, abs=1)
    half = WAVELENGTH_NM[epsilon >= epsilon.max() / 2]
    assert (half[0], half[-1]) == pytest.approx((773, 833), abs=1)


@pytest.mark.parametrize(
    ("name", "centre_nm", "expected"),
    # LED of 30 nm: patato's table for plasma; table of anthropomorphic-phantoms 630650dc for 6.5 uM in water
    [("icg-plasma", 770, 97_477), ("icg-plasma", 785, 133_528), ("icg-water", 770, 96_907)],
)
def test_absorption_as_an_led_sees_it(name: str, centre_nm: float, expected: float) -> None:
    epsilon = absorption_table(name).epsilon(6.5)
    assert mean(epsilon, gaussian(centre_nm, 30)) == pytest.approx(expected, rel=1e-3)


def test_dye_in_water_stacks_with_concentration() -> None:
    """700 nm beside 780 nm, and the peak of the dilute solution: table of anthropomorphic-phantoms 630650dc."""
    for concentration_um, ratio in ((6.5, 0.4057), (65.0, 1.0168), (650.0, 2.7813)):
        epsilon = WATER.epsilon(concentration_um)
        assert at(700, epsilon) / at(780, epsilon) == pytest.approx(ratio, rel=2e-3)
    assert at(780, WATER.epsilon(6.5)) == pytest.approx(113_790, rel=1e-3)
    assert (at(770, WATER.epsilon(6.5)), at(785, WATER.epsilon(6.5))) == pytest.approx((104_100, 111_310), rel=1e-3)


def test_between_tabled_concentrations_and_beyond() -> None:
    between = WATER.epsilon(float(np.sqrt(6.5 * 65)))
    assert between == pytest.approx((WATER.epsilon(6.5) + WATER.epsilon(65)) / 2)
    assert np.array_equal(WATER.epsilon(0.0), WATER.epsilon(6.5))
    assert np.array_equal(WATER.epsilon(5000.0), WATER.epsilon(1290.0))


def test_absorbance_by_hand() -> None:
    """1 uM, 1 cm at 805 nm: A 0.189325, T 0.646659; 5 uM at 780 nm in water: A 0.56895, T 0.26981 (Beer-Lambert)."""
    assert absorbance(np.array(189_325.0), 1, 10) == pytest.approx(0.189325, rel=1e-9)
    assert 1 - absorbed_share(np.array(0.189325)) == pytest.approx(0.646659, abs=1e-6)
    assert absorbance(np.array(113_790.0), 5, 10) == pytest.approx(0.56895, rel=1e-9)
    assert 1 - absorbed_share(np.array(0.56895)) == pytest.approx(0.26981, abs=1e-5)


@pytest.mark.parametrize(
    ("epsilon", "concentration_um", "mu_a_per_cm"), [(189_325.0, 1.0, 0.435937), (113_790.0, 5.0, 1.31006)]
)
def test_a_layer_absorbs_by_the_absorption_coefficient(
    epsilon: float, concentration_um: float, mu_a_per_cm: float
) -> None:
    """mu_a = ln 10 epsilon c, worked by hand: 1 uM bound at 805 nm, 5 uM in water at 780 nm; 1 - exp(-mu_a l) is absorbed."""
    for path_cm in (0.1, 1.0, 3.0):
        absorbed = float(absorbed_share(absorbance(np.array(epsilon), concentration_um, 10 * path_cm)))
        assert -np.log1p(-absorbed) / path_cm == pytest.approx(mu_a_per_cm, rel=4e-6)


@pytest.mark.parametrize(
    ("density", "factor"),
    [(0.0, 1.0), (0.01, 0.98857), (0.05, 0.94458), (0.1, 0.89322), (0.5, 0.59392), (1.0, 0.39087)],
)
def test_inner_filter(density: float, factor: float) -> None:
    """(1 - 10^-A) / (A ln 10): Lakowicz, Principles of Fluorescence Spectroscopy (from memory)."""
    assert float(inner_filter_share(np.array(density))) == pytest.approx(factor, abs=1e-5)


def test_where_a_layer_loses_five_and_ten_percent() -> None:
    """A 0.044940 and 0.093180; at 770 nm and 1 mm, 5 % at 5.00 uM (the same formula, solved)."""
    for loss, density in ((0.05, 0.044940), (0.10, 0.093180)):
        found = brentq(lambda a, loss=loss: float(inner_filter_share(np.array(a))) - (1 - loss), 1e-6, 1)
        assert found == pytest.approx(density, abs=1e-6)
    epsilon = at(770, PLASMA.epsilon(5))
    assert float(inner_filter_share(absorbance(np.array(epsilon), 5.00, 1))) == pytest.approx(0.95, abs=1e-3)


@given(st.floats(1e-9, 20))
def test_a_layer_never_absorbs_more_than_a_thin_one_would(density: float) -> None:
    share = float(absorbed_share(np.array(density)))
    assert 0 < share <= min(1.0, density * np.log(10) * (1 + 1e-12))
    assert share == pytest.approx(float(inner_filter_share(np.array(density))) * density * np.log(10), rel=1e-9)


@pytest.mark.parametrize("peak_nm", [810, 820, 830, 840])
def test_the_emission_peaks_where_it_should(peak_nm: float) -> None:
    emission = mirror_emission(peak_nm)
    assert integral(emission) == pytest.approx(1, rel=1e-12)
    assert WAVELENGTH_NM[np.argmax(emission)] == pytest.approx(peak_nm, abs=0.5)


def test_the_emission_is_the_mirror_image() -> None:
    """Strickler and Berg 1962 (from memory): epsilon / nu of a wavenumber equals photons / nu^3 of its mirror image."""
    emission = mirror_emission(830.0)
    wavenumber = 1e7 / WAVELENGTH_NM
    left = PLASMA.epsilon(1.0) / wavenumber
    right = emission / wavenumber**2 / wavenumber**3

    def misfit(crossing_nm: float) -> float:
        mirrored = 1e7 / (2e7 / crossing_nm - wavenumber)
        image = np.interp(mirrored, WAVELENGTH_NM, right)
        seen = (WAVELENGTH_NM > 720) & (WAVELENGTH_NM < 880)
        return float(1 - np.corrcoef(image[seen], left[seen])[0, 1])

    assert min(misfit(crossing) for crossing in np.arange(810, 835, 0.1)) < 1e-4


def test_a_dye_that_is_not_there_is_refused() -> None:
    with pytest.raises(Refused, match="icg-serum; choose icg-plasma, icg-water"):
        absorption_table("icg-serum")
