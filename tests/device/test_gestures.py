"""Gestures from edges. The gestures themselves are this device's own; the times are those of the vendor settings."""

from hypothesis import given, settings
from hypothesis import strategies as st

from device.gestures import Gesture, GestureReader
from shared.settings import ButtonSettings

MS = 1_000_000
SETTINGS = ButtonSettings(debounce_ms=20, hold_ms=500, double_press_ms=350)
LATER_MS = 10_000


def read(*edges_ms: float, until_ms: float = LATER_MS, settings: ButtonSettings = SETTINGS) -> list[tuple[str, float]]:
    """Gestures of a contact that closes at the first time, opens at the second, and so on."""
    reader = GestureReader(settings)
    for number, time_ms in enumerate(edges_ms):
        reader.edge(number % 2 == 0, round(time_ms * MS))
    return in_ms(reader.tick(round(until_ms * MS)))


def in_ms(gestures: list[Gesture]) -> list[tuple[str, float]]:
    return [(gesture.kind, gesture.time_ns / MS) for gesture in gestures]


def test_a_short_press_is_told_once_no_second_one_can_follow():
    assert read(1000, 1100, until_ms=1449.9) == []
    assert read(1000, 1100, until_ms=1450) == [("short press", 1000)]


def test_two_presses_are_one_double_press_told_after_the_window():
    assert read(1000, 1100, 1300, 1400, until_ms=1749.9) == []
    assert read(1000, 1100, 1300, 1400, until_ms=1750) == [("double press", 1000)]


def test_a_second_press_just_inside_and_just_outside_the_window():
    assert read(1000, 1100, 1449, 1549) == [("double press", 1000)]
    assert read(1000, 1100, 1450, 1550) == [("short press", 1000), ("short press", 1450)]


def test_three_presses_are_told_as_soon_as_the_third_release_is_sure():
    edges = (1000, 1100, 1250, 1350, 1500, 1600)
    assert read(*edges, until_ms=1619.9) == []
    assert read(*edges, until_ms=1620) == [("triple press", 1000)]


def test_a_fourth_press_begins_anew():
    assert read(1000, 1100, 1250, 1350, 1500, 1600, 1750, 1850) == [("triple press", 1000), ("short press", 1750)]


def test_a_hold_begins_after_the_hold_time_and_ends_at_the_release():
    assert read(1000, until_ms=1499.9) == []
    assert read(1000, until_ms=1500) == [("hold began", 1500)]
    assert read(1000, 1800, until_ms=1800) == [("hold began", 1500), ("hold ended", 1800)]
    assert read(1000, 1800) == [("hold began", 1500), ("hold ended", 1800)]


def test_a_hold_after_presses_tells_the_presses_first():
    assert read(1000, 1100, 1300, 2000) == [("short press", 1000), ("hold began", 1800), ("hold ended", 2000)]


def test_bounce_on_both_edges_changes_nothing():
    bouncing = (1000, 1003, 1005, 1011, 1012, 1100, 1104, 1105, 1109, 1113)
    assert read(*bouncing) == [("short press", 1000)]


def test_a_spike_shorter_than_the_debounce_time_is_no_press():
    assert read(1000, 1019) == []
    assert read(1000, 1021) == [("short press", 1000)]


def test_light_ends_at_the_first_opening_however_it_bounces():
    gestures = read(1000, 1800, 1803, 1805, 1808, 1810, until_ms=1811)
    assert gestures == [("hold began", 1500), ("hold ended", 1800)]
    assert read(1000, 1800, 1803, 1805, 1808, 1810) == gestures


def test_a_contact_that_slips_during_a_hold_must_be_held_anew():
    assert read(1000, 1800, 1805, until_ms=2304.9) == [("hold began", 1500), ("hold ended", 1800)]
    assert read(1000, 1800, 1805, until_ms=2305)[2:] == [("hold began", 2305)]


def test_a_slipped_hold_released_early_is_not_a_press():
    assert read(1000, 1800, 1805, 1900) == [("hold began", 1500), ("hold ended", 1800)]


