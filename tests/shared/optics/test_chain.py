"""The light path against leakage integrals worked out by others and by scipy's quadrature, and what must hold for any parts."""

import itertools
import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from shared.optics.chain import Chain, chain, leakage_share
from shared.optics.dye import absorption_table, mirror_emission
from shared.optics.field_angles import POSITIONS
from shared.optics.interference_filter import InterferenceFilter
from shared.optics.parts_file import (
    CleanUpPart,
    DyePart,
    EmissionFilterPart,
    LedPart,
    LensPart,
    Parts,
    SensorPart,
    TargetPart,
)
from shared.optics.sensor_response import sensor_table
from shared.optics.spectrum import FWHM_PER_SIGMA, WAVELENGTH_NM, gaussian, integral

CLEAN_UP = CleanUpPart(740, 790, blocking_od=5)
FRONT = Parts(LedPart(770), EmissionFilterPart(820, 860))
CLEAN_FRONT = replace(FRONT, clean_up=CLEAN_UP)
BEHIND = replace(FRONT, emission_filter=replace(FRONT.emission_filter, place="behind"))
SIGMA_NM = 30 / FWHM_PER_SIGMA


def quad_over(function: Callable[[float], float], *breaks_nm: float) -> float:
    """scipy's adaptive quadrature between 600 and 1000 nm, told where the steps are."""
    points = sorted({600.0, 700.0, 850.0, 900.0, 1000.0, *breaks_nm})
    return float(sum(integrate.quad(function, a, b, epsabs=1e-14)[0] for a, b in itertools.pairwise(points)))


def simpson_over(function: Callable[[np.ndarray], np.ndarray]) -> float:
    """scipy's Simpson rule between the edges of the filters, in steps of 0.01 nm, from 600 to 880 nm."""
    edges = (600.0, 740.0, 790.0, 820.0, 860.0, 880.0)
    pieces = [np.linspace(a + 1e-9, b - 1e-9, round((b - a) * 100) + 1) for a, b in itertools.pairwise(edges)]
    return float(sum(integrate.simpson(function(x), x=x) for x in pieces))


def band(low_nm: float, high_nm: float, blocking_od: float, x: float) -> float:
    return 0.9 if low_nm <= x <= high_nm else 10**-blocking_od


@pytest.mark.parametrize(
    ("blocking_od", "worked"),
    # LED 770/30 nm through 820-860 nm, T 0.9, worked out elsewhere on a coarser grid (hence 2 %); scipy is asked as well
    [(3, 1.0397e-3), (4, 1.3971e-4), (5, 4.9717e-5), (6, 4.0717e-5)],
)
def test_leakage_by_blocking(blocking_od: float, worked: float) -> None:
    found = leakage_share(gaussian(770, 30), EmissionFilterPart(820, 860, blocking_od=blocking_od).at_angle(0))
    led = stats.norm(770, SIGMA_NM).pdf
    exact = quad_over(lambda x: led(x) * band(820, 860, blocking_od, x), 820, 860)
    assert found == pytest.approx(exact, rel=1e-3)
    assert found == pytest.approx(worked, rel=0.02)


@pytest.mark.parametrize(
    ("angle_deg", "worked"),
    # The same filter of OD 5 and n_eff 2.0 turned, worked out elsewhere; scipy is asked as well
    [(0, 4.876e-5), (10, 1.136e-4), (15, 3.302e-4), (20, 1.320e-3), (22.71, 3.002e-3), (27.59, 1.330e-2)],
)
def test_leakage_by_angle(angle_deg: float, worked: float) -> None:
    found = leakage_share(gaussian(770, 30), EmissionFilterPart(820, 860).at_angle(angle_deg))
    led = stats.norm(770, SIGMA_NM).pdf
    factor = math.sqrt(1 - (math.sin(math.radians(angle_deg)) / 2) ** 2)
    exact = quad_over(lambda x: led(x) * band(820 * factor, 860 * factor, 5, x), 820 * factor, 860 * factor)
    assert found == pytest.approx(exact, rel=1e-3)
    assert found == pytest.approx(worked, rel=0.01)


