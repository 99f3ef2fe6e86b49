"""Plates, scale and depth of field: worked out by hand from the formulas that any optics handbook gives."""

import dataclasses

import pytest

from shared.optics.focus import blur_px, depth_of_field_mm, matching_thickness_mm, mm_per_px, plate_shift_mm
from shared.optics.focus_change import focus_change, view
from shared.optics.parts_file import EmissionFilterPart, LedPart, Parts

BARE = Parts(LedPart(770), EmissionFilterPart(820, 860))


def bk7_index(wavelength_um: float) -> float:
    """Sellmeier equation of the common borosilicate crown; coefficients from memory."""
    square = wavelength_um**2
    terms = ((1.03961212, 0.00600069867), (0.231792344, 0.0200179144), (1.01046945, 103.560653))
    return float((1 + sum(b * square / (square - c) for b, c in terms)) ** 0.5)


@pytest.mark.parametrize(("thickness_mm", "shift_mm"), [(1.0, 0.34080), (1.1, 0.37488), (3.0, 1.02241)])
def test_plate_shift(thickness_mm: float, shift_mm: float) -> None:
    """t (1 - 1/n), n 1.517."""
    assert plate_shift_mm(thickness_mm, 1.517) == pytest.approx(shift_mm, abs=1e-5)
    assert matching_thickness_mm(shift_mm, 1.517) == pytest.approx(thickness_mm, rel=1e-4)


def test_crown_glass_in_the_infrared() -> None:
    """n(830 nm) 1.51020 by Sellmeier; 1.1 mm of it 0.37162 mm."""
    assert bk7_index(0.830) == pytest.approx(1.51020, abs=1e-5)
    assert plate_shift_mm(1.1, bk7_index(0.830)) == pytest.approx(0.37162, abs=1e-5)


def swapped(place: str) -> Parts:
    n = bk7_index(0.830)
    plate = EmissionFilterPart(
        820,
        860,
        place=place,  # type: ignore[arg-type]
        thickness_mm=3.0,
        refractive_index=n,
        replaces_thickness_mm=1.1 if place == "behind" else 0.0,
        replaces_refractive_index=n,
    )
    return dataclasses.replace(BARE, emission_filter=plate)


def test_a_thicker_filter_behind_the_lens_moves_focus() -> None:
    """1.1 -> 3 mm: 0.64189 mm, 93 pixels of blur at F/2 and 3.45 um: the ray cone's width, 0.64189 / 2 / 0.00345."""
    change = focus_change(swapped("behind"))
    assert change.image_shift_mm == pytest.approx(0.64189, abs=1e-5)
    assert change.blur_px == pytest.approx(93.03, abs=0.02)
    assert change.matching_thickness_mm == pytest.approx(1.1)
    assert change.needs_refocusing


def test_the_same_filter_in_front_moves_only_the_object() -> None:
    """Longitudinal magnification is the square of the lateral: (6 / 244)^2 of 1.0135 mm."""
    change = focus_change(swapped("front"))
    assert change.image_shift_mm == pytest.approx(3 * (1 - 1 / bk7_index(0.830)) * (6 / 244) ** 2, rel=1e-12)
    assert not change.needs_refocusing
    assert change.matching_thickness_mm is None


@pytest.mark.parametrize(("distance_mm", "expected"), [(200, 0.111550), (250, 0.140300), (300, 0.169050)])
def test_scale(distance_mm: float, expected: float) -> None:
    """Pixel x (Z - f) / f, 3.45 um and 6 mm."""
    assert mm_per_px(3.45, 6, distance_mm) == pytest.approx(expected, rel=1e-9)


def test_what_the_camera_sees() -> None:
    """1456 x 1088 pixels of 3.45 um behind 6 mm, at three distances; F/2, at 250 mm: sharp from 238.831 to 262.265 mm."""
    for distance_mm, extent_mm in ((200, (162.42, 121.37)), (250, (204.28, 152.65)), (300, (246.14, 183.93))):
        seen = view(dataclasses.replace(BARE, target=dataclasses.replace(BARE.target, distance_mm=distance_mm)))
        assert (seen.width_mm, seen.height_mm) == pytest.approx(extent_mm, abs=0.01)
    seen = view(BARE)
    assert (seen.nearest_mm, seen.farthest_mm) == pytest.approx((238.831, 262.265), abs=2e-3)


@pytest.mark.parametrize(("f_number", "depth_mm"), [(1.4, 16.386), (2.0, 23.435), (2.8, 32.878), (4.0, 47.179)])
def test_depth_of_field(f_number: float, depth_mm: float) -> None:
    """H = f^2 / (N c) + f; near s (H - f) / (H + s - 2f), far s (H - f) / (H - s); c 3.45 um, s 250 mm."""
    near_mm, far_mm = depth_of_field_mm(6, f_number, 3.45, 250)
    assert far_mm - near_mm == pytest.approx(depth_mm, abs=2e-3)


def test_depth_of_field_without_end() -> None:
    near_mm, far_mm = depth_of_field_mm(2, 8, 50, 250)
    assert far_mm == float("inf")
    assert near_mm < 250
    assert blur_px(0, 2, 3.45) == 0
