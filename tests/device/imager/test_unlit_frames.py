"""One frame without light, planned on a model of camera and ring: exposures, late frames, a ring that obeys a moment later."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from device.imager.unlit_frames import (
    BRIDGED_NS,
    DEAD_MAN_RISES_NS,
    LONGEST_DARK_NS,
    LONGEST_STEP_NS,
    STALLED_NS,
    UnlitFrames,
)
from shared.errors import Refused
from shared.frame import CameraDescription, Frame
from shared.settings import Settings, changed

PIXELS = np.zeros((64, 64), np.uint16)
MS = 1_000_000


def camera(interval_us: float = 33_333.0, shutter: str = "global") -> CameraDescription:
    return CameraDescription("c", 64, 64, frame_interval_us=interval_us, shutter=shutter)  # type: ignore[arg-type]


def mean_level(steps: list[tuple[int, float]], start_ns: int, end_ns: int) -> float:
    """Mean of a staircase of (moment, level) over a span."""
    total = 0.0
    for (since_ns, level), until_ns in zip(steps, [since for since, _ in steps[1:]] + [end_ns], strict=True):
        total += level * max(0, min(until_ns, end_ns) - max(since_ns, start_ns))
    return total / (end_ns - start_ns)


def played(
    plan: UnlitFrames, interval_us: float, exposure_share: float, delays_ms, obeys_ms: float, frames: int = 200, every=0
):
    """Levels that frames saw, and how long each darkness was, ns. Frames reach the plan ``delays_ms`` after readout began; the
    level is to be stepped at each ``every``-th of them.
    """
    steps, levels, spells = [(0, 1.0)], [], []
    gone_ns = 0
    for number in range(1, frames):
        readout_ns = round(number * interval_us * 1000)
        exposure_us = exposure_share * interval_us
        level = mean_level(steps, readout_ns - round(exposure_us * 1000), readout_ns)
        levels.append(level)
        now_ns = readout_ns + round(delays_ms[number % len(delays_ms)] * MS)
        act = plan.after(
            Frame(PIXELS, number, readout_ns, exposure_us, 1.0, level, level > 0),
            True,
            now_ns,
            bool(every and number % every == 0),
        )
        if act != "stay":
            steps.append((now_ns + round(obeys_ms * MS), 0.0 if act == "go dark" else 1.0))
            if act == "go dark":
                gone_ns = now_ns
            else:
                spells.append(now_ns - gone_ns)
    return np.array(levels), np.array(spells)


@given(
    every=st.integers(8, 40),
    interval_us=st.floats(8_000, 34_000),
    exposure_share=st.floats(0.05, 1.0),
    delays_ms=st.lists(st.floats(0.5, 6.0), min_size=1, max_size=7),
    obeys_ms=st.floats(0.05, 1.0),
)
@settings(max_examples=200, deadline=None)
def test_darkness_is_short_and_rare_whatever_the_timing(
    every, interval_us, exposure_share, delays_ms, obeys_ms
) -> None:
    levels, spells = played(UnlitFrames(every, camera(interval_us)), interval_us, exposure_share, delays_ms, obeys_ms)
    assert spells.size >= 2
    assert spells.max() <= LONGEST_DARK_NS + 6 * MS <= BRIDGED_NS
    assert np.count_nonzero(levels < 1) <= 3 * (spells.size + 1)


@given(exposure_share=st.floats(0.05, 0.6), delays_ms=st.lists(st.floats(0.5, 8.0), min_size=1, max_size=7))
@settings(deadline=None)
def test_with_time_between_exposures_just_one_frame_is_dark_and_none_half_lit(exposure_share, delays_ms) -> None:
    plan = UnlitFrames(15, camera())
    levels, spells = played(plan, 33_333.0, exposure_share, delays_ms, 0.5)
    assert set(levels) == {0.0, 1.0}
    assert np.count_nonzero(levels == 0) == spells.size
    assert (np.diff(np.flatnonzero(levels == 0)) == 16).all(), "fifteen lit frames between them"
    assert plan.trouble == ""


def test_an_exposure_too_long_for_any_dark_frame_is_said() -> None:
    plan = UnlitFrames(8, camera())
    levels, _ = played(plan, 33_333.0, 1.0, [3.0], 0.5)
    assert levels.min() > 0
    assert "shorten the exposure" in plan.trouble


@given(
    interval_us=st.floats(8_000, 70_000),
    exposure_share=st.floats(0.05, 1.0),
    delays_ms=st.lists(st.floats(0.5, 6.0), min_size=1, max_size=7),
    obeys_ms=st.floats(0.05, 1.0),
)
@settings(max_examples=200, deadline=None)
def test_each_step_has_its_dark_frame_whatever_the_timing(interval_us, exposure_share, delays_ms, obeys_ms) -> None:
    """Even where exposures leave no time between them, which needs more than one interval; and light comes back soon."""
    plan = UnlitFrames(0, camera(interval_us))
    levels, spells = played(plan, interval_us, exposure_share, delays_ms, obeys_ms, every=20)
    assert spells.size == 9
    dark = np.flatnonzero(levels == 0)
    assert {int(number) // 20 for number in dark} == set(range(1, 10))
    assert spells.max() <= 3.5 * 1000 * interval_us
    assert spells.max() <= LONGEST_STEP_NS
    assert plan.trouble == ""


def test_a_step_with_no_dark_frame_to_be_had_is_done_all_the_same() -> None:
    """A camera so slow that a whole dark frame outlasts the wait."""
    plan = UnlitFrames(0, camera(200_000.0))
    levels, spells = played(plan, 200_000.0, 1.0, [3.0], 0.5, every=20)
    assert spells.size == 9
    assert spells.max() <= LONGEST_STEP_NS
    assert levels.min() > 0
    assert "shorten the exposure" in plan.trouble


def test_a_rolling_shutter_s_dark_frame_is_read_out_in_the_dark() -> None:
    """Rows are read one after the other for up to an interval after the first one: light waits for the last."""
    plan = UnlitFrames(0, camera(shutter="rolling"))
    lit = Frame(PIXELS, 1, 33 * MS, 10_000.0, 1.0, 0.6, True)
    assert plan.after(lit, True, 60 * MS, True) == "go dark"
    dark = Frame(PIXELS, 2, 99 * MS, 10_000.0, 1.0, 0.0, False)
    assert plan.after(dark, True, 126 * MS) == "stay"
    assert plan.is_dark_on_purpose(126 * MS)
    assert plan.after(Frame(PIXELS, 3, 132 * MS, 10_000.0, 1.0, 0.0, False), True, 159 * MS) == "light again"
    assert plan.is_dark_on_purpose(160 * MS)
    assert not plan.is_dark_on_purpose(260 * MS)


def test_half_lit_frames_are_known() -> None:
    plan = UnlitFrames(8, camera())
    frame = Frame(PIXELS, 1, 10**9, 10_000.0, 1.0, 0.3, True)
    assert plan.is_half_lit(frame, 0.6)
    assert not plan.is_half_lit(frame, 0.3)
    assert not UnlitFrames(0, camera()).is_half_lit(frame, 0.6)


def test_after_a_darkness_that_let_the_dead_man_drop_out_light_is_not_believed_at_once() -> None:
    plan = UnlitFrames(8, camera())
    for number in range(1, 9):
        plan.after(Frame(PIXELS, number, number * 33 * MS, 10_000.0), True, number * 33 * MS)
    relit_ns = 8 * 33 * MS + BRIDGED_NS + MS
    assert plan.after(Frame(PIXELS, 10, relit_ns - MS, 10_000.0, 1.0, 0.0, False), True, relit_ns) == "light again"
    for after_ns, believed in ((DEAD_MAN_RISES_NS - MS, False), (DEAD_MAN_RISES_NS, True)):
        frame = Frame(PIXELS, 11, relit_ns + after_ns + 10 * MS, 10_000.0, 1.0, 0.6, True)
        assert plan.is_half_lit(frame, 0.6) is not believed


def test_a_stall_in_the_dark_is_no_frame() -> None:
    plan = UnlitFrames(8, camera())
    for number in range(1, 9):
        act = plan.after(Frame(PIXELS, number, number * 33 * MS, 10_000.0), True, number * 33 * MS)
    assert act == "go dark"
    assert plan.dark
    assert not plan.stalled(8 * 33 * MS + STALLED_NS)
    assert plan.stalled(8 * 33 * MS + STALLED_NS + 1)


def test_a_light_that_went_out_for_another_reason_ends_the_plan() -> None:
    plan = UnlitFrames(8, camera())
    for number in range(1, 9):
        plan.after(Frame(PIXELS, number, number * 33 * MS, 10_000.0), True, number * 33 * MS)
    assert plan.after(Frame(PIXELS, 9, 300 * MS, 10_000.0, 1.0, 0.5), False, 300 * MS) == "light again"
    assert plan.after(Frame(PIXELS, 10, 333 * MS, 10_000.0, 1.0, 0.0, False), False, 333 * MS) == "stay"


def test_where_it_cannot_work_it_is_refused() -> None:
    with pytest.raises(Refused, match="unlit frames need a global shutter"):
        UnlitFrames(8, camera(shutter="rolling"))
    with pytest.raises(Refused, match="at least 30 frames a second: 20"):
        UnlitFrames(8, camera(50_000.0))
    assert not UnlitFrames(0, camera(50_000.0, "rolling")).planned
    with pytest.raises(Refused, match="unlit_every is 0"):
        changed(Settings(), picture={"unlit_every": 5})
