"""How much of a baseline is ambient light, against drawn baselines of which it is known."""

from dataclasses import dataclass, replace

import numpy as np
import pytest
from numpy.typing import NDArray

from shared.inflow.ambient_carried import AmbientCarried
from shared.inflow.ambient_steps import LightSteps
from shared.inflow.handover import HandedOver
from shared.inflow.maps_samples import Samples, spacing
from shared.inflow.maps_slots import Bins, Slot

HEIGHT, WIDTH = 96, 128
EARLY, FRAMES = 6, 7
STEP = 3e-4
EVERYWHERE = np.s_[:, :]


def flat_at(y_px: NDArray[np.float64], x_px: NDArray[np.float64]) -> NDArray[np.float64]:
    """A ring that falls off to about half in the corners, by cosines, which no polynomial follows to the end."""
    return np.asarray(np.cos((y_px - HEIGHT) / 130.0) * np.cos((x_px - WIDTH + 20.0) / 190.0))


@dataclass(frozen=True, eq=False)
class Drawn:
    """What is found of drawn slots, their signals without noise, and the true one of the view in which nothing moved."""

    found: AmbientCarried
    seen: NDArray[np.float64]
    tissue: NDArray[np.float64]
    slots: list[Slot]

    def errors(self, chosen: slice = slice(None)) -> tuple[float, float]:
        """Rms error of slots, as they are and without what is taken off, as shares of the true signal."""
        planes, factors = self.found.off(EVERYWHERE)
        left = self.seen - np.einsum("pyx,ps->syx", planes, factors)
        return tuple(float(np.sqrt(np.square(each[chosen] / self.tissue - 1.0).mean())) for each in (self.seen, left))  # type: ignore[return-value]


def drawn_bins() -> Bins:
    """Single pixels are missing."""
    y, x = np.mgrid[:HEIGHT, :WIDTH] * 2.0 + 0.5
    pixels = np.full((HEIGHT, WIDTH), 4, np.uint8)
    pixels[10, 20], pixels[50, 50] = 3, 0
    inverse = np.where(pixels > 0, 1.0 / np.maximum(pixels * flat_at(y, x), 0.1), 0.0).astype(np.float32)
    return Bins(np.zeros((HEIGHT, WIDTH), np.float32), inverse, pixels)


def drawn(
    share: float, places_px: NDArray[np.float64], noise: float = 0.0, lamp: float = 1.0, tremor_px: float = 0.0
) -> Drawn:
    """Slots whose frames lay so."""
    rng = np.random.default_rng(5)
    y, x = np.mgrid[:HEIGHT, :WIDTH] * 2.0 + 0.5
    tissue = 2.0 + 0.5 * np.sin(x / 9.0) * np.cos(y / 7.0)
    ring, ambient = (1.0 - share) * tissue, share * tissue * flat_at(y, x)
    every = spacing((HEIGHT, WIDTH))
    samples, slots = Samples.of(len(places_px), (HEIGHT, WIDTH)), []
    seen, noisy = np.zeros((2, len(places_px), HEIGHT, WIDTH))
    for number, place_px in enumerate(places_px):
        held = place_px + tremor_px * rng.standard_normal((FRAMES, 2))
        for right_px, down_px in held:
            clean = ring + ambient / flat_at(y + down_px, x + right_px)
            values = (lamp if number >= 3 else 1.0) * (clean + rng.normal(0.0, noise * FRAMES**0.5, y.shape))
            seen[number] += clean / FRAMES
            noisy[number] += values / FRAMES
            if number == 1:
                values[40:44, 60:70] = np.nan
            samples.sums[number] += values[::every, ::every] * np.array((1.0, right_px, down_px))[:, None, None]
        products = (held[:, 0] ** 2, held[:, 0] * held[:, 1], held[:, 1] ** 2)
        samples.held[number] = FRAMES, *held.sum(axis=0), *(each.sum() for each in products)
        end_s, (right_px, down_px) = 0.5 * number + 0.4, held.mean(axis=0)
        moved = {"moved_right_px": right_px, "moved_down_px": down_px}
        slots.append(Slot(end_s - 0.4, end_s, end_s - 0.2, FRAMES, 0.0, 0.0, STEP, number, **moved))
    bins = drawn_bins()
    planes = np.rint(noisy / STEP).astype(np.int16)
    gathered = HandedOver((2 * HEIGHT, 2 * WIDTH), slots, planes, np.zeros((HEIGHT, WIDTH), np.uint8), bins, samples)
    return Drawn(AmbientCarried.of(gathered, EARLY), seen, tissue, slots)


def all_doubts(found: AmbientCarried) -> list[tuple[NDArray[np.float32], NDArray[np.float64]]]:
    """In all ways."""
    planes, factors = found.doubts(EVERYWHERE)
    return [(one, factors) for one in planes]


@pytest.mark.parametrize("share", [0.0, 0.3, 1.0])
def test_a_hand_that_drifts_tells_how_much_of_a_baseline_is_ambient_light(share: float) -> None:
    """The scene's own share within two uncertainties; of what drift did to baselines, under a tenth is left, and in later slots."""
    places = np.stack([np.linspace(0.0, 4.0, EARLY + 4), np.linspace(0.0, -3.0, EARLY + 4)], axis=1)
    made = drawn(share, places, noise=0.02)
    assert abs(made.found.told.share - share) < 2.0 * made.found.told.share_u < 0.1
    for chosen in (slice(EARLY), slice(EARLY, None)):
        seen, left = made.errors(chosen)
        assert left < 0.1 * seen or share == 0.0
        assert left < 0.002


