"""Ring and its irradiance. Outside checks: worked cases by hand, and scipy's integration and optimisers.

"Worked case" below means figures computed once outside this program from N I / d^2 and the cosine laws, with their tolerances.
"""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import dblquad, quad
from scipy.optimize import differential_evolution
from scipy.stats import norm

from shared.errors import Refused
from shared.optics.ring import Ring, axis_intensity_w_sr, lobe_exponent, read_ring
from shared.optics.ring_irradiance import (
    TOLERANCE,
    axis_irradiance_w_m2,
    highest_irradiance_w_m2,
    nearest_distance_mm,
)

RING = Ring(
    leds=8,
    radius_mm=0,
    wavelength_nm=770,
    fwhm_nm=30,
    half_angle_deg=60,
    emitter_diameter_mm=3,
    radiant_intensity_w_sr=0.5,
)

TEXT = {
    "leds": "8",
    "radius_mm": "30.0",
    "wavelength_nm": "770",
    "fwhm_nm": "30",
    "radiant_intensity_w_sr": "0.5",
    "half_angle_deg": "30",
    "emitter_diameter_mm": "3",
    "level": "1.0",
}


def written(folder: Path, **changes: str | None) -> Path:
    """A ring's file with some keys changed, or left out for None."""
    file = folder / "ring.toml"
    lines = [f"{key} = {value}" for key, value in (TEXT | changes).items() if value is not None]
    file.write_text("\n".join(["[ring]", *lines]))
    return file


rings = st.builds(
    Ring,
    leds=st.integers(1, 40),
    radius_mm=st.floats(0, 100),
    wavelength_nm=st.floats(750, 1000),
    fwhm_nm=st.floats(1, 50),
    half_angle_deg=st.floats(5, 89.9),
    emitter_diameter_mm=st.floats(0.1, 10),
    radiant_intensity_w_sr=st.floats(0.001, 100),
    level=st.floats(0.01, 1),
)


# ---- the file -------------------------------------------------------------------------------------------------------


def test_a_ring_is_read(tmp_path: Path) -> None:
    found = read_ring(written(tmp_path))
    assert found == replace(RING, radius_mm=30.0, half_angle_deg=30.0)
    assert found.intensity_w_sr == 0.5


def test_power_may_stand_in_place_of_intensity(tmp_path: Path) -> None:
    found = read_ring(
        written(tmp_path, radiant_intensity_w_sr=None, radiant_power_w="1.0", half_angle_deg="60", level="0.5")
    )
    assert found.full_intensity_w_sr == pytest.approx(1 / math.pi, rel=1e-12)  # a Lambert emitter: P = pi I
    assert found.intensity_w_sr == pytest.approx(0.5 / math.pi, rel=1e-12)


