"""Choosing exposure before a run. Scenes are closed forms: counts are light times exposure times gain, clipped at saturation."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shared.calibration import Calibration
from shared.exposure_choice import (
    HOLDS_WITHIN,
    LOCKED_AFTER_DYE_S,
    Brightness,
    ExposureChoice,
    ExposureLimits,
    ExposureSetting,
    brightness,
    centre,
    choose_exposure,
    locked_because,
    longest_exposure_us,
)
from shared.frame import CameraDescription

LEVELS = (0.2, 0.4, 0.6, 0.8, 1.0)
TARGET = 0.6
MOST_STEPS = 14


def droop(level: float) -> float:
    """A ring that loses a tenth of its output at full level."""
    return level * (1.0 - 0.1 * level) / 0.9


limits = st.builds(
    ExposureLimits,
    shortest_us=st.floats(20, 200),
    longest_us=st.floats(2_000, 40_000),
    largest_gain=st.floats(1, 16),
    levels=st.just(LEVELS),
    prefer=st.sampled_from(["less light", "short exposure"]),
)
begun = st.builds(
    ExposureSetting,
    exposure_us=st.floats(50, 40_000),
    gain=st.floats(1, 16),
    light_level=st.sampled_from(LEVELS),
)


def seen_with(setting: ExposureSetting, glow: float, ambient: float) -> Brightness:
    """Share of full scale of an even area that gives ``glow`` a microsecond at full light, and ``ambient`` besides."""
    share = setting.exposure_us * setting.gain * (glow * droop(setting.light_level) + ambient)
    return Brightness(min(share, 1.0), float(share >= 1.0))


def settled(begin: ExposureSetting, glow: float, ambient: float, inside: ExposureLimits) -> tuple[ExposureChoice, int]:
    now = begin
    for step in range(40):
        choice = choose_exposure(seen_with(now, glow, ambient), now, TARGET, inside, droop)
        if choice.is_final:
            return choice, step
        now = choice.setting
    pytest.fail(f"does not come to rest: {now}")


@given(begin=begun, glow=st.floats(1e-9, 1e-1), inside=limits)
@settings(max_examples=300, deadline=None)
def test_from_too_dark_or_saturated_it_comes_to_rest_within_a_few_frames(begin, glow, inside) -> None:
    choice, steps = settled(begin, glow, 0.0, inside)
    assert inside.hold(choice.setting)
    share = seen_with(choice.setting, glow, 0.0).share
    # a saturated start loses a factor of four a step, a dark one gains sixteen: from the ends of these ranges at most so many
    assert steps <= MOST_STEPS
    if choice.verdict == "as it is":
        assert TARGET / HOLDS_WITHIN - 1e-9 <= share <= TARGET * HOLDS_WITHIN + 1e-9
    elif choice.verdict == "as bright as it goes":
        assert share < TARGET
        assert choice.setting.light_level == 1.0
        assert choice.setting.gain == pytest.approx(inside.largest_gain, rel=0.03)
    else:
        assert share > TARGET
        assert choice.setting.light_level == LEVELS[0]
        assert choice.setting.exposure_us == pytest.approx(inside.shortest_us, rel=0.03)


@given(begin=begun, glow=st.floats(1e-7, 1e-3), ambient=st.floats(0, 1e-4), inside=limits)
@settings(max_examples=300, deadline=None)
def test_ambient_light_that_no_level_changes_does_not_make_it_hunt(begin, glow, ambient, inside) -> None:
    settled(begin, glow, ambient, inside)


@given(begin=begun, glow=st.floats(1e-9, 1e-1), inside=limits)
@settings(max_examples=200, deadline=None)
def test_what_is_chosen_lies_within_the_limits_and_gain_comes_last(begin, glow, inside) -> None:
    choice = choose_exposure(seen_with(begin, glow, 0.0), begin, TARGET, inside, droop)
    if choice.setting == begin:
        assert inside.hold(begin)
        return
    chosen = choice.setting
    assert inside.shortest_us <= chosen.exposure_us <= inside.longest_us
    assert 1.0 <= chosen.gain <= inside.largest_gain
    assert chosen.light_level in LEVELS
    if chosen.gain > 1.0:
        assert (chosen.exposure_us, chosen.light_level) == (inside.longest_us, 1.0)
    elif inside.prefer == "less light" and chosen.light_level > LEVELS[0]:
        dimmer = LEVELS[LEVELS.index(chosen.light_level) - 1]
        assert chosen.exposure_us * droop(chosen.light_level) > inside.longest_us * droop(dimmer) * (1 - 1e-9)


@given(share=st.floats(TARGET / HOLDS_WITHIN, TARGET * HOLDS_WITHIN), begin=begun, inside=limits)
def test_what_is_near_enough_is_left_alone_where_the_limits_hold_it(share, begin, inside) -> None:
    choice = choose_exposure(Brightness(share, 0.0), begin, TARGET, inside, droop)
    assert (choice == ExposureChoice(begin, "as it is")) == inside.hold(begin)


def test_less_light_first_or_shorter_exposure_first() -> None:
    """Worked by hand: 8 ms at level 0.5 and half the target; twice as much is 8 ms at full light."""
    begin = ExposureSetting(8_000, 1.0, 0.5)
    seen = Brightness(TARGET / 2, 0.0)
    levels = (0.25, 0.5, 1.0)
    less = ExposureLimits(20, 20_000, 4, levels, "less light")
    short = ExposureLimits(20, 20_000, 4, levels, "short exposure")
    assert choose_exposure(seen, begin, TARGET, less, float).setting == ExposureSetting(16_000, 1.0, 0.5)
    assert choose_exposure(seen, begin, TARGET, short, float).setting == ExposureSetting(8_000, 1.0, 1.0)


def test_brightness_is_that_of_most_of_the_area_above_dark() -> None:
    camera = CameraDescription("c", 90, 60, bit_depth=10, black_level=23.0)
    calibration = Calibration.assumed(camera)
    pixels = np.full((60, 90), 23 + 250, np.uint16)
    pixels[0, 0] = 1023
    area = centre((60, 90))
    assert len(area) == 20 * 30
    assert brightness(pixels, area, calibration) == Brightness(pytest.approx(250 / 1000), 0.0)
    pixels[20:30] = 1023
    seen = brightness(pixels, area, calibration)
    assert seen.saturated_share == pytest.approx(0.5)
    assert seen.is_saturated


def test_the_longest_exposure_is_that_of_hand_and_frame_rate() -> None:
    assert longest_exposure_us(33_333, None, 10, 2) == 33_333
    assert longest_exposure_us(33_333, 0.1, 10, 2) == pytest.approx(20_000)  # 0.2 mm at 10 mm/s
    assert longest_exposure_us(10_000, 0.1, 10, 2) == 10_000


def test_a_run_locks_it() -> None:
    assert locked_because(recording=True, since_injection_s=None) == "a recording runs"
    said = "dye went in {} s ago, which locks it for {} s more, with or without a recording"
    assert locked_because(recording=False, since_injection_s=42.4) == said.format(42, 558)
    assert locked_because(recording=False, since_injection_s=LOCKED_AFTER_DYE_S - 0.2) == said.format(600, 1)
    assert locked_because(recording=False, since_injection_s=LOCKED_AFTER_DYE_S) == ""
    assert locked_because(recording=False, since_injection_s=None) == ""
