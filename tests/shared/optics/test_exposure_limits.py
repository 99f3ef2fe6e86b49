"""Exposure limits, and a ring against them.

"Worked case": figures computed once outside this program from the formulas of IEC 62471:2006 4.3.5-4.3.8 and ICNIRP 2013 as public
code and reviews quote them. They check our arithmetic, not the quotation: nobody here has read the standards in full.
"""

import math
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm

from shared.errors import Refused
from shared.optics.exposure_limits import (
    ALPHA_LEAST_BRIEF_RAD,
    EYE_INFRARED,
    LIMITS,
    RETINA,
    RETINA_BRIEF,
    SKIN,
    Limit,
    burn_weight,
    eye_infrared_w_m2,
    retinal_brief_w_m2_sr,
    retinal_weak_w_m2_sr,
    skin_dose_j_m2,
    spectral_burn_weight,
)
from shared.optics.ring import Ring
from shared.optics.ring_hazards import (
    Hazards,
    allowed_time_s,
    alpha_rad,
    binding_limit,
    hazards,
    radiance_w_m2_sr,
    risk_group,
    shortest_distance_mm,
)

RING = Ring(
    leds=8,
    radius_mm=30,
    wavelength_nm=770,
    fwhm_nm=30,
    half_angle_deg=30,
    emitter_diameter_mm=3,
    radiant_intensity_w_sr=0.5,
)
AT_ONE_POINT = replace(RING, radius_mm=0)


def only_eye(irradiance_w_m2: float) -> Hazards:
    return Hazards(irradiance_w_m2, 0.0, 0.0)


# ---- the limits -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("time_s", "limit_w_m2", "places"),
    [(1, 18000, 1e-9), (7, 4182.63, 5e-3), (10, 3200.903, 5e-4), (100, 569.210, 5e-4), (1000, 101.221, 5e-4), (1001, 100, 1e-9)],
)  # fmt: skip
def test_infrared_at_the_eye(time_s: float, limit_w_m2: float, places: float) -> None:
    """Worked cases, IEC 62471:2006 4.3.7; the small step down after 1000 s is in the standard."""
    assert eye_infrared_w_m2(time_s) == pytest.approx(limit_w_m2, abs=places)


@pytest.mark.parametrize(
    ("irradiance_w_m2", "allowed_s", "places"),
    [(150, 591.89, 5e-3), (400, 160.06, 5e-3), (570, 99.815, 5e-4), (3200, 10.0038, 5e-5), (10000, 2.1896, 5e-5)],
)
def test_allowed_time_at_the_eye(irradiance_w_m2: float, allowed_s: float, places: float) -> None:
    """Worked cases: t = (18000 / E)^(4/3)."""
    assert EYE_INFRARED.allowed_s(irradiance_w_m2) == pytest.approx(allowed_s, abs=places)


def test_light_up_to_the_continuous_limit_need_not_end() -> None:
    assert math.isinf(EYE_INFRARED.allowed_s(100.0))
    assert math.isinf(EYE_INFRARED.allowed_s(0.0))
    assert EYE_INFRARED.allowed_s(100.01) == pytest.approx(
        100_000 / 100.01
    )  # by the dose of 1000 s, not by the step's edge


@pytest.mark.parametrize(("time_s", "dose_j_m2"), [(1, 20000), (10, 35565.6)])
def test_skin(time_s: float, dose_j_m2: float) -> None:
    """Worked cases: 20000 t^0.25; 10 s is a mean of 3556.6 W/m2. The case of 0.25 s, 14142.1 J/m2, is below the times used here."""
    assert skin_dose_j_m2(time_s) == pytest.approx(dose_j_m2, abs=0.05)
    assert SKIN.pieces[0].dose(0.25) == pytest.approx(14142.1, abs=0.05)
    assert SKIN.continuous == pytest.approx(3556.6, abs=0.05)
    assert math.isinf(SKIN.allowed_s(3556))
    assert SKIN.allowed_s(20000) == pytest.approx(1)


