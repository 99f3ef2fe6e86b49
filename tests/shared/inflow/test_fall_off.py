"""The stand-in for a flat's fall-off, against the flat that it stands for."""

import numpy as np

from shared.inflow.fall_off import FallOff
from shared.motion.pose import Motion, to_frames
from tests.shared.inflow.test_ambient_carried import EVERYWHERE, HEIGHT, WIDTH, drawn_bins, flat_at

SHAPE = 2 * HEIGHT, 2 * WIDTH


def test_its_changes_are_those_of_the_flat() -> None:
    """Derivative by closed form, to 3 % of the steepest, though single pixels are missing."""
    right, down = (FallOff.of(drawn_bins()).change(EVERYWHERE, np.zeros(2), *order) for order in ((1, 0), (0, 1)))
    y, x = np.mgrid[:HEIGHT, :WIDTH] * 2.0 + 0.5
    for by, true in (
        (right, -np.tan((x - WIDTH + 20.0) / 190.0) / 190.0),
        (down, -np.tan((y - HEIGHT) / 130.0) / 130.0),
    ):
        np.testing.assert_allclose(by, true, atol=0.03 * np.abs(true).max())


def test_what_it_loses_is_the_ratio_of_flats_where_a_hand_has_turned_and_brought_the_tissue() -> None:
    """By closed form, over the points of a region, to a hundredth of the largest."""
    places = np.array([(0.0, 0.0, 0.0, 1.0), (12.0, -9.0, 0.0, 1.0), (-20.0, 15.0, 4.0, 1.1)])
    x, y = (each.ravel() for each in np.meshgrid(np.arange(100.0, 160.0, 15.0), np.arange(60.0, 110.0, 12.0)))
    wanted = []
    for right, down, turn, magnification in places.tolist():
        there = Motion(right, down, turn, magnification=magnification).to_frame(SHAPE) @ np.stack(
            [x, y, np.ones_like(x)]
        )
        wanted.append(float(np.mean(flat_at(y, x) / flat_at(there[1], there[0]))) - 1.0)
    lost = FallOff.of(drawn_bins()).lost(np.stack([x, y], axis=1), to_frames(places, SHAPE))
    found = np.expm1(lost).mean(axis=1)
    np.testing.assert_allclose(found, wanted, atol=0.01 * np.abs(wanted).max())
    assert found[0] == 0.0


def test_many_places_are_those_of_single_motions() -> None:
    places = np.array([(3.0, -2.0, 1.5, 1.0), (0.0, 0.0, 0.0, 1.0), (-7.0, 4.0, -3.0, 0.9)])
    single = [Motion(dx, dy, turn, magnification=m).to_frame(SHAPE) for dx, dy, turn, m in places.tolist()]
    np.testing.assert_allclose(to_frames(places, SHAPE), single, rtol=1e-12)


def test_a_lens_is_one_in_the_corners_and_rises_with_the_square_of_the_distance() -> None:
    lens = FallOff.of(drawn_bins()).by_lens
    points = np.array([(0.5, 0.5), (WIDTH - 0.5, HEIGHT - 0.5), (1.5 * WIDTH - 0.5, HEIGHT - 0.5)])
    corner, middle, half_way = np.exp(lens._logs(*points.T))
    np.testing.assert_allclose([middle, corner], np.exp([0.0, 1.0]), rtol=1e-9, atol=0.05)
    np.testing.assert_allclose(np.log(half_way), 0.25 * WIDTH**2 / (WIDTH**2 + HEIGHT**2), rtol=0.05)
