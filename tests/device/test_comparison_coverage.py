"""What is compared holds the truth where the place is unsure: a small part of ``comparison_coverage.py``, which counts it."""

from pathlib import Path

import numpy as np
import pytest

from device.comparison import compare
from shared.compare.change import difference, ratio, shared_by_place
from shared.inflow.parameters import Estimate
from shared.recording import Recording
from tests.device.comparison_coverage import PAIRS, REGIONS, Drawn, Pair, Truth, renderer_of, repeat

LATE = "relative_percent_at_end"


def test_the_doubt_of_place_is_in_what_is_compared(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In a room known to be dark: a region on an edge is unsure by what the scene's truth changes a pixel times the pixels that its
    place is unsure by, beside noise like that of one inside tissue; and in what differs that counts once as far as both recordings
    share it (GUM 5.2.2).
    """
    monkeypatch.setattr("shared.inflow.ambient_told._PRIOR_U", (1e-9,) * 4)
    pair, seed = PAIRS[1], 1000
    found = repeat(pair, seed, tmp_path)
    for (name, key, kind), (estimate, truth) in found.items():
        assert estimate.value is not None
        assert estimate.u is not None
        assert abs(estimate.value - truth) < 4.0 * estimate.u, (name, key, kind)
    sides = found["edge", LATE, "first"][0], found["edge", LATE, "second"][0]
    steps = [a_px * px for a_px, px in zip(late_changes(pair, seed), late_place_px(tmp_path), strict=True)]
    for side, step, kind in zip(sides, steps, ("first", "second"), strict=True):
        expected = np.hypot(step, found["tip", LATE, kind][0].u)  # type: ignore[arg-type]
        assert side.u == pytest.approx(expected, rel=0.1), kind
    apart, share = (found["edge", LATE, kind][0] for kind in ("difference", "ratio"))
    of_place = [Estimate(side.value, step) for side, step in zip(sides, steps, strict=True)]
    in_both = shared_by_place(steps[:1], steps[1:])
    for kind, of in (("difference", difference), ("ratio", ratio)):
        expected = np.hypot(of(of_place[0], of_place[1], in_both).u, found["tip", LATE, kind][0].u)  # type: ignore[arg-type]
        assert found["edge", LATE, kind][0].u == pytest.approx(expected, rel=0.1), kind
    assert apart.u < 0.7 * difference(*sides).u  # type: ignore[operator]
    assert share.u < 0.7 * ratio(*sides).u  # type: ignore[operator]


def late_changes(pair: Pair, seed: int) -> list[float]:
    """Percent a pixel of the edge at the end of both recordings."""
    rng = np.random.default_rng([seed, PAIRS.index(pair)])
    first, second = (renderer_of(Drawn(), level, rng, 10.0) for level in pair.levels)
    truth, ends_s = Truth(first, REGIONS), (pair.first_s, pair.second_from_s + pair.second_s)
    return [truth.percent_a_px(each, end_s, "edge") for each, end_s in zip((first, second), ends_s, strict=True)]


def late_place_px(folder: Path) -> list[float]:
    """How unsure the place is at the end of both recordings in a folder, along each axis."""
    with Recording.open(folder / "first.zarr") as one, Recording.open(folder / "second.zarr") as other:
        runs = compare(one, other, REGIONS[0], REGIONS[1:]).runs
    curves = runs.before.curves["edge"], runs.clean_reference
    return [float(curve.place_px[-4:].mean()) for curve in curves]  # type: ignore[index]


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