def test_a_contact_that_slips_just_before_the_hold_time_delays_the_hold():
    assert read(1000, 1495, 1498, until_ms=1517.9) == []
    assert read(1000, 1495, 1498, until_ms=1518) == [("hold began", 1518)]


def test_deadlines_lead_through_every_decision():
    reader = GestureReader(SETTINGS)
    assert reader.next_deadline_ns is None
    reader.edge(True, 1000 * MS)
    assert reader.next_deadline_ns == 1020 * MS
    assert reader.tick(1020 * MS) == []
    assert reader.next_deadline_ns == 1500 * MS
    reader.edge(False, 1100 * MS)
    assert reader.next_deadline_ns == 1120 * MS
    assert reader.tick(1120 * MS) == []
    assert reader.next_deadline_ns == 1450 * MS
    assert in_ms(reader.tick(1450 * MS)) == [("short press", 1000)]
    assert reader.next_deadline_ns is None


def test_time_that_runs_back_is_taken_as_no_time():
    reader = GestureReader(SETTINGS)
    reader.edge(True, 1000 * MS)
    reader.tick(1600 * MS)
    reader.edge(False, 1590 * MS)
    assert in_ms(reader.tick(1000 * MS)) == [("hold ended", 1600)]


# ---- whatever the contact does ------------------------------------------------------------------------------------------

gaps_ms = st.lists(st.one_of(st.integers(0, 30), st.integers(31, 900)), max_size=40)


@given(gaps_ms)
@settings(deadline=None)
def test_holds_alternate_and_lie_within_one_closing_of_the_contact(gaps):
    times = [sum(gaps[: n + 1]) + 1000 for n in range(len(gaps))]
    gestures = read(*times, until_ms=100_000)
    closed = [(times[n], times[n + 1] if n + 1 < len(times) else 1e9) for n in range(0, len(times), 2)]
    holds = [g for g in gestures if g[0].startswith("hold")]
    assert [kind for kind, _ in holds] == [("hold began", "hold ended")[n % 2] for n in range(len(holds))]
    for n in range(0, len(holds), 2):
        began = holds[n][1]
        (around,) = [span for span in closed if span[0] <= began <= span[1]]
        ended = holds[n + 1][1] if n + 1 < len(holds) else 1e9
        assert ended == around[1]
        assert began - around[0] >= SETTINGS.debounce_ms


@given(gaps_ms, st.data())
@settings(deadline=None)
def test_looking_often_or_seldom_gives_the_same(gaps, data):
    often, seldom = GestureReader(SETTINGS), GestureReader(SETTINGS)
    now, found = 1000, []
    for number, gap in enumerate(gaps):
        for look in sorted(data.draw(st.lists(st.integers(0, gap), max_size=3))):
            found += often.tick((now + look) * MS)
        now += gap
        for reader in (often, seldom):
            reader.edge(number % 2 == 0, now * MS)
    end = (now + LATER_MS) * MS
    assert found + often.tick(end) == seldom.tick(end)


# A press must outlast its bounces (24 ms at most here) by the debounce time, and so must a pause.
clean_press = st.integers(45, 450)
pauses = st.integers(45, 900)
bounces = st.lists(st.integers(1, 6), max_size=2).map(lambda gaps: [g for gap in gaps for g in (gap, gap)])


@given(st.lists(st.tuples(clean_press, pauses), min_size=1, max_size=12), st.data())
@settings(deadline=None)
def test_no_press_is_lost_or_doubled_however_the_contact_bounces(presses, data):
    clean, dirty, now = [], [], 1000
    for down, up in presses:
        for edge in (now, now + down):
            clean.append(edge)
            dirty += _bounced(edge, data.draw(bounces))
        now += down + up
    assert [kind for kind, _ in read(*dirty, until_ms=100_000)] == [kind for kind, _ in read(*clean, until_ms=100_000)]
    counted = {"short press": 1, "double press": 2, "triple press": 3}
    assert sum(counted[kind] for kind, _ in read(*dirty, until_ms=100_000)) == len(presses)


def _bounced(edge_ms: int, gaps_ms: list[int]) -> list[int]:
    times = [edge_ms]
    for gap in gaps_ms:
        times.append(times[-1] + gap)
    return times
