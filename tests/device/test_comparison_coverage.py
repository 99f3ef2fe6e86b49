"""What is compared holds the truth where the place is unsure: a small part of ``comparison_coverage.py``, which counts it."""

from pathlib import Path

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
