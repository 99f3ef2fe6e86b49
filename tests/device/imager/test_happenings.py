"""What the growing chart marks beside the curves."""

from device.imager.happenings import MOST_KEPT, Happenings

SECOND = 1_000_000_000


def told(kept: Happenings) -> list[tuple[int, str, str]]:
    return [(one.time_ms, one.kind, one.text) for one in kept.newest]


def test_it_is_told_in_order_of_time_and_counted() -> None:
    kept = Happenings()
    kept.note("note", 3 * SECOND, "tip pale")
    kept.note("light", 2 * SECOND, "60")
    assert told(kept) == [(2000, "light", "60"), (3000, "note", "tip pale")]
    assert kept.count == 2
    kept.forget()
    assert (told(kept), kept.count) == ([], 3)


def test_frames_lost_soon_after_each_other_are_one_gap_and_a_new_recording_begins_anew() -> None:
    kept = Happenings()
    for at_s, gaps in ((1, 0), (2, 3), (3, 3), (3.5, 5), (9, 6), (12, 0), (13, 2)):
        kept.see_gaps(round(at_s * SECOND), gaps)
    assert told(kept) == [(2000, "gap", "5"), (9000, "gap", "1"), (13000, "gap", "2")]


def test_memory_and_texts_do_not_grow() -> None:
    kept = Happenings()
    for number in range(3 * MOST_KEPT):
        kept.note("note", number * SECOND, "x" * 5000)
    assert len(kept.newest) == MOST_KEPT
    assert max(len(one.text) for one in kept.newest) <= 80
