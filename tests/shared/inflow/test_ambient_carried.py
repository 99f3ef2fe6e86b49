"""How much of a baseline is ambient light, against drawn baselines of which it is known."""

import numpy as np
import pytest
from numpy.typing import NDArray

from shared.inflow.ambient_carried import AmbientCarried
from shared.inflow.maps_samples import Samples, spacing
from shared.inflow.maps_slots import Bins, Slot

HEIGHT, WIDTH = 96, 128
EARLY, FRAMES = 6, 7


def flat_at(y_px: NDArray[np.float64], x_px: NDArray[np.float64]) -> NDArray[np.float64]:
    """A ring that falls off to about half in the corners, by cosines, which no polynomial follows to the end."""
    return np.asarray(np.cos((y_px - HEIGHT) / 130.0) * np.cos((x_px - WIDTH + 20.0) / 190.0))


def drawn(
    share: float, places_px: NDArray[np.float64], noise: float = 0.0, lamp: float = 1.0, tremor_px: float = 0.0
) -> tuple[AmbientCarried, NDArray[np.float64]]:
    """What is found of slots whose frames lay so, and the true baseline (of the view in which nothing has moved)."""
    rng = np.random.default_rng(5)
    y, x = np.mgrid[:HEIGHT, :WIDTH] * 2.0 + 0.5
    tissue = 2.0 + 0.5 * np.sin(x / 9.0) * np.cos(y / 7.0)
    ring, ambient = (1.0 - share) * tissue, share * tissue * flat_at(y, x)
    every = spacing((HEIGHT, WIDTH))
    samples, slots = Samples.of(len(places_px), (HEIGHT, WIDTH)), []
    for number, place_px in enumerate(places_px):
        held = place_px + tremor_px * rng.standard_normal((FRAMES, 2))
        for right_px, down_px in held:
            values = ring + ambient / flat_at(y + down_px, x + right_px)
            values = (lamp if number >= 3 else 1.0) * (values + rng.normal(0.0, noise * FRAMES**0.5, y.shape))
            if number == 1:
                values[40:44, 60:70] = np.nan
            samples.sums[number] += values[::every, ::every] * np.array((1.0, right_px, down_px))[:, None, None]
        products = (held[:, 0] ** 2, held[:, 0] * held[:, 1], held[:, 1] ** 2)
        samples.held[number] = FRAMES, *held.sum(axis=0), *(each.sum() for each in products)
        end_s, (right_px, down_px) = 0.5 * number + 0.4, held.mean(axis=0)
        moved = {"moved_right_px": right_px, "moved_down_px": down_px}
        slots.append(Slot(end_s - 0.4, end_s, end_s - 0.2, FRAMES, 0.0, 0.0, 0.01, number, **moved))
    pixels = np.full((HEIGHT, WIDTH), 4, np.uint8)
    pixels[10, 20], pixels[50, 50] = 3, 0
    inverse = np.where(pixels > 0, 1.0 / np.maximum(pixels * flat_at(y, x), 0.1), 0.0).astype(np.float32)
    bins = Bins(np.zeros((HEIGHT, WIDTH), np.float32), inverse, pixels)
    return AmbientCarried.of(samples, slots, EARLY, bins), tissue


def corrected(
    found: AmbientCarried, tissue: NDArray[np.float64], share: float, place_px: NDArray[np.float64]
) -> tuple[float, float]:
    """Rms error of baselines whose frames lay at ``place_px`` on average, as they are and corrected, as shares of them."""
    y, x = np.mgrid[:HEIGHT, :WIDTH] * 2.0 + 0.5
    seen = tissue * (1.0 - share + share * flat_at(y, x) / flat_at(y + place_px[1], x + place_px[0]))
    level, level_u = seen.astype(np.float32), np.zeros(seen.shape, np.float32)
    found.take_off(level, level_u, np.full(level.shape, np.nan, np.float32))
    return tuple(float(np.sqrt(np.square(each / tissue - 1.0).mean())) for each in (seen, level))  # type: ignore[return-value]