@pytest.mark.parametrize(
    ("wavelength_nm", "weight"),
    [(500, 1), (700, 1), (770, 0.724436), (780, 0.691831), (785, 0.676083), (800, 0.630957), (850, 0.501187),
     (940, 0.331131), (1050, 0.199526), (1100, 0.2), (1200, 0.02), (1400, 0.02)],
)  # fmt: skip
def test_burn_weight(wavelength_nm: float, weight: float) -> None:
    """Worked cases of the table of ICNIRP 2013 / IEC 62471:2006."""
    assert burn_weight(wavelength_nm) == pytest.approx(weight, abs=5e-7)


@pytest.mark.parametrize(("wavelength_nm", "fwhm_nm"), [(770, 30), (785, 30), (850, 50), (1050, 60), (735, 30)])
def test_spectral_burn_weight(wavelength_nm: float, fwhm_nm: float) -> None:
    """scipy's quadrature over the same Gaussian; never below the weight at the peak where the weight is convex."""
    sigma = fwhm_nm / (2 * math.sqrt(2 * math.log(2)))
    low, high = wavelength_nm - 4 * sigma, wavelength_nm + 4 * sigma
    spectrum = norm(wavelength_nm, sigma)
    found, _ = quad(lambda nm: burn_weight(nm) * spectrum.pdf(nm), low, high, points=[700, 1050, 1150], limit=200)
    share = spectrum.cdf(high) - spectrum.cdf(low)
    assert spectral_burn_weight(wavelength_nm, fwhm_nm) == pytest.approx(found / share, rel=2e-4)
    if low > 700 and high < 1050:
        assert spectral_burn_weight(wavelength_nm, fwhm_nm) > burn_weight(wavelength_nm)


def test_retinal_limits() -> None:
    """Worked cases: 6000/0.011 and 6000/0.1 (IEC 62471:2006 4.3.6), 6000/0.015."""
    assert retinal_weak_w_m2_sr(100, 0.011) == pytest.approx(545454.5, abs=0.05)
    assert retinal_weak_w_m2_sr(100, 0.1) == pytest.approx(60000)
    assert retinal_weak_w_m2_sr(11, 0.015) == pytest.approx(400000)
    assert retinal_brief_w_m2_sr(1, 0.1) == pytest.approx(200000)
    assert retinal_brief_w_m2_sr(10, 0.02) == pytest.approx(2e4 / 0.02 / 10**0.25)


@pytest.mark.parametrize("time_s", [1, 2, 5, 9.9, 10])
def test_the_stricter_retinal_limit_is_used_up_to_10_s(time_s: float) -> None:
    """ICNIRP 2013 weak stimulus against its basic limit 2.8e4/alpha and 5.0e4/(alpha t^0.25) of IEC 62471:2006 4.3.5 (memory)."""
    assert retinal_brief_w_m2_sr(time_s, 0.05) <= min(2.8e4 / 0.05, 5.0e4 / (0.05 * time_s**0.25))
    assert RETINA_BRIEF.dose(time_s) == pytest.approx(retinal_brief_w_m2_sr(time_s, 0.1) * 0.1 * time_s)


@pytest.mark.parametrize("time_s", [11, 50, 99, 100, 1000, 30000])
def test_the_stricter_retinal_limit_is_used_beyond_10_s(time_s: float) -> None:
    """6000/alpha against ICNIRP 2013: 2.0e4/(alpha t^0.25) below 100 s, 6300/alpha from there (erratum, eq. 9)."""
    icnirp = 2.0e4 / (0.05 * time_s**0.25) if time_s < 100 else 6300 / 0.05
    assert retinal_weak_w_m2_sr(time_s, 0.05) <= icnirp
    assert RETINA.dose(time_s) == pytest.approx(retinal_weak_w_m2_sr(time_s, 0.05) * 0.05 * time_s)


