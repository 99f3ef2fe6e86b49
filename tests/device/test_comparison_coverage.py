"""What is compared holds the truth where the place is unsure: a small part of ``comparison_coverage.py``, which counts it."""

from pathlib import Path

import numpy as np

from shared.compare.change import difference, ratio
from tests.device.comparison_coverage import PAIRS, repeat

LATE = "relative_percent_at_end"


def test_the_doubt_of_place_is_in_what_is_compared(tmp_path: Path) -> None:
    """A region on an edge changes by a fourteenth a pixel, one inside tissue hardly: their noise is alike, their doubt is not.

    The doubt that both recordings share counts once in what differs between them.
    """
    found = repeat(PAIRS[1], 1000, tmp_path)
    for (name, key, kind), (estimate, truth) in found.items():
        assert estimate.value is not None
        assert estimate.u is not None
        assert abs(estimate.value - truth) < 4.0 * estimate.u, (name, key, kind)
    for kind in ("first", "second", "difference", "ratio"):
        (edge, _), (tip, _) = found["edge", LATE, kind], found["tip", LATE, kind]
        assert edge.u > 4.0 * tip.u, kind  # type: ignore[operator]
    sides = found["edge", LATE, "first"][0], found["edge", LATE, "second"][0]
    apart, share = (found["edge", LATE, kind][0] for kind in ("difference", "ratio"))
    assert apart.u < 0.7 * difference(*sides).u  # type: ignore[operator]
    assert share.u < 0.7 * ratio(*sides).u  # type: ignore[operator]


def test_a_peaks_moment_is_as_unsure_as_it_is_said_to_be(tmp_path: Path) -> None:
    """Inside tissue, each time another: errors are neither larger than their uncertainties nor hidden in too wide ones.

    They were half as large as said while the most that smoothing may do counted as if it were chance, and twice in what differs.
    """
    errors = []
    for seed in range(2):
        for (name, key, _), (estimate, truth) in repeat(PAIRS[2], 1000 + seed, tmp_path).items():
            if name == "tip" and key in ("peak_s", "relative_percent_at_reference_peak"):
                assert estimate.value is not None
                assert estimate.u is not None
                errors.append((estimate.value - truth) / estimate.u)
    assert len(errors) == 2 * 2 * 4
    assert 0.65 < np.sqrt(np.mean(np.square(errors))) < 1.4
