"""Frames during which the light changed are known by their levels, and no curve has them: scene physics, both shutters."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.frame import Frame
from shared.half_lit import half_lit
from shared.inflow.curves import CurveGatherer
from shared.region import Region
from shared.scene.description import Scene
from shared.scene.renderer import SceneRenderer

FPS, EXPOSURE_S, FRAMES, CHANGED_IN = 30.0, 0.015, 21, 10


@pytest.mark.parametrize(
    ("levels", "expected"),
    [
        # dark, half, on, on, half, dark, on, then dimmed by hand, dark, on at 0.4 and then brighter by hand: taken for half lit
        ([0, 0.3, 0.6, 0.6, 0.2, 0, 0.6, 0.4, 0.4, 0, 0.4, 0.7, 0.7], [0, 1, 0, 0, 1, 0, 0, 0, 0, 0, 1, 0, 0]),
        ([1.0, 0.75, 0.5, 0.5, 0.6, 1.0], [0, 1, 0, 0, 1, 0]),  # dimmed and brightened
        ([0, 0.6, 0, 0.6, 0], [0, 0, 0, 0, 0]),  # every second frame unlit
        ([1.0, 0.995, 0.5], [0, 0, 0]),  # the change came with the last hundredth of the exposure
        ([], []),
    ],
)
def test_half_lit_frames_lie_between_their_neighbours(levels: list[float], expected: list[int]) -> None:
    assert half_lit(np.array(levels)).astype(int).tolist() == expected


@given(
    levels=st.lists(st.sampled_from([0.0, 0.2, 0.5, 1.0]), min_size=1, max_size=12),
    share=st.floats(0.05, 0.95),
)
def test_whole_frames_stay_and_mixed_ones_go(levels: list[float], share: float) -> None:
    """Each level held for three frames; between two levels one frame that is a mixture of both."""
    steps = [level for level, before in zip(levels, [None, *levels], strict=False) if level != before]
    made, mixed = [steps[0]] * 3, [0] * 3
    for before, level in pairwise(steps):
        made += [share * before + (1 - share) * level, *[level] * 3]
        mixed += [1, 0, 0, 0]
    assert half_lit(np.array(made)).astype(int).tolist() == mixed


def played(shutter: str, change_s: float) -> tuple[list[Frame], SceneRenderer]:
    """A steady scene; its ring, which loses 15 % to its own heat, is dimmed to half ``change_s`` into a frame's exposure."""
    scene = Scene.from_values(
        {
            "camera": {
                "width": 96,
                "height": 80,
                "fps": FPS,
                "exposure_us": 1e6 * EXPOSURE_S,
                "shutter": shutter,
                "noise": {"hot_pixels": 0},
            },
            "optics": {"mm_per_px": 1.0, "ambient": 0.0, "leakage": 0.0},
            "light": {"droop": 0.15, "pwm_hz": 0},
            "surface": {"texture": 0.0},
            "tissue": [{"name": "card", "polygon_mm": [[0, 0], [96, 0], [96, 80], [0, 80]], "steady": True}],
        },
        "harbour",
    )
    renderer = SceneRenderer(scene, 1)
    row_s = scene.camera.set_row_time_us / 1e6 if shutter == "rolling" else 0.0
    changed_s = CHANGED_IN / FPS - EXPOSURE_S + change_s
    frames = []
    for index in range(FRAMES):
        starts_s = index / FPS - EXPOSURE_S + row_s * np.arange(80)
        before = np.clip((changed_s - starts_s) / EXPOSURE_S, 0.0, 1.0)
        efficiency = [float(scene.light.efficiency(level)) for level in (1.0, 0.5)]
        pixels = np.empty(scene.description.shape, np.uint16)
        duty = before * efficiency[0] + (1.0 - before) * 0.5 * efficiency[1]
        renderer.frame_into(pixels, index, starts_s[0] + EXPOSURE_S / 2, 1e6 * EXPOSURE_S, row_duty=duty)
        level = float(0.5 + 0.5 * before[0])  # as the guard's word over the first row's exposure has it
        frames.append(Frame(pixels, index, round(index / FPS * 1e9), 1e6 * EXPOSURE_S, 1.0, level, True))
    return frames, renderer


@pytest.mark.parametrize(("shutter", "off_percent"), [("global", 1.4), ("rolling", 30.5)])
def test_a_change_midway_through_a_frame_reaches_no_curve(shutter: str, off_percent: float) -> None:
    """What the frame would have said is off by so much, by closed form: droop for a global shutter, rows for a rolling one.

    Droop: mean of 1 and 0.5441 over what the measured curve gives for 0.75. Rows: the last ones saw half the light alone.
    """
    frames, renderer = played(shutter, 0.5 * EXPOSURE_S)
    measured = tuple((level, level * (1 - 0.15 * level) / 0.85) for level in np.linspace(0, 1, 41))
    calibration = renderer.calibration()
    known = type(calibration)(**{**vars(calibration), "light_output": measured})
    region = Region.parse("low:10,60,70,15")

    def curve(shown: list[Frame]):
        gatherer = CurveGatherer(known, [region])
        for frame in shown:
            gatherer.add(frame)
        return gatherer.curves()["low"]

    found = curve(frames)
    assert found.times_s.size == FRAMES - (1 if shutter == "global" else 2)
    steady = found.signal[: CHANGED_IN - 1].mean()
    assert found.signal == pytest.approx(np.full(found.signal.size, steady), rel=0.004)
    alone = curve([frames[CHANGED_IN]]).signal[0]
    assert 100.0 * abs(alone / steady - 1.0) == pytest.approx(off_percent, abs=0.3)