@pytest.mark.parametrize(("blocking_od", "worked"), [(4, 1.0e-4), (5, 1.0e-5), (6, 1.0e-6)])
def test_a_clean_up_filter_leaves_only_the_blocking(blocking_od: float, worked: float) -> None:
    """With 740-790 nm OD 5 over the LED, leakage is the emission filter's own blocking, at every angle of the picture."""
    parts = replace(CLEAN_FRONT, emission_filter=replace(FRONT.emission_filter, blocking_od=blocking_od))
    assert chain(parts).position("centre").leakage_share == pytest.approx(worked, rel=0.01)


def test_a_long_pass_leaks_by_the_softness_of_its_edge() -> None:
    """LED 770/30 nm through a long-pass 810 nm of OD 6: 1.223e-3, and 9.18e-7 behind a short-pass 785 nm of OD 5 over the LED.

    Worked out elsewhere without saying how soft the edges are. A logistic edge of 2 nm with 95 % inside (inferred) gives the first
    to its last digit; an ideal edge gives 8.45e-4 x 95 %, a third less, so an edge has to be entered as it is. No common edge was
    found for the second, which is nearly the LED below 785 nm (88 %) times 1e-6: ideal short-passes of 95 and 100 % lie 3 % below
    and 2 % above it.
    """
    led = gaussian(770, 30)
    edge = tuple(np.linspace(700.0, 1000.0, 3001))
    soft = InterferenceFilter(
        wavelength_nm=edge, transmission_at=tuple(0.95 / (1 + np.exp((810 - np.array(edge)) / 2))), blocking_od=6
    ).at_angle(0)
    assert leakage_share(led, soft) == pytest.approx(1.223e-3, abs=0.6e-6)
    ideal = InterferenceFilter(cut_on_nm=810, transmission=0.95, blocking_od=6).at_angle(0)
    assert leakage_share(led, ideal) == pytest.approx(0.95 * stats.norm.sf(810, 770, SIGMA_NM), rel=2e-3)
    for inside, worked in ((0.95, 0.97), (1.0, 1.02)):
        short = InterferenceFilter(cut_off_nm=785, transmission=inside, blocking_od=5).at_angle(0)
        assert integral(led * short * soft) == pytest.approx(9.18e-7 * worked, rel=0.01)


def test_the_corner_of_a_wide_lens_leaks() -> None:
    """On axis 4.9e-5, corner (27.6 degrees) 1.33e-2, x 273; with clean-up 1.0e-5 everywhere (worked out elsewhere)."""
    dirty, clean = chain(FRONT), chain(CLEAN_FRONT)
    assert dirty.position("centre").leakage_share == pytest.approx(4.9e-5, rel=0.01)
    assert dirty.position("corner").leakage_share == pytest.approx(1.33e-2, rel=0.01)
    assert dirty.position("corner").filter_angle_deg == pytest.approx(27.59, abs=0.01)
    assert [at.leakage_share for at in clean.at] == pytest.approx([1.0e-5] * 3, rel=0.02)
    corner = dirty.position("corner")
    assert (corner.passes_from_nm, corner.passes_to_nm) == pytest.approx((798, 837), abs=0.6)


def test_behind_the_lens_the_corner_is_nearly_the_centre() -> None:
    dirty = chain(BEHIND)
    assert dirty.position("corner").filter_angle_deg == pytest.approx(12)
    assert dirty.position("edge").filter_angle_deg < 12
    front, behind = chain(FRONT), dirty
    assert behind.position("corner").leakage_share < front.position("corner").leakage_share / 10
    assert behind.position("centre").leakage_share > front.position("centre").leakage_share, "the cone costs on axis"


def test_a_cone_behind_the_lens_against_random_rays() -> None:
    """200,000 rays through random points of the pupil, each with the normal distribution's tails as its leakage."""
    rng = np.random.default_rng(7)
    radius, turn = np.sqrt(rng.random(200_000)), rng.random(200_000) * 2 * np.pi
    rim = 1 / (2 * 2.0 * (1 + 6 / 244))
    tangent = np.hypot(np.tan(np.radians(12)) + rim * radius * np.cos(turn), rim * radius * np.sin(turn))
    factor = np.sqrt(1 - (np.sin(np.arctan(tangent)) / 2) ** 2)
    inside = stats.norm.sf(820 * factor, 770, SIGMA_NM) - stats.norm.sf(860 * factor, 770, SIGMA_NM)
    expected = float(np.mean(0.9 * inside + 1e-5 * (1 - inside)))
    assert chain(BEHIND).position("corner").leakage_share == pytest.approx(expected, rel=0.02)


