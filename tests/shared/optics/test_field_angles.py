"""Angles in the picture, and of a cone through a filter, against trigonometry."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.optics.field_angles import cone_deg, field_angle_deg, radius_mm, steepest_deg

WIDTH_MM, HEIGHT_MM = 1456 * 0.00345, 1088 * 0.00345


def test_field_of_view() -> None:
    """5.0232 x 3.7536 mm, diagonal 6.2707 mm behind 6 mm: 45.428 x 34.739, diagonal 55.180 degrees (2 atan(d / 2f))."""
    corner = radius_mm("corner", WIDTH_MM, HEIGHT_MM)
    assert 2 * corner == pytest.approx(6.2707, abs=1e-4)
    assert 2 * field_angle_deg(corner, 6) == pytest.approx(55.180, abs=1e-3)
    assert 2 * field_angle_deg(radius_mm("edge", WIDTH_MM, HEIGHT_MM), 6) == pytest.approx(45.428, abs=1e-3)
    assert 2 * field_angle_deg(HEIGHT_MM / 2, 6) == pytest.approx(34.739, abs=1e-3)
    assert radius_mm("centre", WIDTH_MM, HEIGHT_MM) == 0


def test_a_cone_on_axis_reaches_its_rim_and_is_even_over_the_pupil() -> None:
    """F/2: 14.04 degrees at the rim; the mean square of the tangent over a disc is half that of the rim."""
    angles = cone_deg(0, 1 / 4)
    assert angles.max() < steepest_deg(0, 1 / 4) == math.degrees(math.atan(1 / 4)) == pytest.approx(14.036, abs=1e-3)
    assert np.mean(np.tan(np.radians(angles)) ** 2) == pytest.approx(0.5 / 16, rel=1e-9)


@given(st.floats(0, 40), st.floats(0.01, 0.5))
def test_a_tilted_cone_keeps_the_moments_of_a_disc(chief_deg: float, rim: float) -> None:
    """Mean square tangent: that of the chief ray plus half of the rim's (parallel axes, as of moments of a disc)."""
    angles = cone_deg(chief_deg, rim)
    expected = math.tan(math.radians(chief_deg)) ** 2 + rim**2 / 2
    assert np.mean(np.tan(np.radians(angles)) ** 2) == pytest.approx(expected, rel=1e-9)
    assert chief_deg <= angles.max() <= steepest_deg(chief_deg, rim)


def test_a_narrow_cone_is_its_chief_ray() -> None:
    assert cone_deg(27.59, 0.005).tolist() == [27.59]
