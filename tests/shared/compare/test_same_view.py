"""Views of two recordings: real pictures (scikit-image's, CC0) moved by scipy's interpolation are found, others are not."""

import numpy as np
import pytest

from shared.compare.same_view import View, alignment
from shared.motion.pose import Motion
from tests.shared.motion.pictures import assumed, counts, moved, picture

MOVED = Motion(17.0, -9.0, 3.0)


def views(name: str, motions: list[Motion], seed: int) -> list[View]:
    """The picture where each motion puts it, in noise; the reference view is the picture at rest."""
    rng = np.random.default_rng(seed)
    plane = picture(name)
    return [View(counts(moved(plane, motion), rng), motion) for motion in motions]


def test_the_same_tissue_is_found_through_both_hands_motions() -> None:
    """The second recording's own reference view is moved and turned against the first's."""
    first = views("camera", [Motion(), Motion(5.0, 2.0, 0.0)], 1)
    places = [Motion(), Motion(-4.0, 6.0, 0.5)]
    second = [
        View(view.pixels, place)
        for view, place in zip(views("camera", [MOVED.then(place) for place in places], 2), places, strict=True)
    ]
    calibration = assumed(first[0].pixels)
    found = alignment(first, second, calibration, calibration)
    assert found.is_found
    assert (found.tried, found.agreeing, found.doubts) == (4, found.locked, ())
    assert found.pose.dx_px == pytest.approx(17.0, abs=0.5)
    assert found.pose.dy_px == pytest.approx(-9.0, abs=0.5)
    assert found.pose.rotation_deg == pytest.approx(3.0, abs=0.2)


@pytest.mark.parametrize("magnification", [1.01, 0.9, 1.25])
def test_tissue_seen_from_another_distance_is_found_at_its_size(magnification: float) -> None:
    """Matched at one size alone, scikit-image's retina seen a hundredth larger was put 8 pixels aside, and a tenth, not found."""
    truth = Motion(7.0, -4.0, 2.0, magnification=magnification)
    places = [Motion(), Motion(3.0, 3.0, 1.0)]
    first = views("camera", places, 1)
    second = [
        View(view.pixels, place)
        for view, place in zip(views("camera", [truth.then(place) for place in places], 2), places, strict=True)
    ]
    found = alignment(first, second, assumed(first[0].pixels), assumed(first[0].pixels))
    assert found.is_found
    assert found.pose.magnification == pytest.approx(magnification, rel=5e-4)
    assert (found.pose.dx_px, found.pose.dy_px) == pytest.approx((7.0, -4.0), abs=0.5)
    assert found.pose.rotation_deg == pytest.approx(2.0, abs=0.2)


def test_a_match_that_says_otherwise_is_said() -> None:
    """One of the second recording's views was placed wrongly by its own follower."""
    first = views("camera", [Motion(), Motion(5.0, 2.0)], 1)
    second = views("camera", [Motion(), Motion(-4.0, 6.0), Motion(3.0, 0.0)], 2)
    second[2] = View(second[2].pixels, Motion(40.0, 0.0))
    found = alignment(first, second, assumed(first[0].pixels), assumed(first[0].pixels))
    assert found.is_found
    assert found.pose.shift_px < 1.0
    assert found.doubts == ("2 of 6 matches put the second view elsewhere: look at both",)


def test_other_tissue_is_not_found() -> None:
    first, second = views("camera", [Motion()], 1), views("retina", [Motion()], 2)
    rows, columns = first[0].pixels.shape
    second = [
        View(np.ascontiguousarray(view.pixels[300 : 300 + rows, 300 : 300 + columns]), view.place) for view in second
    ]
    found = alignment(first, second, assumed(first[0].pixels), assumed(first[0].pixels))
    assert not found.is_found
    assert not found.pose.locked
