"""The second opinion on scenes with a lamp that does what it likes: what it must see, and what it must never claim."""

from collections.abc import Callable, Iterable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from device.imager.second_opinion import FRAMES, NEAR_CHANGE, SecondOpinion
from shared.frame import Frame
from shared.protocol.light import Seen
from shared.scene.description import Scene, scene_path
from shared.scene.renderer import SceneRenderer

HEIGHT, WIDTH, WHITE = 80, 96, 1023
INTERVAL_NS = 33_333_333
ENOUGH = FRAMES + NEAR_CHANGE
Y, X = np.mgrid[0:HEIGHT, 0:WIDTH]
TISSUE = 0.4 + 0.6 * np.exp(-(((Y - 30) / 25) ** 2) - ((X - 40) / 30) ** 2)
LAMP = 0.3 + 0.7 * (X / WIDTH)


class Theatre:
    """Photon-noise frames of a tissue under ring and lamp; the ring obeys ``ring``, which a test may break."""

    def __init__(self, glow: float = 150.0, scene: NDArray[np.float64] = TISSUE, seed: int = 1) -> None:
        self.opinion = SecondOpinion(WHITE)
        self.rng = np.random.default_rng(seed)
        self.glow, self.scene, self.lamp = glow, scene, 0.0
        self.ring: Callable[[float], float] = lambda commanded: commanded
        self.number = 0
        self.exposure_us = 15_000.0

    def film(self, frames: int, commanded: float) -> list[Seen]:
        """Opinions on so many frames, without the unclear ones."""
        said = []
        for _ in range(frames):
            light = self.glow * self.ring(commanded) * self.scene + self.lamp * LAMP
            counts = 16.0 + light
            counts += np.sqrt(counts / 4.0) * self.rng.standard_normal(TISSUE.shape)  # shot noise, 4 electrons a count
            pixels = np.clip(np.rint(counts), 0, WHITE).astype(np.uint16)
            self.number += 1
            frame = Frame(pixels, self.number, self.number * INTERVAL_NS, self.exposure_us)
            said.append(self.opinion.look(frame, commanded))
        return [one for one in said if one != "unclear"]


def test_a_ring_that_obeys_is_seen_to_come_and_go_once_each() -> None:
    theatre = Theatre()
    assert theatre.film(20, 0.0) == []
    assert theatre.film(1, 0.17) == [], "the frame of the change itself"
    assert theatre.film(20, 0.6) == ["agrees"]
    assert theatre.film(20, 1.0) == [], "brighter is no coming or going"
    assert theatre.film(1, 0.4) == []
    assert theatre.film(20, 0.0) == ["agrees"]


@pytest.mark.parametrize("stuck", [0.6, 1.0])
def test_a_ring_that_stays_on_is_seen_within_so_many_frames(stuck: float) -> None:
    theatre = Theatre()
    theatre.film(10, 0.0)
    theatre.film(30, 0.6)
    theatre.ring = lambda commanded: stuck  # a transistor that shorts gives full light, whatever the duty was
    theatre.film(20, 0.6)
    assert theatre.film(ENOUGH, 0.0) == ["lit though dark"]
    assert theatre.film(ENOUGH, 0.6) == ["lit though dark"], "and again at the next change"


def test_a_ring_that_went_on_by_itself_in_the_dark_is_seen_when_it_is_asked_for() -> None:
    theatre = Theatre()
    theatre.film(10, 0.0)
    theatre.film(10, 0.6)
    assert theatre.film(10, 0.0) == ["agrees"]
    theatre.ring = lambda commanded: 1.0
    assert theatre.film(60, 0.0) == [], "this alone might be a lamp"
    assert theatre.film(10, 0.6) == ["lit though dark"]


def test_a_good_filter_before_dye_is_no_contradiction() -> None:
    theatre = Theatre(glow=0.0)
    theatre.film(10, 0.0)
    assert theatre.film(10, 1.0) == ["dark though lit"]
    assert theatre.film(10, 0.0) == []


def test_a_dead_ring_is_said_not_to_be_seen() -> None:
    theatre = Theatre()
    theatre.film(10, 0.0)
    theatre.film(10, 0.6)
    theatre.film(10, 0.0)
    theatre.ring = lambda commanded: 0.0
    assert theatre.film(10, 0.6) == ["dark though lit"]


def test_turned_away_to_a_lamp_while_lit_is_no_ring_that_stays() -> None:
    theatre = Theatre()
    theatre.film(10, 0.0)
    theatre.film(30, 0.6)
    theatre.scene, theatre.lamp = np.zeros_like(TISSUE), 120.0
    theatre.film(30, 0.6)
    assert theatre.film(20, 0.0) == []
    assert theatre.film(20, 0.6) == ["dark though lit"]


def test_a_new_exposure_or_gain_forgets_what_was_seen() -> None:
    theatre = Theatre()
    theatre.film(10, 0.0)
    theatre.film(10, 0.6)
    theatre.exposure_us = 7000.0
    theatre.ring = lambda commanded: 0.6
    theatre.film(10, 0.6)
    assert theatre.film(10, 0.0) == []


def test_a_saturated_picture_says_nothing() -> None:
    theatre = Theatre()
    theatre.lamp = 5000.0
    for level in (0.0, 0.6, 0.0):
        assert theatre.film(10, level) == []


def test_frames_far_apart_are_not_compared() -> None:
    theatre = Theatre()
    theatre.film(10, 0.0)
    theatre.number += 40
    assert theatre.film(10, 0.6) == []


def lamp_plan() -> st.SearchStrategy[list[tuple[int, float]]]:
    return st.lists(st.tuples(st.integers(12, 48), st.sampled_from([0.0, 5.0, 60.0, 150.0, 600.0])), max_size=4)


@settings(max_examples=15, deadline=None)
@given(
    plans=st.lists(lamp_plan(), min_size=4, max_size=4),
    glow=st.sampled_from([0.0, 8.0, 150.0]),
    seed=st.integers(0, 99),
)
def test_a_lamp_is_never_taken_for_the_ring(plans: list[list[tuple[int, float]]], glow: float, seed: int) -> None:
    """Whatever the lamp does between changes of the light, an obedient ring is not accused."""
    theatre = Theatre(glow=glow, seed=seed)
    for level, plan in zip((0.0, 0.6, 0.0, 1.0), plans, strict=True):
        lamp_at = dict(plan)
        for number in range(60):
            theatre.lamp = lamp_at.get(number, theatre.lamp)
            assert "lit though dark" not in theatre.film(1, level)


def test_on_a_ready_scene_with_tremor_and_leakage() -> None:
    """Physics not made for this: the rehearsal's own frames, before dye."""
    scene = Scene.load(scene_path("flap"))
    renderer = SceneRenderer(scene, 3)
    opinion = SecondOpinion(scene.camera.white_level)
    pixels = np.empty(scene.description.shape, np.uint16)

    def film(numbers: Iterable[int], commanded: float, given_level: float) -> list[Seen]:
        said = []
        for number in numbers:
            renderer.frame_into(pixels, number, number / 30, 15_000.0, 1.0, given_level)
            frame = Frame(pixels.copy(), number, number * INTERVAL_NS, 15_000.0)
            said.append(opinion.look(frame, commanded))
        return [one for one in said if one != "unclear"]

    assert film(range(6), 0.0, 0.0) == []
    assert film(range(6, 12), 0.6, 0.6) == ["agrees"]
    assert film(range(12, 18), 0.0, 0.0) == ["agrees"]
    assert film(range(18, 24), 0.6, 0.6) == ["agrees"]
    assert film(range(24, 30), 0.0, 0.6) == ["lit though dark"]