@pytest.mark.parametrize(
    ("changes", "line"),
    [
        ({"wavelength_nm": None}, "missing key: ring.wavelength_nm"),
        ({"half_angle_deg": None}, "missing key: ring.half_angle_deg"),
        ({"radiant_intensity_w_sr": "-0.5"}, "ring.radiant_intensity_w_sr must be from 0 to 10000: -0.5"),
        ({"radiant_power_w": "-1", "radiant_intensity_w_sr": None}, "ring.radiant_power_w must be from 0 to 1000: -1"),
        ({"radiant_power_w": "1"}, "exactly one of radiant_intensity_w_sr (0.5) and radiant_power_w (1) must be above 0"),
        ({"radiant_intensity_w_sr": None}, "exactly one of radiant_intensity_w_sr (0) and radiant_power_w (0)"),
        ({"wavelength_nm": "640"}, "ring.wavelength_nm must be from 700 to 1400: 640"),
        ({"wavelength_nm": "1550"}, "ring.wavelength_nm must be from 700 to 1400: 1550"),
        ({"wavelength_nm": "720"}, "outside 700 to 1400 nm, where the limits used here hold (IEC 62471:2006 4.3.6)"),
        ({"wavelength_nm": "1390"}, "wavelength_nm 1390 with fwhm_nm 30 reaches outside"),
        ({"level": "0"}, "ring.level must be from 0.001 to 1: 0"),
        ({"level": "1.2"}, "ring.level must be from 0.001 to 1: 1.2"),
        ({"half_angle_deg": "90"}, "ring.half_angle_deg must be from 1 to 89.9: 90"),
        ({"leds": "0"}, "ring.leds must be from 1 to 500: 0"),
        ({"leds": "8.0"}, "ring.leds must be a whole number: 8.0"),
        ({"radius_mm": "nan"}, "ring.radius_mm must be finite: nan"),
        ({"colour": "'red'"}, "unknown key: ring.colour"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_named_with_file_and_value(tmp_path: Path, changes: dict[str, str | None], line: str) -> None:
    file = written(tmp_path, **changes)
    with pytest.raises(Refused) as refused:
        read_ring(file)
    assert str(file) in refused.value.line
    assert line in refused.value.line


# ---- the lobe and the spectrum --------------------------------------------------------------------------------------


def test_lobe_exponent() -> None:
    assert lobe_exponent(60) == pytest.approx(1, rel=1e-12)  # Lambert's cosine law
    assert lobe_exponent(30) == pytest.approx(4.8188, abs=5e-5)  # worked case
    for half_angle_deg in (3, 15, 45, 80):
        assert math.cos(math.radians(half_angle_deg)) ** lobe_exponent(half_angle_deg) == pytest.approx(0.5, rel=1e-12)


@pytest.mark.parametrize("half_angle_deg", [5, 15, 30, 60, 85])
def test_the_lobe_holds_the_power(half_angle_deg: float) -> None:
    """scipy's quadrature of I(angle) over the half space gives the power back."""
    exponent = lobe_exponent(half_angle_deg)
    axis = axis_intensity_w_sr(1.7, exponent)
    found, _ = quad(lambda angle: axis * math.cos(angle) ** exponent * 2 * math.pi * math.sin(angle), 0, math.pi / 2)
    assert found == pytest.approx(1.7, rel=1e-8)


@pytest.mark.parametrize(
    ("wavelength_nm", "above_nm", "share", "places"),
    [
        (770, 780, 0.2162, 5e-5),
        (770, 800, 0.00927, 5e-6),
        (770, 820, 4.34e-5, 5e-8),
        (785, 780, 0.653, 5e-4),
        (760, 780, 0.0582, 5e-5),
    ],
)
def test_share_above(wavelength_nm: float, above_nm: float, share: float, places: float) -> None:
    """Worked cases of Gaussian spectra 30 nm wide, and scipy's normal distribution."""
    ring = replace(RING, wavelength_nm=wavelength_nm)
    assert ring.share_above(above_nm) == pytest.approx(share, abs=places)
    sigma = 30 / (2 * math.sqrt(2 * math.log(2)))
    assert ring.share_above(above_nm) == pytest.approx(norm.sf(above_nm, wavelength_nm, sigma), rel=1e-12)


# ---- irradiance -----------------------------------------------------------------------------------------------------


def test_leds_at_one_point_give_n_i_over_d_squared() -> None:
    assert axis_irradiance_w_m2(RING, 200) == pytest.approx(100.0, rel=1e-12)  # worked case: 8 x 0.5 W/sr at 0.2 m
    assert highest_irradiance_w_m2(RING, 200) == pytest.approx(100.0, rel=1e-12)
    assert axis_irradiance_w_m2(RING, 100) == pytest.approx(400.0, rel=1e-12)
    twelve = replace(RING, leds=12)
    assert axis_irradiance_w_m2(twelve, 200) == pytest.approx(150.0, rel=1e-12)
    assert axis_irradiance_w_m2(twelve, 300) == pytest.approx(66.67, abs=0.005)


@pytest.mark.parametrize(("half_angle_deg", "expected"), [(60, 95.647), (30, 91.668)])
def test_ring_of_30_mm_radius_exactly(half_angle_deg: float, expected: float) -> None:
    """Worked cases: 8 x 0.5 W/sr at 0.2 m, every LED at its own distance and angle."""
    ring = replace(RING, radius_mm=30, half_angle_deg=half_angle_deg)
    assert axis_irradiance_w_m2(ring, 200) == pytest.approx(expected, abs=0.001)
    assert highest_irradiance_w_m2(ring, 200) == axis_irradiance_w_m2(ring, 200)


def test_ring_of_almost_isotropic_leds() -> None:
    """Worked case of an isotropic ring, 96.717 W/m2; the widest lobe allowed (m = 0.109) lies a ninth of the way to Lambert's."""
    ring = replace(RING, radius_mm=30, half_angle_deg=89.9)
    assert 96.717 - 0.109 * (96.717 - 95.647) - 0.002 < axis_irradiance_w_m2(ring, 200) < 96.717


def plane(ring: Ring, distance_m: float, x_m: np.ndarray, y_m: np.ndarray) -> np.ndarray:
    """Irradiance written as one would by hand: I cos^m(angle of the LED) cos(angle on the plane) / r^2, summed over LEDs."""
    total = np.zeros(np.broadcast(x_m, y_m).shape)
    for number in range(ring.leds):
        turn = 2 * math.pi * number / ring.leds
        dx, dy = x_m - ring.radius_mm / 1e3 * math.cos(turn), y_m - ring.radius_mm / 1e3 * math.sin(turn)
        r = np.sqrt(dx**2 + dy**2 + distance_m**2)
        cosine = distance_m / r
        total = total + ring.intensity_w_sr * cosine**ring.lobe_exponent * cosine / r**2
    return total


@pytest.mark.parametrize("distance_mm", [16, 30, 60, 75, 90, 120, 200, 500])
@pytest.mark.parametrize(("leds", "half_angle_deg"), [(1, 30), (2, 60), (3, 20), (8, 30), (12, 15), (24, 85)])
def test_the_highest_on_the_plane_is_the_highest(leds: int, half_angle_deg: float, distance_mm: float) -> None:
    """Against scipy's global optimiser, over a square twice as wide as the ring: never below, at most a ten-thousandth above."""
    ring = replace(RING, leds=leds, half_angle_deg=half_angle_deg, radius_mm=30)

    def darkness(at: np.ndarray) -> float:
        return -float(plane(ring, distance_mm / 1e3, at[0], at[1]))

    searched = differential_evolution(darkness, [(-0.06, 0.06)] * 2, seed=1, tol=1e-10, popsize=12, maxiter=300)
    highest = highest_irradiance_w_m2(ring, distance_mm)
    assert -searched.fun * (1 - 1e-9) <= highest <= -searched.fun * (1 + TOLERANCE + 1e-6)


def test_all_light_of_an_led_crosses_every_plane() -> None:
    """scipy's integration over the plane: what the irradiances add up to is the radiated power."""
    ring = replace(RING, leds=1, radiant_intensity_w_sr=0.0, radiant_power_w=1.3, half_angle_deg=40)
    found, _ = dblquad(
        lambda turn, rho: float(plane(ring, 0.1, np.array(rho * math.cos(turn)), np.array(rho * math.sin(turn)))) * rho,
        0, 20, 0, 2 * math.pi, epsabs=1e-5,
    )  # fmt: skip
    assert found == pytest.approx(1.3, rel=1e-3)


def test_near_the_ring_the_highest_is_before_an_led() -> None:
    ring = replace(RING, radius_mm=30, half_angle_deg=30)
    before_an_led = float(plane(ring, 0.02, np.array(0.03), np.array(0.0)))
    assert 0.5 / 0.02**2 < before_an_led <= highest_irradiance_w_m2(ring, 20) < 1.01 * before_an_led
    assert before_an_led > 3 * axis_irradiance_w_m2(ring, 20)


@pytest.mark.parametrize(("leds", "half_angle_deg"), [(2, 60), (8, 30), (12, 85), (24, 30)])
def test_turning_the_surface_gains_nothing_far_away_and_little_near(leds: int, half_angle_deg: float) -> None:
    """The irradiance of a surface that faces the light is the length of the vector sum over the LEDs, where none is behind it."""
    ring = replace(RING, leds=leds, half_angle_deg=half_angle_deg, radius_mm=30)
    x_m, y_m = np.meshgrid(np.linspace(-0.06, 0.06, 121), np.linspace(-0.06, 0.06, 121))
    for distance_mm, gain in ((15, 1.05), (30, 1.05), (75, 1.0001), (150, 1.0001), (400, 1.0001)):
        facing = np.zeros((3, *x_m.shape))
        for number in range(leds):
            turn = 2 * math.pi * number / leds
            way = np.stack(
                [x_m - 0.03 * math.cos(turn), y_m - 0.03 * math.sin(turn), np.full_like(x_m, distance_mm / 1e3)]
            )
            r = np.sqrt((way**2).sum(axis=0))
            facing += ring.intensity_w_sr * (way[2] / r) ** ring.lobe_exponent * way / r**3
        assert np.sqrt((facing**2).sum(axis=0)).max() <= gain * highest_irradiance_w_m2(ring, distance_mm)


def test_a_distance_that_cannot_be_reckoned_is_refused() -> None:
    assert nearest_distance_mm(RING) == 15
    for distance_mm in (14.9, 0.0, -5.0, 2e5, math.nan):
        with pytest.raises(Refused, match=f"5 emitter diameters.*{distance_mm:g} mm"):
            highest_irradiance_w_m2(RING, distance_mm)


@given(rings, st.floats(0, 1), st.floats(1.001, 3))
@settings(max_examples=80, deadline=None)
def test_irradiance_falls_with_distance_but_no_faster_than_the_inverse_square(
    ring: Ring, where: float, farther: float
) -> None:
    nearest_mm = nearest_distance_mm(ring)
    distance_mm = nearest_mm * (2000 / nearest_mm) ** where
    near, far = (highest_irradiance_w_m2(ring, mm) for mm in (distance_mm, distance_mm * farther))
    slack = 1 + TOLERANCE + 1e-9
    assert far <= near * slack
    assert near <= far * farther**2 * slack


@given(rings, st.floats(50, 2000))
@settings(max_examples=80, deadline=None)
def test_the_highest_is_at_least_the_axis_and_grows_with_the_ring(ring: Ring, distance_mm: float) -> None:
    highest = highest_irradiance_w_m2(ring, distance_mm)
    assert highest >= axis_irradiance_w_m2(ring, distance_mm) * (1 - 1e-12)
    assert highest <= ring.leds * ring.intensity_w_sr / (distance_mm / 1e3) ** 2 * (1 + 1e-12)
    doubled = highest_irradiance_w_m2(replace(ring, level=ring.level / 2), distance_mm)
    assert doubled == pytest.approx(highest / 2, rel=1e-12)
    twice = replace(ring, leds=2 * ring.leds)
    far_mm = 20_000.0
    assert highest_irradiance_w_m2(twice, far_mm) == pytest.approx(2 * highest_irradiance_w_m2(ring, far_mm), rel=5e-3)