@pytest.mark.parametrize(
    ("asked", "line"),
    [
        (lambda: eye_infrared_w_m2(0.5), "IEC 62471:2006 4.3.7 is used for 1 to 30000 s: 0.5 s"),
        (lambda: eye_infrared_w_m2(-1), "4.3.7 is used for 1 to 30000 s: -1 s"),
        (lambda: eye_infrared_w_m2(math.nan), "4.3.7 is used for 1 to 30000 s: nan s"),
        (lambda: eye_infrared_w_m2(40000), "4.3.7 is used for 1 to 30000 s: 40000 s"),
        (lambda: retinal_weak_w_m2_sr(10, 0.05), "4.3.6 is used for more than 10 to 30000 s: 10 s"),
        (lambda: retinal_weak_w_m2_sr(20, 0.005), "4.3.6 holds for alpha from 0.011 to 0.1 rad: 0.005 rad"),
        (lambda: retinal_weak_w_m2_sr(20, 0.2), "4.3.6 holds for alpha from 0.011 to 0.1 rad: 0.2 rad"),
        (lambda: retinal_brief_w_m2_sr(20, 0.05), "ICNIRP 2013, weak visual stimulus is used for 1 to 10 s: 20 s"),
        (lambda: retinal_brief_w_m2_sr(5, 0.001), "holds for alpha from 0.0015 to 0.1 rad: 0.001 rad"),
        (lambda: skin_dose_j_m2(11), "skin is used for 1 to 10 s: 11 s"),
        (lambda: burn_weight(1500), "the burn hazard weight (ICNIRP 2013) is used from 500 to 1400 nm: 1500 nm"),
        (lambda: burn_weight(450), "used from 500 to 1400 nm: 450 nm"),
    ],
)  # fmt: skip
def test_outside_its_validity_a_limit_is_refused_with_clause_and_value(asked: object, line: str) -> None:
    with pytest.raises(Refused) as refused:
        asked()  # type: ignore[operator]
    assert line in refused.value.line


@pytest.mark.parametrize("limit", LIMITS, ids=lambda limit: limit.name)
def test_a_longer_window_never_allows_less(limit: Limit) -> None:
    windows_s = [0.5 * 1.01**step for step in range(1200)]
    doses = [limit.dose(window_s) for window_s in windows_s]
    assert doses == sorted(doses)
    means = [dose / window_s for dose, window_s in zip(doses, windows_s, strict=True)]
    assert all(later <= earlier * (1 + 1e-12) for earlier, later in pairwise(means))


@pytest.mark.parametrize("time_s", [1, 3, 10, 99, 500, 952, 999, 1000, 1001, 30000])
def test_no_dose_exceeds_what_the_clause_says(time_s: float) -> None:
    assert EYE_INFRARED.dose(time_s) <= eye_infrared_w_m2(time_s) * time_s * (1 + 1e-12)
    if time_s <= 950:
        assert EYE_INFRARED.dose(time_s) == pytest.approx(eye_infrared_w_m2(time_s) * time_s)


@given(st.sampled_from(LIMITS), st.floats(1.0001, 1e4), st.floats(1, 10))
def test_allowed_time_is_monotone_and_uses_up_the_dose(limit: Limit, excess: float, more: float) -> None:
    value = limit.continuous * excess
    time_s = limit.allowed_s(value)
    assert limit.allowed_s(value * more) <= time_s
    assert value * time_s == pytest.approx(limit.dose(time_s), rel=1e-9)


# ---- a ring against them --------------------------------------------------------------------------------------------


def test_eight_leds_reach_the_continuous_limit_exactly() -> None:
    """Worked case: 8 x 0.5 W/sr at 0.2 m is 100 W/m2; at 0.1 m 400 W/m2 and 160 s."""
    assert hazards(AT_ONE_POINT, 200).irradiance_w_m2 == pytest.approx(100, rel=1e-12)
    assert EYE_INFRARED.allowed_s(hazards(AT_ONE_POINT, 100).irradiance_w_m2) == pytest.approx(160.06, abs=5e-3)


def test_one_led_at_the_retina() -> None:
    """Worked case: 0.5 W/sr from 3 mm at 0.2 m has L = 70735.5, alpha 0.015, R L = 51243 against 400000, 12.8 %."""
    assert alpha_rad(3, 200) == pytest.approx(0.015)
    assert radiance_w_m2_sr(RING, 200) == pytest.approx(70735.5, abs=0.05)
    assert burn_weight(770) * radiance_w_m2_sr(RING, 200) == pytest.approx(51243, abs=1)
    # ours weighs with the LED's whole spectrum, 0.17 % more than at its peak
    found = hazards(RING, 200).retinal_w_m2_sr_rad
    assert found == pytest.approx(51243 * 0.015 * 1.00172, rel=1e-4)
    assert found / RETINA.continuous == pytest.approx(0.128, abs=5e-4)