def test_signal_and_leakage_on_axis_by_quadrature() -> None:
    """The whole model at the centre, by scipy from the published tables, with a lens so small that the light is collimated."""
    parts = replace(CLEAN_FRONT, lens=LensPart(f_number=22), target=TargetPart(concentration_um=3.0, path_mm=2.0))
    table, sensor = absorption_table("icg-plasma"), sensor_table("global-shutter-mono")
    led = stats.norm(770, SIGMA_NM).pdf

    def density(x: np.ndarray) -> np.ndarray:
        return np.interp(x, table.wavelength_nm, table.epsilon_per_cm_per_molar[0], 0, 0) * 3e-6 * 0.2

    def reached(x: np.ndarray) -> np.ndarray:
        return led(x) * x / 770 * np.where((x >= 740) & (x <= 790), 0.9, 1e-5)  # in photons; the LED's mean is 770 nm

    def counted(x: np.ndarray) -> np.ndarray:
        electrons = np.interp(x, sensor.wavelength_nm, sensor.quantum_efficiency)
        return electrons * np.where((x >= 820) & (x <= 860), 0.9, 1e-5)

    def escaping(x: np.ndarray) -> np.ndarray:
        thin = density(x) * math.log(10)
        return np.interp(x, WAVELENGTH_NM, mirror_emission(830.0)) * (1 - np.exp(-thin)) / np.maximum(thin, 1e-12)

    absorbed = simpson_over(lambda x: reached(x) * (1 - 10 ** -density(x)))
    seen = simpson_over(lambda x: escaping(x) * counted(x))
    leaked = simpson_over(lambda x: reached(x) * counted(x))
    centre = chain(parts).position("centre")
    assert centre.signal_per_million == pytest.approx(1e6 * absorbed * 0.04 * 0.5 * seen, rel=3e-3)
    assert centre.leakage_per_million == pytest.approx(1e6 * 0.5 * leaked, rel=3e-3)


parts_of_any_kind = st.builds(
    lambda centre, fwhm, low, width, od, edge, place, cleaned, dye: Parts(
        LedPart(centre, fwhm),
        EmissionFilterPart(low, low + width, blocking_od=od, edge_nm=edge, place=place),
        dye=DyePart(dye),
        clean_up=CLEAN_UP if cleaned else None,
    ),
    st.floats(750, 800),
    st.floats(5, 35),
    st.floats(800, 850),
    st.floats(10, 80),
    st.floats(2, 6),
    st.sampled_from([0.0, 6.0]),
    st.sampled_from(["front", "behind"]),
    st.booleans(),
    st.sampled_from(["icg-plasma", "icg-water"]),
)
quick = settings(deadline=None, max_examples=25)


def every(now: Chain, name: str) -> list[float]:
    return [getattr(at, name) for at in now.at]


@given(parts_of_any_kind, st.floats(0.1, 3))
@quick
def test_more_blocking_never_leaks_more(parts: Parts, more: float) -> None:
    deeper = replace(parts.emission_filter, blocking_od=parts.emission_filter.blocking_od + more)
    before, after = chain(parts), chain(replace(parts, emission_filter=deeper))
    for name in ("leakage_share", "leakage_per_million"):
        assert all(b >= a * (1 - 1e-12) for b, a in zip(every(before, name), every(after, name), strict=True))


@given(parts_of_any_kind)
@quick
def test_a_clean_up_filter_never_brings_more_leakage_or_signal(parts: Parts) -> None:
    bare, clean = chain(replace(parts, clean_up=None)), chain(replace(parts, clean_up=CLEAN_UP))
    for name in ("leakage_per_million", "signal_per_million"):
        assert all(b >= a for b, a in zip(every(bare, name), every(clean, name), strict=True))


