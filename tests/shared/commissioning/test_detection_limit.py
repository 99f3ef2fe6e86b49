"""Dilution rows: a textbook's example, and rows whose line is known."""

import numpy as np
import pytest

from shared.commissioning.detection_limit import Well, sensitivity
from shared.errors import Refused


def blanks(deviation, number=40):
    """Readings whose standard deviation is exact."""
    made = np.random.default_rng(2).normal(0, 1, number)
    return (made - made.mean()) / made.std(ddof=1) * deviation


def test_the_fluorescein_example_of_a_textbook():
    """Miller and Miller, Statistics and Chemometrics for Analytical Chemistry, chapter 5, from memory: slope 1.93, offset 1.52, and
    with the residuals' 0.4329 for the blank's deviation a limit of detection of 0.67 pg/mL.
    """
    signal = (2.1, 5.0, 9.0, 12.6, 17.3, 21.0, 24.7)
    wells = [Well(2.0 * number, one, 0.4329) for number, one in enumerate(signal)]
    found = sensitivity(wells, blanks(0.4329), "pg/mL")
    assert (found.slope, found.offset) == pytest.approx((1.9304, 1.5179), abs=1e-4)
    assert found.detection_limit == pytest.approx(0.67, abs=0.005)
    assert found.linear_to == 12.0


def test_a_row_that_bends_is_linear_only_so_far():
    wells = [Well(c, 3 + 50 * c * (1 - 0.25 * max(0, c - 1)), 0.05 + 0.002 * c) for c in (0, 0.2, 0.5, 1, 1.5, 2)]
    found = sensitivity(wells, blanks(0.5), "micromole/L")
    assert found.linear_to == 1
    assert found.slope == pytest.approx(50, rel=0.01)
    assert found.detection_limit == pytest.approx(3 * 0.5 / 50, rel=0.01)
    assert found.detection_limit_u == pytest.approx(found.detection_limit / np.sqrt(2 * 39), rel=0.05)


@pytest.mark.parametrize(
    ("row", "number", "words"),
    [
        ([(0, 1), (1, 2), (2, 3)], 40, "too few wells: 3"),
        ([(1, 1), (2, 2), (3, 3), (4, 4)], 40, "one must be 0"),
        ([(0, 1), (1, 2), (1, 3), (2, 4)], 40, "concentrations must differ"),
        ([(0, 1), (1, float("nan")), (2, 3), (3, 4)], 40, "not a number"),
        ([(0, 1), (1, 2), (2, 3), (3, 4)], 5, "too few readings of the blank: 5"),
        ([(0, 1), (1, 9), (2, 7), (3, 5)], 40, "lie on no line: 1 at 0, 9 at 1, 7 at 2; are the wells in the order"),
        ([(0, 4), (1, 3), (2, 2), (3, 1)], 40, "does not rise with the concentration"),
    ],
)
def test_what_is_no_row_is_refused(row, number, words):
    with pytest.raises(Refused, match=words):
        sensitivity([Well(c, s, 0.1) for c, s in row], blanks(0.1, number), "mg/L")
