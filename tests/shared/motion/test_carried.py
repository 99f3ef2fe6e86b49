"""Regions carried from one view to another, against corners turned by hand."""

import pytest

from shared.motion.carried import carried
from shared.motion.pose import Motion
from shared.region import Region

SHAPE = (80, 100)


@pytest.mark.parametrize(
    ("region", "motion", "expected"),
    [
        ("a:10,20,8,6", Motion(3.4, -2.0), "a:13,18,8,6"),
        ("a:polygon:10,20,30,20,10,40", Motion(3.4, -2.0), "a:polygon:13,18,33,18,13,38"),
        ("a:line:5,10,20,30,20", Motion(3.4, -2.0), "a:line:5,13,18,33,18"),
        # a quarter turn clockwise about (49.5, 39.5): (x, y) goes to (49.5 - (y - 39.5), 39.5 + (x - 49.5))
        ("a:line:5,10,20,30,20", Motion(rotation_deg=90.0), "a:line:5,69,0,69,20"),
        ("a:10,20,8,6", Motion(rotation_deg=90.0), "a:polygon:69,0,69,7,64,7,64,0"),
    ],
)
def test_a_region_keeps_its_kind_and_moves_to_the_nearest_pixel(region: str, motion: Motion, expected: str) -> None:
    assert str(carried(Region.parse(region), motion, SHAPE)) == expected
