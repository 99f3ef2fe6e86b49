"""Each sensor's condition by itself: limit, hysteresis both ways, silence, absence, and what it says."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from device.light.conditions import conditions
from device.light.sensed import Limit, limits, next_sensed
from device.light.sensors.packet import Reading
from shared.protocol.light import Lease, Look, Want
from shared.sensor_settings import CoverSettings, DistanceSettings, SupplySettings, TemperatureSettings
from shared.settings import LightSettings

MS = 1_000_000

ONE = {
    "LED temperature": {"led_temperature": TemperatureSettings("1-wire")},
    "supply": {"supply": SupplySettings("monitor")},
    "cover": {"cover": CoverSettings("switch")},
    "distance": {"distance": DistanceSettings("ranger")},
}
ALARM = {"supply": SupplySettings("alarm")}

# name, settings, [(value, whether light is possible after it)], sentence at the last value
STORIES = [
    (
        "LED temperature",
        ONE["LED temperature"],
        [
            (55.1, False),
            (55.0, True),
            (60.0, True),
            (60.1, False),
            (58.0, False),
            (55.1, False),
            (54.9, True),
            (61.0, False),
        ],
        "the LEDs are at 61.0 °C, limit 60 °C: let them cool below 55 °C",
    ),
    (
        "supply",
        ONE["supply"],
        [(4.89, False), (4.91, True), (4.8, True), (4.79, False), (4.89, False), (5.0, True), (4.4, False)],
        "the supply gives 4.40 V, at least 4.8 V is needed: charge or change the battery",
    ),
    (
        "supply",
        ALARM,
        [(0.0, True), (1.0, False), (0.0, True), (1.0, False)],
        "the supply voltage is too low: charge or change the battery, and check the cable",
    ),
    ("cover", ONE["cover"], [(0.0, False), (1.0, True), (0.0, False)], "the ring's cover is open: close it"),
    (
        "distance",
        ONE["distance"],
        [(110.0, False), (121.0, True), (100.0, True), (99.0, False), (119.0, False), (120.0, True), (83.0, False)],
        "the tissue is 83 mm away, nearer than 100 mm: move back beyond 120 mm",
    ),
]


class Handheld:
    """A guard that is given frames and wanted to light all the time, on one fitted sensor."""

    def __init__(self, make_bench, clock, settings):
        self.bench = make_bench(clock, settings)
        self.bench.guard.imager_came()
        self.number = 0

    def says(self, name, value):
        """What the sensor says; then half a lease of frames, the wish new each time."""
        self.bench.guard.sense(Reading(name, self.bench.clock.now_ns(), value))
        return self.lit_after(12)

    def lit_after(self, milliseconds):
        status = None
        for _ in range(milliseconds // 4):
            self.bench.clock.advance_ms(4)
            self.number += 1
            self.bench.guard.take(Lease(self.number, self.bench.clock.now_ns(), 4_000.0, 3_000.0))
            status = self.bench.guard.take(Want(True, 0.5))
        return status.state == "lit"

    def rearm(self):
        from shared.protocol.light import Rearm

        self.bench.guard.take(Want(False, 0.5))
        self.bench.guard.take(Rearm("release"))
        self.bench.guard.take(Rearm("press"))


@pytest.mark.parametrize(
    ("name", "fitted", "story", "sentence"), STORIES, ids=["LED", "volts", "alarm", "cover", "distance"]
)
def test_limit_and_hysteresis_both_ways_and_the_sentence(
    make_bench, manual_clock, no_sensors, name, fitted, story, sentence
):
    handheld = Handheld(make_bench, manual_clock, replace(no_sensors, **fitted))
    was_lit = False
    assert not handheld.lit_after(20), "nothing is lit before the sensor answered"
    assert f"the {name} sensor has not answered yet" in handheld.bench.guard.take(Look()).reason
    for value, possible in story:
        lit = handheld.says(name, value)
        if was_lit and not possible:
            assert handheld.bench.guard.light.state == "tripped", "what nobody asked for is latched"
            reason = handheld.bench.guard.light.trip_reason
        assert not (lit and not possible)
        if handheld.bench.guard.light.latched:
            handheld.rearm()
            lit = handheld.lit_after(8)
        assert lit == possible, f"at {value}"
        was_lit = lit
    assert reason == sentence


@pytest.mark.parametrize("name", ONE)
def test_a_silent_sensor_trips_at_the_very_end_of_its_silence(make_bench, manual_clock, no_sensors, name):
    settings = replace(no_sensors, **ONE[name])
    handheld = Handheld(make_bench, manual_clock, settings)
    good = {"LED temperature": 40.0, "supply": 5.0, "cover": 1.0, "distance": 250.0}[name]
    assert handheld.says(name, good)
    (limit,) = limits(settings).values()
    spoken_ns = handheld.bench.guard._sensed[name].at_ns
    until_ns = spoken_ns + limit.silent_ns
    while manual_clock.now_ns() < until_ns - 8 * MS:
        assert handheld.lit_after(4)
    while handheld.bench.guard.light.state == "lit":
        manual_clock.time_ns = handheld.bench.guard.due_ns()
        handheld.bench.guard.turn()
    assert manual_clock.now_ns() == until_ns
    assert handheld.bench.guard.light.trip_reason == f"the {name} sensor stopped answering: check its plug"
    handheld.rearm()
    assert not handheld.lit_after(20)
    assert handheld.says(name, good), "one that answers again can light again"


def test_after_a_silence_a_value_must_come_inside_by_the_hysteresis():
    limit = Limit(silent_ns=100, at_most=60.0, hysteresis=5.0)
    cool = next_sensed(None, Reading("LED temperature", 0, 50.0), limit, 0)
    assert next_sensed(cool, Reading("LED temperature", 99, 58.0), limit, 99).within
    assert not next_sensed(cool, Reading("LED temperature", 100, 58.0), limit, 100).within


def test_a_reading_that_comes_late_is_as_old_as_it_is_and_an_older_one_changes_nothing():
    limit = Limit(silent_ns=100, at_most=60.0)
    first = next_sensed(None, Reading("LED temperature", 50, 50.0), limit, 90)
    assert first.fresh(limit, 149)
    assert not first.fresh(limit, 150)
    assert next_sensed(first, Reading("LED temperature", 49, 99.0), limit, 91) == first
    assert next_sensed(first, Reading("LED temperature", 10**9, 50.0), limit, 91).at_ns == 91, "none lies in the future"


@given(values=st.lists(st.floats(-50, 150), min_size=1, max_size=60), step=st.sampled_from([True, False]))
def test_within_is_left_at_the_limit_alone_and_entered_at_the_hysteresis_alone(values, step):
    limit = Limit(10**9, at_most=60.0, hysteresis=5.0) if step else Limit(10**9, at_least=60.0, hysteresis=5.0)
    sign = 1 if step else -1
    sensed = None
    for number, value in enumerate(values):
        was = sensed is not None and sensed.within
        sensed = next_sensed(sensed, Reading("distance", number, value), limit, number)
        assert sensed.within == (sign * (value - limit.edge) <= (0 if was else -5.0))


def test_nothing_is_guessed_of_a_sensor_that_is_absent(make_bench, manual_clock, no_sensors):
    handheld = Handheld(make_bench, manual_clock, no_sensors)
    assert handheld.says("LED temperature", 500.0), "what is not in the settings is not listened to"
    listed = {one.name: one for one in handheld.bench.guard.take(Look(conditions=True)).conditions}
    assert (listed["LED temperature"].state, listed["LED temperature"].value) == ("absent", None)
    assert listed["LED temperature"].sentence == "no LED temperature sensor is fitted: nothing watches it"


def test_the_list_tells_value_limit_and_unit(make_bench, manual_clock, no_sensors):
    handheld = Handheld(make_bench, manual_clock, replace(no_sensors, **ONE["LED temperature"]))
    handheld.says("LED temperature", 41.23456)
    status = handheld.bench.guard.take(Look(conditions=True))
    assert [one.name for one in status.conditions] == [one.name for one in conditions(handheld.bench.settings)]
    found = {one.name: (one.state, one.sentence, one.value, one.limit, one.unit) for one in status.conditions}
    assert found["LED temperature"] == ("holds", "", 41.235, 60.0, "°C")
    assert found["frames fresh"] == ("holds", "", None, None, "")
    assert handheld.bench.guard.take(Look()).conditions == (), "it is long, and comes only where it is asked for"
    handheld.says("LED temperature", 70.0)
    hot = {one.name: one for one in handheld.bench.guard.take(Look(conditions=True)).conditions}["LED temperature"]
    assert (hot.state, hot.value) == ("missing", 70.0)
    assert "limit 60 °C" in hot.sentence


def test_vendor_settings_watch_temperature_and_supply():
    assert list(limits(LightSettings())) == ["LED temperature", "supply"]
