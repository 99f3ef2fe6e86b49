import pytest
from hypothesis import given
from hypothesis import strategies as st

from device.light.lease import LeaseBook, LeaseTerms
from shared.protocol.light import Lease

MS = 1_000_000
TERMS = LeaseTerms()


@pytest.mark.parametrize(
    ("interval_ms", "length_ms"),
    [(4, 100), (33.333, 100), (66, 100), (100, 150), (250, 375), (300, 400), (10_000, 400)],
)
def test_length_is_100_ms_or_one_and_a_half_intervals_and_never_over_400_ms(interval_ms, length_ms):
    # issue's own figures
    assert TERMS.length_ns(interval_ms * 1000) == length_ms * MS


def test_a_fresh_frame_earns_its_whole_length_from_arrival():
    lease = Lease(0, 1000 * MS, 33_333.0, 15_000.0)
    assert TERMS.end_ns(lease, 1020 * MS) == 1120 * MS


def test_a_frame_that_comes_late_earns_less():
    lease = Lease(0, 1000 * MS, 33_333.0, 15_000.0)
    assert TERMS.end_ns(lease, 1090 * MS) == 1000 * MS + 100 * MS + 33_333_000


@given(
    interval_us=st.floats(100, 1e8),
    age_ns=st.integers(0, 10**9),
    lease_ms=st.integers(20, 400),
    more_ms=st.integers(0, 380),
)
def test_no_lease_outlives_its_bounds(interval_us, age_ns, lease_ms, more_ms):
    terms = LeaseTerms(lease_ms, min(400, lease_ms + more_ms))
    now_ns = 10**12
    end_ns = terms.end_ns(Lease(0, now_ns - age_ns, interval_us, 1000.0), now_ns)
    length_ns = terms.length_ns(interval_us)
    assert length_ns <= 400 * MS
    assert end_ns <= now_ns + length_ns
    assert end_ns <= now_ns - age_ns + min(400 * MS, length_ns + interval_us * 1000)


@pytest.mark.parametrize("interval_ms", [4.0, 16.67, 33.33, 66.7, 100.0])
@pytest.mark.parametrize("readout_share", [0.2, 1.0])
def test_steady_frames_keep_the_lease_even_from_a_sensor_that_reads_out_all_the_time(interval_ms, readout_share):
    book = LeaseBook(TERMS)
    latency_ns = round((readout_share * interval_ms + 10) * MS)
    for number in range(50):
        sensor_ns = round(10**9 + number * interval_ms * MS)
        arrived_ns = sensor_ns + latency_ns
        assert number == 0 or arrived_ns < book.end_ns
        assert book.renew(Lease(number, sensor_ns, interval_ms * 1000, 1000.0), arrived_ns) == ""


@pytest.mark.parametrize(
    ("sequence", "sensor_ms", "says"),
    [
        (5, 1030, "came after"),
        (4, 1030, "came after"),
        (6, 1000, "did not advance"),
        (6, 990, "did not advance"),
        (6, 1051, "in the future"),
    ],
)
def test_a_frame_that_does_not_advance_or_is_not_yet_is_refused_and_renews_nothing(sequence, sensor_ms, says):
    book = LeaseBook(TERMS)
    assert book.renew(Lease(5, 1000 * MS, 33_333.0, 1000.0), 1010 * MS) == ""
    assert says in book.renew(Lease(sequence, sensor_ms * MS, 33_333.0, 1000.0), 1050 * MS)
    assert book.end_ns == 1110 * MS


def test_a_frame_older_than_a_lease_is_refused():
    book = LeaseBook(TERMS)
    assert "older" in book.renew(Lease(0, 1000 * MS, 33_333.0, 1000.0), 1100 * MS + 1)
    assert book.end_ns == 0


def test_a_new_imager_counts_from_nothing_but_cannot_bring_old_frames():
    book = LeaseBook(TERMS)
    book.renew(Lease(500, 1000 * MS, 33_333.0, 1000.0), 1010 * MS)
    book.drop()
    assert "did not advance" in book.renew(Lease(0, 1000 * MS, 33_333.0, 1000.0), 1020 * MS)
    assert book.renew(Lease(0, 1015 * MS, 33_333.0, 1000.0), 1020 * MS) == ""
