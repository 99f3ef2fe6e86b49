"""Curves kept on the imager: whole for whoever comes late, in memory that never grows."""

import itertools
import math
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from device.curve_point import CurvePoint
from device.imager.curves import MOST_PLACES, POINTS_AN_ANSWER, SHORTEST_MS, KeptCurves
from shared.protocol.control import ANSWERS, REQUESTS
from shared.protocol.curves import Curves, GetCurves
from shared.protocol.wire import LONGEST_MESSAGE_BYTES, decoded, encoded


def point(place: str = "1,2,3,4", signal: float = 2.0, baseline: float = 0.5) -> CurvePoint:
    return CurvePoint(place, signal, signal / 100, baseline, 0.01)


def all_of(kept: KeptCurves, after_ms: int = -1) -> tuple[list[int], dict[str, list[float | None]]]:
    """As a tablet gathers it: one answer after the other."""
    times: list[int] = []
    curves: dict[str, list[float | None]] = {}
    more = True
    while more:
        answer = kept.after(times[-1] if times else after_ms, ())
        times += answer.times_ms
        for curve in answer.curves:
            curves.setdefault(curve.place, []).extend(curve.signal)
        more = answer.more
    return times, curves


def run(kept: KeptCurves, seconds: float, rate_hz: float = 30.0, start_s: float = 100.0) -> None:
    for number in range(int(seconds * rate_hz)):
        at_s = start_s + number / rate_hz
        kept.take(int(at_s * 1e9), [point(signal=at_s)])


def test_five_points_a_second_each_as_it_was_measured() -> None:
    kept = KeptCurves()
    run(kept, 10)
    times, curves = all_of(kept)
    assert 47 <= len(times) <= 50
    assert min(b - a for a, b in itertools.pairwise(times)) >= SHORTEST_MS
    for time_ms, signal in zip(times, curves["1,2,3,4"], strict=True):
        assert signal == pytest.approx(time_ms / 1000, abs=2e-3)


def test_a_tablet_that_asks_again_gets_only_what_is_new() -> None:
    kept = KeptCurves()
    run(kept, 4)
    before, _ = all_of(kept)
    run(kept, 4, start_s=104.0)
    later, _ = all_of(kept, before[-1])
    assert before + later == all_of(kept)[0]
    assert all_of(kept, later[-1]) == ([], {"1,2,3,4": []})


@given(st.integers(1, 400), st.integers(4, 40))
def test_memory_is_bounded_and_the_beginning_stays(seconds: int, most_points: int) -> None:
    kept = KeptCurves(most_points)
    run(kept, seconds, rate_hz=5.0)
    times, curves = all_of(kept)
    assert times[0] == 100_000
    assert len(times) <= most_points
    assert times == sorted(set(times))
    assert len(curves["1,2,3,4"]) == len(times)
    assert 100_000 + 1000 * seconds - times[-1] <= 2 * 1000 * max(seconds, most_points / 5) / (most_points / 2) + 400


def test_darkness_breaks_the_curve_and_takes_one_point() -> None:
    kept = KeptCurves()
    for number in range(300):
        dark = 100 <= number < 200
        kept.take(number * 33_000_000, [point(signal=math.nan if dark else 1.0)])
    _, curves = all_of(kept)
    signals = curves["1,2,3,4"]
    assert signals.count(None) == 1
    assert signals[0] == 1.0
    assert signals[-1] == 1.0


def test_before_the_first_light_there_is_nothing() -> None:
    kept = KeptCurves()
    kept.take(10**9, [point(signal=math.nan)])
    kept.take(2 * 10**9, [])
    assert kept.after(-1, ()).times_ms == ()


def test_a_region_put_back_goes_on_with_its_curve_and_a_new_one_begins_empty() -> None:
    kept = KeptCurves()
    kept.take(10**9, [point("a"), point("b")])
    kept.take(2 * 10**9, [point("a")])
    kept.take(3 * 10**9, [point("a"), point("b"), point("c")])
    _, curves = all_of(kept)
    assert curves == {"a": [2.0, 2.0, 2.0], "b": [2.0, None, 2.0], "c": [None, None, 2.0]}


def test_more_places_than_rows_forget_the_one_unwatched_longest() -> None:
    kept = KeptCurves()
    for number in range(3 * MOST_PLACES):
        kept.take((number + 1) * 10**9, [point("reference", 9.0), point(f"place {number}", 1.0 + number)])
    _, curves = all_of(kept)
    assert len(curves) == MOST_PLACES
    assert curves["reference"] == [9.0] * 3 * MOST_PLACES
    for number in range(2 * MOST_PLACES + 1, 3 * MOST_PLACES):
        held = [signal for signal in curves[f"place {number}"] if signal is not None]
        assert held == [1.0 + number], "nothing is left of the place that had the row before"


def test_baseline_is_the_newest_and_injections_are_in_milliseconds() -> None:
    kept = KeptCurves()
    kept.take(10**9, [point(baseline=0.0)])
    kept.take(2 * 10**9, [point(baseline=0.7)])
    answer = kept.after(-1, (1_500_000_999,))
    assert answer.curves[0].baseline == 0.7
    assert answer.injections_ms == (1500,)


def test_the_largest_answer_fits_a_message() -> None:
    kept = KeptCurves()
    places = [f"polygon:{','.join(['1234'] * 390)},{n}" for n in range(MOST_PLACES)]
    for number in range(POINTS_AN_ANSWER + 5):
        kept.take((number + 1) * 10**9, [point(place, -1.234567e-9 * (number + 1), 1.7e-9) for place in places])
    answer = kept.after(-1, tuple(range(100)))
    assert answer.more
    data = encoded(answer)
    assert len(data) <= LONGEST_MESSAGE_BYTES
    assert decoded(data, ANSWERS) == answer
    assert isinstance(answer, Curves)
    assert decoded(encoded(GetCurves(5)), REQUESTS) == GetCurves(5)


def test_points_are_kept_where_they_were_made_room_for() -> None:
    kept = KeptCurves(64)
    run(kept, 10)
    before = kept._signals.nbytes, sys.getsizeof(kept._rows)
    run(kept, 500, rate_hz=5.0, start_s=200.0)
    assert (kept._signals.nbytes, sys.getsizeof(kept._rows)) == before