@given(parts_of_any_kind, st.floats(1e-4, 1e-2))
@quick
def test_little_dye_shines_in_proportion(parts: Parts, concentration_um: float) -> None:
    once = chain(replace(parts, target=TargetPart(concentration_um=concentration_um)))
    twice = chain(replace(parts, target=TargetPart(concentration_um=2 * concentration_um)))
    assert every(twice, "signal_per_million") == pytest.approx(
        [2 * s for s in every(once, "signal_per_million")], rel=1e-3
    )
    assert every(twice, "leakage_per_million") == every(once, "leakage_per_million")


@given(parts_of_any_kind, st.floats(0.01, 1), st.floats(0.001, 1))
@quick
def test_leakage_follows_reflectance_and_signal_the_quantum_yield(
    parts: Parts, reflectance: float, quantum_yield: float
) -> None:
    now = chain(parts)
    other = chain(
        replace(
            parts,
            target=TargetPart(reflectance=reflectance),
            dye=replace(parts.dye, quantum_yield=quantum_yield),
        )
    )
    scaled = [at.leakage_per_million * reflectance / 0.5 for at in now.at]
    assert every(other, "leakage_per_million") == pytest.approx(scaled, rel=1e-9)
    scaled = [at.signal_per_million * quantum_yield / 0.04 for at in now.at]
    assert every(other, "signal_per_million") == pytest.approx(scaled, rel=1e-9)


@given(parts_of_any_kind)
@quick
def test_shares_are_shares(parts: Parts) -> None:
    now = chain(parts)
    shares = [now.light_passed_share, now.absorbed_share, now.inner_filter_share]
    shares += every(now, "leakage_share") + every(now, "emission_passed_share")
    assert all(0 <= share <= 1 + 1e-12 for share in shares)
    assert [at.position for at in now.at] == list(POSITIONS)
    assert now.worth <= min(every(now, "signal_per_million"))


def test_much_dye_shades_itself() -> None:
    """At 770 nm and 1 mm, 5 % is lost at 5.00 uM ((1 - 10^-A) / (A ln 10)); the LED's mean over its width is near that."""
    narrow = replace(FRONT, led=LedPart(770, 0.5), target=TargetPart(concentration_um=5.0))
    assert chain(narrow).inner_filter_share == pytest.approx(0.95, abs=1e-3)


def test_without_dye_there_is_no_signal_and_nothing_breaks() -> None:
    dark = chain(replace(FRONT, target=TargetPart(concentration_um=0.0)))
    assert every(dark, "signal_per_million") == [0, 0, 0]
    assert dark.worth == 0
    assert dark.inner_filter_share == 1


def test_rays_beyond_the_formula_are_told() -> None:
    wide = replace(FRONT, lens=LensPart(focal_length_mm=3))
    assert chain(wide).untrusted_angle_deg == pytest.approx(46.3, abs=0.5)
    assert chain(FRONT).untrusted_angle_deg is None


def test_own_tables_take_the_place_of_models() -> None:
    """A table that samples the Gaussian, the model's emission and the stock sensor gives what those give."""
    grid = tuple(float(x) for x in np.arange(690, 1000, 1.0))
    led = tuple(float(y) for y in stats.norm.pdf(np.array(grid), 770, SIGMA_NM))
    glow = tuple(float(y) for y in np.interp(grid, WAVELENGTH_NM, mirror_emission(830.0)))
    stocked = sensor_table("global-shutter-mono")
    response = tuple(float(y) for y in np.interp(grid, stocked.wavelength_nm, stocked.quantum_efficiency))
    tabled = Parts(
        LedPart(wavelength_nm=grid, relative_power=led),
        EmissionFilterPart(820, 860),
        dye=DyePart(wavelength_nm=grid, emission=glow),
        sensor=SensorPart(wavelength_nm=grid, quantum_efficiency=response),
    )
    found, model = chain(tabled), chain(FRONT)
    assert every(found, "leakage_per_million") == pytest.approx(every(model, "leakage_per_million"), rel=1e-2)
    kept = 1 - float(np.sum(mirror_emission(830.0)[WAVELENGTH_NM > 999]) * 0.25)
    assert [s * kept for s in every(found, "signal_per_million")] == pytest.approx(
        every(model, "signal_per_million"), rel=5e-3
    )
