"""Scale and distortion of drawn grids whose every figure is known."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shared.commissioning.grid_scale import grid_scale
from shared.errors import Refused

SHAPE = (240, 320)
PITCH_MM = 10.0


def drawn(px=25.0, turn_deg=0.0, bend=0.0, x=3.0, y=-4.0, tilt=0.0, noise=0.0, dot_px=3.5, shape=SHAPE):
    """Grid of Gaussian dark dots, distorted radially: r (1 + bend (r / half diagonal)^2)."""
    middle = np.array(shape)[::-1] / 2
    radius = np.hypot(*middle)
    columns, rows = np.meshgrid(np.arange(-9, 10), np.arange(-9, 10))
    turn = np.radians(turn_deg)
    flat = (
        px
        * np.stack([columns.ravel(), rows.ravel()], axis=1)
        @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    )
    flat = flat + np.array([x, y])
    flat = flat / (1 + tilt * flat[:, :1] / radius)
    flat = flat[np.hypot(*flat.T) < 1.4 * radius]
    seen = flat * (1 + bend * (np.hypot(*flat.T) / radius) ** 2)[:, None] + middle
    yy, xx = np.mgrid[: shape[0], : shape[1]] + 0.5
    plane = np.full(shape, 400.0) * (1 - 0.2 * ((xx - middle[0]) ** 2 + (yy - middle[1]) ** 2) / radius**2)
    for at_x, at_y in seen:
        plane *= 1 - 0.9 * np.exp2(-4 * ((xx - at_x) ** 2 + (yy - at_y) ** 2) / (2 * dot_px) ** 2)
    return plane + np.random.default_rng(1).normal(0, noise, shape)


@settings(max_examples=6, deadline=None)
@given(st.floats(20, 34), st.floats(-20, 20), st.floats(-0.06, 0.06), st.floats(-8, 8))
def test_every_figure_comes_back(px, turn_deg, bend, x):
    found = grid_scale(drawn(px, turn_deg, bend, x, noise=2.0), PITCH_MM, 250.0)
    assert found.mm_per_px == pytest.approx(PITCH_MM / px, rel=5e-4)
    assert found.distortion_percent == pytest.approx(100 * bend, abs=0.1)
    assert found.residual_px < 0.2
    assert found.distance_mm == 250.0


def test_a_tilted_sheet_does_not_move_the_scale_until_it_is_refused():
    assert grid_scale(drawn(tilt=0.05), PITCH_MM, 250.0).mm_per_px == pytest.approx(0.4, rel=3e-3)
    assert grid_scale(drawn(tilt=0.05), PITCH_MM, 250.0).tilt_percent == pytest.approx(5, abs=0.5)
    with pytest.raises(Refused, match="the sheet is tilted"):
        grid_scale(drawn(tilt=0.16), PITCH_MM, 250.0)


def crooked():
    plane = drawn()
    return np.where(np.arange(SHAPE[0])[:, None] > 130, np.roll(plane, 4, axis=1), plane)


@pytest.mark.parametrize(
    ("plane", "words"),
    [
        (np.full(SHAPE, 300.0), "too few dots of the grid are seen: 0"),
        (drawn(px=75.0, dot_px=6.0), "too few dots"),
        (np.full(SHAPE, np.nan), "not numbers"),
        (crooked(), "do not lie on an even grid"),
    ],
)
def test_what_is_no_grid_is_refused(plane, words):
    with pytest.raises(Refused, match=words):
        grid_scale(plane, PITCH_MM, 250.0)