def test_one_small_led_is_averaged_over_11_mrad() -> None:
    """Worked case: 1 mm at 0.2 m counts as 0.011 rad; L = 131533, R L = 95288 against 545455, 17.5 %."""
    small = replace(RING, emitter_diameter_mm=1)
    assert alpha_rad(1, 200) == 0.011
    assert radiance_w_m2_sr(small, 200) == pytest.approx(131533, abs=1)
    assert burn_weight(770) * radiance_w_m2_sr(small, 200) == pytest.approx(95288, abs=1)
    assert hazards(small, 200).retinal_w_m2_sr_rad / RETINA.continuous == pytest.approx(0.175, abs=5e-4)
    # for up to 10 s the eye is taken to hold still: 1.5 mrad, so the LED's own 5 mrad count
    assert radiance_w_m2_sr(small, 200, ALPHA_LEAST_BRIEF_RAD) == pytest.approx(0.5 / (math.pi / 4 * 1e-6))
    assert hazards(small, 200).retinal_brief_w_m2_sr_rad > 2 * hazards(small, 200).retinal_w_m2_sr_rad


def test_a_wide_led_counts_with_a_tenth_of_a_radian_at_most() -> None:
    assert alpha_rad(50, 200) == 0.1
    wide = replace(RING, leds=1, emitter_diameter_mm=30)
    radiance = 0.5 / (math.pi / 4 * 0.03**2)
    assert hazards(wide, 150).retinal_w_m2_sr_rad == pytest.approx(radiance * 0.1 * spectral_burn_weight(770, 30))


def test_from_which_intensity_on_the_retina_governs_a_single_led() -> None:
    """Worked case: a single 3 mm LED at 0.2 m needs more than 3.90 W/sr for the retinal limit to be reached."""
    one = replace(RING, leds=1)
    assert hazards(replace(one, radiant_intensity_w_sr=3.85), 200).retinal_w_m2_sr_rad < RETINA.continuous
    assert hazards(replace(one, radiant_intensity_w_sr=3.91), 200).retinal_w_m2_sr_rad > RETINA.continuous


def test_irradiance_adds_over_leds_but_radiance_does_not() -> None:
    """Twice the LEDs, far enough apart: twice the irradiance (within the ring's width), the same retinal image."""
    four, eight = hazards(replace(RING, leds=4), 200), hazards(RING, 200)
    assert eight.irradiance_w_m2 == pytest.approx(2 * four.irradiance_w_m2, rel=1e-12)
    assert eight.retinal_w_m2_sr_rad == four.retinal_w_m2_sr_rad


@given(st.integers(2, 60), st.floats(1, 60), st.floats(0.3, 20), st.floats(100, 1000))
@settings(max_examples=60, deadline=None)
def test_no_circle_of_the_retina_gets_more_than_is_reckoned(
    leds: int, radius_mm: float, emitter_mm: float, distance_mm: float
) -> None:
    """By hand: the light that LEDs wholly inside a circle bring, over the circle's area, times its angle, for circles of all
    sizes from 0.011 to 0.1 rad about each arc of LEDs."""
    ring = replace(RING, leds=leds, radius_mm=radius_mm, emitter_diameter_mm=emitter_mm)
    if 2 * radius_mm * math.sin(math.pi / leds) < emitter_mm or distance_mm < 5 * emitter_mm:
        return  # LEDs that overlap, or a distance that is refused
    found = hazards(ring, distance_mm).retinal_w_m2_sr_rad / spectral_burn_weight(770, 30)
    centres = [
        (radius_mm * math.cos(2 * math.pi * n / leds), radius_mm * math.sin(2 * math.pi * n / leds))
        for n in range(leds)
    ]
    for step in range(60):
        alpha = 0.011 * (0.1 / 0.011) ** (step / 59)
        across_mm = alpha * distance_mm
        for count in range(1, leds + 1):
            first, last = centres[0], centres[count - 1]
            middle = ((first[0] + last[0]) / 2, (first[1] + last[1]) / 2) if 2 * (count - 1) <= leds else (0.0, 0.0)
            inside = sum(math.dist(middle, centre) + emitter_mm / 2 <= across_mm / 2 for centre in centres)
            assert inside * 0.5 / (math.pi / 4 * (across_mm / 1e3) ** 2) * alpha <= found * (1 + 1e-9)


