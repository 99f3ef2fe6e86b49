"""Boards drawn at random: every one drops out inside the window, lights in time, and holds through slow beats."""

import numpy as np
import pytest

from tests.hardware.circuits.spread import draw
from tests.hardware.circuits.test_dead_man import BEAT_S, LATE_BEAT_S, LATEST_S


@pytest.mark.parametrize("count", [40, pytest.param(2000, marks=[pytest.mark.slow, pytest.mark.timeout(1200)])])
def test_drawn_boards_stay_inside_the_window(tmp_path, count):
    random = np.random.default_rng(count)
    boards = [draw(tmp_path, random) for _ in range(count)]
    drop_outs_s = np.array([board.drop_out_s for board in boards])
    assert drop_outs_s.min() > BEAT_S + LATE_BEAT_S
    assert drop_outs_s.max() < LATEST_S
    assert np.ptp(drop_outs_s) > 0.005  # the draws do reach the circuit
    assert max(board.light_s for board in boards) < 0.05
    assert all(board.slow_beats_held for board in boards)
