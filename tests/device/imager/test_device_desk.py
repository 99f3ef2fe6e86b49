"""What the device tells of itself, and what it says that it does not know."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

import device
from device.imager.device_desk import DeviceDesk, clock_set
from device.imager.trip_log import TripLog
from shared.protocol.device_facts import GetDevice
from tests.device.imager.test_requests import Bench, bench  # noqa: F401 - a fixture

VENDOR = Path(device.__path__[0]) / "settings.toml"


@pytest.fixture
def trips(tmp_path):
    made = TripLog(tmp_path / "trips", now=lambda: "2026-11-25T10:00:00Z")
    yield made
    made.close()


def desk(bench, trips, tmp_path, at="2026-11-25T12:00:00+00:00"):  # noqa: F811
    moment = datetime.fromisoformat(at).astimezone(UTC)
    return DeviceDesk(bench.parts, trips, VENDOR, Path("/etc/tapetum/settings.toml"), tmp_path, lambda: moment)


def test_it_tells_what_it_knows(bench: Bench, trips, tmp_path):  # noqa: F811
    found = desk(bench, trips, tmp_path).acts[GetDevice](GetDevice())
    assert (found.now, found.started_at) == ("2026-11-25T12:00:00Z", "2026-11-25T12:00:00Z")
    assert (found.clock_set, found.clock_words) == ("not known", "")
    assert found.asked_rate_hz == pytest.approx(30, abs=0.1)
    assert 0 < found.storage_free_mb < found.storage_total_mb
    assert found.minutes_left > 0
    assert found.memory_mb > 10
    assert found.settings_file == "/etc/tapetum/settings.toml"
    assert len(found.settings) > 60


def test_whether_the_clock_was_set_is_known_where_the_system_says_so(tmp_path):
    assert clock_set(tmp_path) == "not known"
    folder = tmp_path / "run/systemd/timesync"
    folder.mkdir(parents=True)
    assert clock_set(tmp_path) == "not since the start"
    (folder / "synchronized").touch()
    assert clock_set(tmp_path) == "by network"


def test_a_clock_before_what_already_was_is_told(bench: Bench, trips, tmp_path):  # noqa: F811
    trips.note("too warm", tried=False)
    found = desk(bench, trips, tmp_path, "2026-03-01T12:00:00+00:00").facts()
    assert "is before 2026-11-25 10:00, which already was: set the clock" in found.clock_words
    assert found.trips[0].reason == "too warm"


def test_a_trip_of_the_light_reaches_the_log_and_says_whether_it_was_tried(bench: Bench, trips):  # noqa: F811
    bench.loop.trips = trips
    bench.turns(3)
    bench.link.become("tripped")
    bench.turns(2, held=False)
    assert [one.tried for one in trips.newest_first] == [False]
