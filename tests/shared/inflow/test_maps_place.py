"""The share of an unsure place in a map's uncertainty, against maps that really lie elsewhere."""

import numpy as np
from scipy.ndimage import gaussian_filter, shift

from shared.inflow.maps_place import EDGE_SHARE, Followed, PlaceU, add_place_u
from shared.inflow.maps_slots import Slot

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


def test_an_edge_read_at_whole_pixels_is_covered() -> None:
    """A step anywhere in a bin, read at the pixels nearest to all fractions of a pixel, as a run under tremor does it."""
    for at_px in np.arange(40.0, 42.0, 0.25):
        fine = np.where(np.arange(80 * 32) >= at_px * 32, 1.0, 0.0)
        read, still = np.zeros(40), fine.reshape(40, 64).mean(axis=1)
        for off in range(-15, 16, 2):
            read += np.roll(fine, off).reshape(40, 64).mean(axis=1) / 16
        found = added(np.tile(88.0 * read, (5, 1)), 0.0)[2]
        assert (88.0 * np.abs(read - still) <= 1.96 * found + 1e-3)[2:-2].all(), at_px
        assert 88.0 * np.abs(read - still)[2:-2].max() < EDGE_SHARE * 88.0


def test_what_frames_do_not_share_averages_out() -> None:
    """Closed form: 12 slots of 5 frames before the dye and 12 after it, read 0.12 px too far to the right and to the left by turns;
    0.1 px of a frame's own, and shared ones of 0.03 px before the dye and 0.08 px after it.
    """
    slots = [Slot(k, k + 0.9, k + 0.45, 5, 0.0, 0.0, 1.0, k, 0.12 * (-1) ** k, 0.0) for k in range(24)]
    each_u = (0.1**2 + (0.03**2 + 0.08**2) / 2) ** 0.5
    found = PlaceU.of(slots, 12, Followed(each_u, (), (0.03,) * 12 + (0.08,) * 12, True))
    assert found is not None
    np.testing.assert_allclose(found.baseline_px, (0.03**2 + 0.1**2 / 60) ** 0.5)
    np.testing.assert_allclose(found.px, (0.08**2 + 0.1**2 / 30) ** 0.5)
    np.testing.assert_allclose(found.slot_px, (0.1**2 / 5 + 0.5 * 0.12**2) ** 0.5)
    said_only_how_unsure = PlaceU.of(slots, 12, Followed(0.2))
    assert said_only_how_unsure is not None
    np.testing.assert_allclose(said_only_how_unsure.px, 0.2)
    np.testing.assert_allclose(
        said_only_how_unsure.baseline_px, (0.2**2 + 0.5 * 0.12**2) ** 0.5
    )  # the room's light is in it
    assert PlaceU.of(slots, 12, Followed(None)) is None


def test_slots_that_lie_apart_are_noisier_than_they_say() -> None:
    """Drawn: means of six slots that are each off by a part of a bin on a slope, beside what is said of them."""
    rng, slope, noise = np.random.default_rng(4), 5.0, 0.8
    slots = rng.normal(0.0, noise, (20_000, 6)) + slope * rng.normal(0.0, 0.15, (20_000, 6))
    place = PlaceU(0.0, 0.0, 0.3)
    found = place.noisier(np.float32([slope**2]), np.float32([noise**2 / 6]))
    np.testing.assert_allclose(found * noise / 6**0.5, slots.mean(axis=1).std(), rtol=0.03)
    assert place.noisier(np.float32([slope**2]), np.float32([np.nan])) == 1.0


def test_noise_alone_adds_little_and_unknown_neighbours_nothing() -> None:
    rng = np.random.default_rng(3)
    noisy = rng.normal(50.0, 1.0, SHAPE).astype(np.float32)
    u = np.ones(SHAPE, np.float32)
    add_place_u(noisy, u, 0, SHAPE[0], 0.08)
    assert u.mean() < 1.1
    alone = np.full(SHAPE, np.nan, np.float32)
    alone[30, 40] = 7.0
    assert added(alone, 0.3)[30, 40] == np.float32(1e-6)
    assert added(alone, 0.3, np.isnan(alone))[30, 40] > 4 * 7.0 * 0.9 * EDGE_SHARE


def test_a_figure_that_means_nothing_stays_unsure_and_warns_of_nothing() -> None:
    """A fit may give 1e25 and as much uncertainty, whose square no float32 holds."""
    values, u = np.ones(SHAPE, np.float32), np.full(SHAPE, 0.1, np.float32)
    values[5, 5] = u[5, 5] = 1e25
    add_place_u(values, u, 0, SHAPE[0], 0.08)
    assert not np.isfinite(u[5, 5])
    assert not np.isfinite(u[5, 4:7]).any()
    np.testing.assert_array_equal(u[:3], np.float32(0.1))
