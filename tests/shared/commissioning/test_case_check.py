"""What the check before a case makes of its figures; limits are our own choice."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from shared.commissioning import case_check as judge
from shared.commissioning.calibration_folder import Figures, Kept, Taken
from shared.commissioning.case_check import Trial
from shared.commissioning.dark import Dark
from shared.commissioning.leakage import Leakage
from shared.commissioning.stack import Stack
from shared.frame import CameraDescription
from shared.protocol.control import LampState
from shared.protocol.light import ConditionState
from shared.signal import Measured

CAMERA = CameraDescription("fake", 40, 30)
NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
DARK = Dark(8000, 1, 36, 60.0, 0.01, 0.4, 0.2, 5.0, 0.1)
LEAKAGE = Leakage(5.0, 0.01, 6.0, 7.0, (5.0,) * 35, 4.0)
STEPS = ("dark", "defects", "flat", "gain")
RNG = np.random.default_rng(1)


def kept(**changes):
    taken = tuple(Taken(step, "2026-11-01T10:00:00Z", "r") for step in STEPS)
    found = object()
    figures = replace(
        Figures.empty("A", CAMERA), made_at="2026-11-01T10:00:00Z", taken=taken, dark=DARK, defects=found, flat=found,
        gain=found, leakage=LEAKAGE, **changes,
    )  # fmt: skip
    planes = {"dark_counts": np.full(CAMERA.shape, 60.0), "defects": np.zeros(CAMERA.shape, np.bool_)}
    return Kept("n", figures, planes)


def nothing():
    return Kept("", Figures.empty("A", CAMERA))


def unlit(level=60.0, hot=0):
    mean = level + RNG.normal(0, 0.1, CAMERA.shape)
    mean.reshape(-1)[:hot] += 40
    return Stack(mean, np.full(CAMERA.shape, 0.2), (level,) * 16)


@pytest.mark.parametrize(("level", "passed"), [(60.0, True), (64.9, True), (65.5, False), (54.0, False)])
def test_dark_level(level, passed):
    found = judge.dark_level(unlit(level), kept(), 1023)
    assert found.passed == passed
    assert ("tapetum calibrate dark" in found.words) != passed


@pytest.mark.parametrize(("hot", "passed"), [(0, True), (10, True), (11, False)])
def test_new_defects(hot, passed):
    assert judge.new_defects(unlit(hot=hot), kept()).passed == passed


def test_known_defects_are_not_new():
    known = kept()
    mask = known.planes["defects"].copy()
    mask.reshape(-1)[:20] = True
    assert judge.new_defects(unlit(hot=20), replace(known, planes={**known.planes, "defects": mask})).passed


@pytest.mark.parametrize(
    ("counts", "passed", "words"), [(40, True, "1.00"), (61, False, "loose"), (19, False, "window")]
)
def test_leakage(counts, passed, words):
    found = judge.leakage_now(Measured(counts, 0.1), 0.1, kept())
    assert (found.passed, words in found.words) == (passed, True)


def test_the_picture_brightens_by_what_the_ring_adds():
    lit = Stack(unlit().mean + 30 * 0.8, np.full(CAMERA.shape, 2.0), (0.0,) * 16)
    seen = judge.brightening(lit, unlit(), np.ones(CAMERA.shape, np.bool_), np.full(CAMERA.shape, 0.8))
    assert seen.value == pytest.approx(30, abs=0.1)
    assert 0.005 < seen.u < 0.1


TRIED = Trial(0.02, 0.3, "the camera's frames stopped coming", True)


@pytest.mark.parametrize(
    ("trial", "seen", "answers", "trips"),
    [
        (TRIED, 30.0, True, True),
        (TRIED, 0.1, False, True),
        (replace(TRIED, lit_after_s=None), 30.0, False, False),
        (replace(TRIED, lit_after_s=1.2), 30.0, False, True),
        (replace(TRIED, tripped_after_s=None), 30.0, True, False),
        (replace(TRIED, tripped_after_s=0.7), 30.0, True, False),
        (replace(TRIED, dark_afterwards=False), 30.0, True, False),
    ],
)
def test_the_light_answers_and_trips(trial, seen, answers, trips):
    assert judge.light_answers(trial, Measured(seen, 0.1)).passed == answers
    assert judge.light_trips(trial).passed == trips


@pytest.mark.parametrize(
    ("free_mb", "least_free_mb", "passed"),
    [(20_000, 500, True), (1000, 500, False), (20_000, 15_000, False), (400, 500, False)],
)
def test_room_is_what_a_recording_may_take_before_it_ends_by_itself(free_mb, least_free_mb, passed):
    item = judge.room(free_mb, least_free_mb, 1456, 1088, 30.0)
    assert item.passed == passed
    assert "-" not in item.words


@pytest.mark.parametrize(
    ("supply", "cover", "passed"),
    [
        (ConditionState("supply", "holds", "", 5.1, 4.8, "V"), "holds", (True, True)),
        (ConditionState("supply", "missing", "charge it"), "holds", (False, True)),
        (ConditionState("supply", "absent", "nothing watches it"), "absent", (True, True)),
        (ConditionState("supply", "holds"), "missing", (True, False)),
    ],
)
def test_supply_and_the_other_conditions(supply, cover, passed):
    wish = ConditionState("operator wants light", "missing", "light is not asked for")
    light = LampState(True, "ready", 0, False, 1, 0, "", conditions=(supply, ConditionState("cover", cover), wish))
    assert tuple(one.passed for one in judge.light_conditions(light)) == passed
    assert not any(one.passed for one in judge.light_conditions(replace(light, conditions=())))


@pytest.mark.parametrize(
    ("now", "passed"),
    [
        (NOW, True),
        (NOW - timedelta(hours=2), False),
        (NOW + timedelta(days=365 * 50), False),
        (datetime(1970, 1, 1, tzinfo=UTC), False),
    ],
)
def test_clock(now, passed):
    assert judge.clock(now, [NOW - timedelta(hours=1)]).passed == passed
    assert judge.clock(NOW, []).passed


@pytest.mark.parametrize(
    ("calibration", "in_force", "light", "now", "words"),
    [
        (kept(), "2026-11-01T10:00:00Z", "2026-11-02T10:00:00Z", NOW, ""),
        (nothing(), "", "", NOW, "lacks dark, defects, flat, gain"),
        (replace(kept(), figures=replace(kept().figures, gain=None)), "2026-11-01T10:00:00Z", "x", NOW, "lacks gain"),
        (kept(), "2026-10-01T10:00:00Z", "2026-11-02T10:00:00Z", NOW, "restart the device"),
        (kept(), "2026-11-01T10:00:00Z", "", NOW, "assumed linear"),
        (kept(), "2026-11-01T10:00:00Z", "2026-11-02T10:00:00Z", NOW + timedelta(days=200), "224 days old"),
        (kept(), "2026-11-01T10:00:00Z", "2026-01-02T10:00:00Z", NOW, "327 days old"),
    ],
)
def test_age_of_the_calibration(calibration, in_force, light, now, words):
    found = judge.calibration_age(calibration, in_force, light, now, 5)
    assert found.passed == (words == "")
    assert words in found.words


def test_a_ring_of_one_level_needs_no_light_output():
    """There is nothing that dimming could change; a measurement from when there were more levels still grows old."""
    found = judge.calibration_age(kept(), "2026-11-01T10:00:00Z", "", NOW, 1)
    assert (found.passed, found.words) == (True, "oldest step 24 days old, at most 180")
    assert not judge.calibration_age(kept(), "2026-11-01T10:00:00Z", "2026-01-02T10:00:00Z", NOW, 1).passed


def test_without_a_calibration_nothing_passes_that_needs_one():
    assert not judge.dark_level(unlit(), nothing(), 1023).passed
    assert not judge.new_defects(unlit(), nothing()).passed
    assert not judge.leakage_now(Measured(40, 0.1), 0.1, nothing()).passed
