"""Which distance exposure is reckoned with, and that a sensor that falls silent is never passed over in silence."""

import math

import pytest

from shared.optics.working_distance import WorkingDistance

MS = 1_000_000


def test_without_a_sensor_it_is_the_shortest_of_the_settings() -> None:
    distance = WorkingDistance(150)
    assert (distance.nearest_mm(0), distance.source(0)) == (150, "assumed")
    assert distance.sentence(0) == "exposure is reckoned at the assumed shortest working distance of 150 mm"


def test_a_fresh_reading_counts_whether_farther_or_nearer() -> None:
    distance = WorkingDistance(150, fresh_ms=500)
    distance.take(240, 0)
    assert (distance.nearest_mm(499 * MS), distance.source(499 * MS)) == (240, "measured")
    assert distance.sentence(0) == "exposure is reckoned at the measured 240 mm"
    distance.take(90, 600 * MS)
    assert distance.nearest_mm(600 * MS) == 90


def test_between_two_readings_the_nearer_counts() -> None:
    """The light since the last turn shone while the distance went from the one to the other."""
    distance = WorkingDistance(150)
    for number, reading_mm in enumerate([300, 120, 280]):
        distance.take(reading_mm, number * 100 * MS)
    assert distance.nearest_mm(200 * MS) == 120
    distance.take(290, 300 * MS)
    assert distance.nearest_mm(300 * MS) == 280


@pytest.mark.parametrize(("reading_mm", "counts_mm"), [(240, 150), (90, 90)])
def test_a_sensor_that_falls_silent_is_said_and_the_nearer_counts(reading_mm: float, counts_mm: float) -> None:
    distance = WorkingDistance(150, fresh_ms=500)
    distance.take(reading_mm, 0)
    assert (distance.nearest_mm(500 * MS), distance.source(500 * MS)) == (counts_mm, "lost")
    assert distance.sentence(500 * MS) == f"the distance sensor says nothing; exposure is reckoned at {counts_mm} mm"
    distance.take(200, 700 * MS)
    distance.take(200, 800 * MS)
    assert (distance.nearest_mm(800 * MS), distance.source(800 * MS)) == (200, "measured")


@pytest.mark.parametrize("nothing", [0.0, -3.0, math.inf, math.nan])
def test_a_reading_that_is_no_distance_is_a_loss_at_once(nothing: float) -> None:
    first, later = WorkingDistance(150), WorkingDistance(150)
    first.take(nothing, 0)
    assert (first.nearest_mm(0), first.source(0)) == (150, "lost")
    later.take(240, 0)
    later.take(nothing, 100 * MS)
    assert (later.nearest_mm(100 * MS), later.source(100 * MS)) == (150, "lost")
