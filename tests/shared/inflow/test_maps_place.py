"""The share of an unsure place in a map's uncertainty, against maps that really lie elsewhere."""

import numpy as np
from scipy.ndimage import gaussian_filter, shift

from shared.inflow.maps_place import WIDENED_BINS2, add_place_u

SHAPE = (60, 80)


def added(values: np.ndarray, place_u_bins: float, none: np.ndarray | None = None, bands: int = 1) -> np.ndarray:
    u = np.full(values.shape, 1e-6, np.float32)
    for rows in np.array_split(np.arange(values.shape[0]), bands):
        add_place_u(values.astype(np.float32), u, int(rows[0]), int(rows[-1]) + 1, place_u_bins, none)
    return u


def test_on_a_slope_it_is_the_slope_times_the_uncertainty_and_bands_meet() -> None:
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    slope = 3.0 * x + 4.0 * y
    for bands in (1, 7):
        np.testing.assert_allclose(added(slope, 0.1, bands=bands), 0.5, rtol=1e-5)


def test_smooth_maps_that_lie_elsewhere_are_covered() -> None:
    """Maps shifted by normal errors along both axes: 95 % intervals hold the truth in 93 to 98 % of all bins."""
    rng = np.random.default_rng(2)
    truth = 40 + 30 * gaussian_filter(rng.standard_normal(SHAPE), 6, mode="wrap") * 6
    inside = 0
    for _ in range(200):
        moved = shift(truth, rng.normal(0, 0.2, 2), order=3, mode="grid-wrap")
        inside += np.mean(np.abs(moved - truth) < 1.96 * added(moved, 0.2))
    assert 0.93 < inside / 200 < 0.985


def test_an_edge_that_interpolation_widens_is_covered() -> None:
    """A step read at all fractions of a bin and averaged, as a run under tremor does it: off by f (1 - f) = 1/6 of the step."""
    step = np.where(np.arange(40) >= 20, 88.0, 0.0)
    read = np.zeros(40)
    for fraction in np.linspace(0, 1, 51):
        boxes = (1 - fraction) * step + fraction * np.roll(step, -1)  # bins that lie further by the fraction
        read += (fraction * np.roll(boxes, 1) + (1 - fraction) * boxes) / 51
    assert abs(read - step)[2:-2].max() / 88.0 - WIDENED_BINS2 < 0.01
    found = added(np.tile(step, (5, 1)), 0.0)[2]
    assert (np.abs(read - step) <= 1.05 * found)[2:-2].all()


def test_noise_alone_adds_little_and_unknown_neighbours_nothing() -> None:
    rng = np.random.default_rng(3)
    noisy = rng.normal(50.0, 1.0, SHAPE).astype(np.float32)
    u = np.ones(SHAPE, np.float32)
    add_place_u(noisy, u, 0, SHAPE[0], 0.08)
    assert u.mean() < 1.1
    alone = np.full(SHAPE, np.nan, np.float32)
    alone[30, 40] = 7.0
    assert added(alone, 0.3)[30, 40] == np.float32(1e-6)
    assert added(alone, 0.3, np.isnan(alone))[30, 40] > 4 * 7.0 * 0.9 * WIDENED_BINS2