@pytest.mark.parametrize("share", [0.0, 0.3, 1.0])
def test_a_hand_that_trembles_where_it_is_tells_it_too(share: float) -> None:
    """Slots whose means hardly differ, after a first frame that lay 3 pixels away, at one end of the tremor."""
    made = drawn(share, np.full((EARLY + 4, 2), (3.0, -2.0)), noise=0.01, tremor_px=3.0)
    assert abs(made.found.told.share - share) < 2.0 * made.found.told.share_u < 0.2
    seen, left = made.errors()
    assert left < 0.2 * seen or share == 0.0
    assert left < 0.002


def test_far_away_half_of_what_is_linear_would_be_wrong_and_a_tenth_is_left() -> None:
    """A drift by 40 pixels, a fifth of the picture: what the straight line leaves, and what the second order does."""
    places = np.concatenate([np.linspace(0.0, 8.0, EARLY), np.linspace(8.0, 40.0, 6)])
    made = drawn(1.0, np.stack([places, -0.5 * places], axis=1))
    seen, left = made.errors(slice(-1, None))
    assert left < 0.1 * seen
    straight = replace(made, found=replace(made.found, places=made.found.places * np.array((1, 1, 0, 0, 0))[:, None]))
    assert straight.errors(slice(-1, None))[1] > 2.0 * left


def test_a_hand_at_rest_tells_nothing_and_changes_nothing() -> None:
    found = drawn(0.6, np.zeros((EARLY + 2, 2)), noise=0.02).found
    np.testing.assert_allclose((found.told.share, found.told.share_u), (0.0, 3**-0.5), rtol=1e-3, atol=1e-3)
    for planes, factors in (found.off(EVERYWHERE), *all_doubts(found)):
        np.testing.assert_array_equal(np.einsum("pyx,ps->syx", planes, factors), 0.0)


def test_a_lamp_that_is_switched_on_is_not_taken_for_ambient_light_carried_away() -> None:
    """Half as bright from the fourth slot on: what changes all of the picture alike, while the hand goes one way, is told apart."""
    places = np.stack([np.linspace(0.0, 4.0, EARLY + 4), np.linspace(0.0, -3.0, EARLY + 4)], axis=1)
    found = drawn(0.3, places, noise=0.02, lamp=1.5).found
    assert abs(found.told.share - 0.3) < 2.0 * found.told.share_u < 0.1


def test_a_single_slot_tells_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tests.shared.inflow.test_ambient_carried.EARLY", 1)
    found = drawn(0.6, np.array([(0.1 * number, 3.0) for number in range(4)])).found
    assert (found.told.share, found.told.share_u) == (0.0, 3**-0.5)


def test_what_a_region_is_off_by_is_that_of_its_bins() -> None:
    places = np.stack([np.arange(10.0), np.arange(10.0) ** 2 / 9.0], axis=1)
    found = drawn(0.5, places, noise=0.02).found
    where, inside = np.s_[20:40, 30:70], np.zeros((20, 40), np.bool_)
    inside[3:9, 5:30] = True
    for (planes, factors), of_mean in zip(all_doubts(found), found.doubts_of_mean(where, inside), strict=True):
        whole = np.einsum("pyx,ps->syx", planes, factors)[:, 23:29, 35:60].mean(axis=(1, 2))
        np.testing.assert_allclose(of_mean, whole, rtol=1e-4, atol=1e-9)


def test_a_ring_of_four_tenths_makes_it_two_and_a_half_times_as_much() -> None:
    """And what a dark frame measured at a step has been taken off as it lay then (ambient_steps.py): the way from there is left."""
    places = np.stack([np.linspace(0.0, 9.0, 10), np.zeros(10)], axis=1)
    made = drawn(1.0, places)
    slots = [replace(slot, inverse_output=2.5 if number >= EARLY else 1.0) for number, slot in enumerate(made.slots)]
    y, x = np.mgrid[:HEIGHT, :WIDTH] * 2.0 + 0.5
    dark_px = 5.5
    rate = made.tissue * flat_at(y, x) / flat_at(y, x + dark_px)
    nothing, factors = np.zeros_like(rate, np.float32), np.array([slot.inverse_output - 1.0 for slot in slots])
    steps = LightSteps(rate.astype(np.float32), nothing, factors, np.array((dark_px, 0.0)))
    stepped = made.seen * np.array([slot.inverse_output for slot in slots])[:, None, None]
    found = made.found
    samples = Samples.of(len(slots), (HEIGHT, WIDTH))
    planes = np.rint(stepped / STEP).astype(np.int16)
    flat = Bins(nothing, (0.25 / flat_at(y, x)).astype(np.float32), np.full((HEIGHT, WIDTH), 4, np.uint8))
    gathered = HandedOver(
        (2 * HEIGHT, 2 * WIDTH), slots, planes, np.zeros((HEIGHT, WIDTH), np.uint8), flat, samples, steps
    )
    again = replace(AmbientCarried.of(gathered, EARLY), told=found.told)
    off_planes, off_factors = again.off(EVERYWHERE)
    left = stepped - factors[:, None, None] * rate - np.einsum("pyx,ps->syx", off_planes, off_factors)
    assert float(np.sqrt(np.square(left / made.tissue - 1.0).mean())) < 0.003
    assert float(np.abs(left[EARLY:] / made.tissue - 1.0).max()) < 0.01