@pytest.mark.parametrize(
    ("leds", "limit_w_m2", "distance_mm", "places"),
    [(8, 100, 200.0, 0.05), (8, 570, 83.8, 0.05), (12, 100, 244.95, 0.005)],
)
def test_shortest_distance(leds: int, limit_w_m2: float, distance_mm: float, places: float) -> None:
    """Worked cases: sqrt(N I / E): 0.200 m, 0.0838 m, 0.24495 m; by one wide LED of N I, lest the retina bind."""
    ring = replace(AT_ONE_POINT, leds=1, radiant_intensity_w_sr=leds * 0.5 * 100 / limit_w_m2, emitter_diameter_mm=9)
    assert shortest_distance_mm(ring) == pytest.approx(distance_mm, abs=places)


@pytest.mark.parametrize("half_angle_deg", [15, 30, 60])
@pytest.mark.parametrize("leds", [6, 8, 24])
def test_from_the_shortest_distance_on_light_need_not_end(leds: int, half_angle_deg: float) -> None:
    ring = replace(RING, leds=leds, half_angle_deg=half_angle_deg)
    shortest_mm = shortest_distance_mm(ring)
    assert math.isinf(allowed_time_s(hazards(ring, shortest_mm)))
    assert math.isinf(allowed_time_s(hazards(ring, shortest_mm * 1.5)))
    assert math.isfinite(allowed_time_s(hazards(ring, shortest_mm - 0.02)))


def test_shortest_distance_of_faint_and_monstrous_rings() -> None:
    assert shortest_distance_mm(replace(RING, radiant_intensity_w_sr=1e-4)) == 15  # the nearest that is reckoned
    with pytest.raises(Refused, match="exceeds the limits even at 100 m: 10000 W/sr"):
        shortest_distance_mm(replace(RING, leds=500, radiant_intensity_w_sr=10_000))


def test_the_binding_limit_is_the_infrared_eye_for_a_ring_and_the_retina_for_a_narrow_beam() -> None:
    """Common practice, no source, and worked case: infrared at the eye first (100 %), then the retina (13-17 %)."""
    for distance_mm in (100, 200, 300):
        assert binding_limit(hazards(RING, distance_mm)) is EYE_INFRARED
    narrow = replace(RING, leds=1, half_angle_deg=3, radiant_intensity_w_sr=9)
    assert binding_limit(hazards(narrow, 400)) is RETINA


@pytest.mark.parametrize(
    ("irradiance_w_m2", "group"),
    [(100, "exempt"), (100.5, "RG1"), (569, "RG1"), (600, "RG2"), (3200, "RG2"), (3300, "RG3")],
)
def test_risk_group(irradiance_w_m2: float, group: str) -> None:
    """100, 570 and 3200 W/m2: from memory, and what the formula of 4.3.7 gives for 1000, 100 and 10 s, rounded."""
    assert risk_group(only_eye(irradiance_w_m2)) == group
    assert risk_group(Hazards(1.0, 6001.0, 6001.0)) == "RG3"


def test_counting_only_the_band_would_be_a_fifth() -> None:
    """Worked case: above 780 nm a 770/30 LED has 21.6 % of its light, so 100 W/m2 would count as 21.6."""
    assert 100 * RING.share_above(780) == pytest.approx(21.6, abs=0.05)


@given(st.floats(40, 3000), st.floats(1.01, 5), st.integers(1, 30), st.floats(5, 80))
@settings(max_examples=80, deadline=None)
def test_farther_light_may_last_longer(distance_mm: float, farther: float, leds: int, half_angle_deg: float) -> None:
    ring = replace(RING, leds=leds, half_angle_deg=half_angle_deg, radiant_intensity_w_sr=5)
    near_s, far_s = (allowed_time_s(hazards(ring, mm)) for mm in (distance_mm, distance_mm * farther))
    assert far_s >= near_s * 0.999