@pytest.mark.parametrize("share", [0.0, 0.3, 1.0])
def test_a_hand_that_drifts_tells_how_much_of_a_baseline_is_ambient_light(share: float) -> None:
    """The scene's own share within two uncertainties; of what drift did to baselines, under a tenth is left."""
    places = np.stack([np.linspace(0.0, 4.0, EARLY + 4), np.linspace(0.0, -3.0, EARLY + 4)], axis=1)
    found, tissue = drawn(share, places, noise=0.02)
    assert abs(found.share - share) < 2.0 * found.share_u < 0.1
    seen, left = corrected(found, tissue, share, places[:EARLY].mean(axis=0))
    assert left < 0.1 * seen or share == 0.0
    assert left < 0.002


@pytest.mark.parametrize("share", [0.0, 0.3, 1.0])
def test_a_hand_that_trembles_where_it_is_tells_it_too(share: float) -> None:
    """Slots whose means hardly differ, after a first frame that lay 3 pixels away, at one end of the tremor."""
    found, tissue = drawn(share, np.full((EARLY + 4, 2), (3.0, -2.0)), noise=0.01, tremor_px=3.0)
    assert abs(found.share - share) < 2.0 * found.share_u < 0.2
    seen, left = corrected(found, tissue, share, np.array((3.0, -2.0)))
    assert left < 0.2 * seen or share == 0.0
    assert left < 0.002


def test_a_hand_at_rest_tells_nothing_and_changes_nothing() -> None:
    found, tissue = drawn(0.6, np.zeros((EARLY + 2, 2)), noise=0.02)
    np.testing.assert_allclose((found.share, found.share_u), (0.0, 3**-0.5), rtol=1e-3, atol=1e-3)
    level, level_u = tissue.astype(np.float32), np.full(tissue.shape, 0.1, np.float32)
    found.take_off(level, level_u, np.full(level.shape, 9.0, np.float32))
    np.testing.assert_array_equal(level, tissue.astype(np.float32))
    np.testing.assert_array_equal(level_u, np.float32(0.1))


def test_a_lamp_that_is_switched_on_is_not_taken_for_ambient_light_carried_away() -> None:
    """Half as bright from the fourth slot on: parts of the picture contradict each other, and the share says how unsure it is."""
    places = np.stack([np.linspace(0.0, 4.0, EARLY + 4), np.linspace(0.0, -3.0, EARLY + 4)], axis=1)
    found, _ = drawn(0.3, places, noise=0.02, lamp=1.5)
    assert 0.0 <= found.share <= 1.0
    assert found.share_u > 0.4


def test_a_single_slot_tells_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tests.shared.inflow.test_ambient_carried.EARLY", 1)
    found, _ = drawn(0.6, np.array([(0.1 * number, 3.0) for number in range(4)]))
    assert (found.share, found.share_u) == (0.0, 3**-0.5)


def test_a_later_arrival_takes_more_slots_into_account() -> None:
    """Slots end at 0.4 s, 0.9 s and so on; the mean place of those before the arrival counts, of the first ones at least."""
    places = np.stack([np.arange(10.0), np.zeros(10)], axis=1)
    found, _ = drawn(1.0, places)
    level, level_u = np.ones((2, HEIGHT, WIDTH), np.float32)
    arrival_s = np.full(level.shape, 0.2, np.float32)
    arrival_s[1], arrival_s[2] = 4.0, 99.0
    found.take_off(level, level_u, arrival_s)
    by = [(level[row, 40] - 1.0) / (found.share * found.by_x[row, 40]) for row in range(3)]
    np.testing.assert_allclose(by, [places[:EARLY, 0].mean(), places[:8, 0].mean(), places[:, 0].mean()], rtol=1e-3)


def test_the_fall_off_is_that_of_the_flat() -> None:
    """Derivative by closed form, to 3 % of the steepest, though single pixels are missing."""
    found, _ = drawn(0.0, np.zeros((EARLY + 1, 2)))
    y, x = np.mgrid[:HEIGHT, :WIDTH] * 2.0 + 0.5
    for by, true in (
        (found.by_x, -np.tan((x - WIDTH + 20.0) / 190.0) / 190.0),
        (found.by_y, -np.tan((y - HEIGHT) / 130.0) / 130.0),
    ):
        np.testing.assert_allclose(by, true, atol=0.03 * np.abs(true).max())
