"""What is known of a camera, and the factor from counts to signal."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shared.calibration import Calibration
from shared.errors import Refused
from shared.frame import CameraDescription

unhurried = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
"""A busy machine is no failure."""

CAMERA = CameraDescription("test", 96, 64, bit_depth=10, black_level=16.0)


@pytest.fixture
def assumed() -> Calibration:
    return Calibration.assumed(CAMERA)


def test_assumed_says_so_and_takes_nothing_but_the_black_level_off(assumed: Calibration) -> None:
    assert assumed.origin == "assumed"
    assert (assumed.dark_counts == 16).all()
    assert (assumed.flat == 1).all()
    assert not assumed.defects.any()
    assert assumed.saturation_counts == 1023


def test_planes_cannot_be_written(assumed: Calibration) -> None:
    for plane in (assumed.dark_counts, assumed.flat, assumed.defects):
        with pytest.raises(ValueError, match="read-only"):
            plane[0, 0] = 1


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"dark_counts": np.zeros((64, 95), np.float32)}, "calibration dark_counts is for another frame size"),
        ({"flat": np.ones((65, 96), np.float32)}, "calibration flat is for another frame size"),
        ({"defects": np.zeros((96, 64), bool)}, "calibration defects is for another frame size"),
        ({"flat": np.zeros((64, 96), np.float32)}, "the flat positive"),
        ({"flat": np.full((64, 96), np.nan, np.float32)}, "must be finite"),
        ({"dark_counts": np.full((64, 96), np.inf, np.float32)}, "must be finite"),
        ({"counts_per_electron": 0.0}, "gain must be positive"),
        ({"counts_per_electron": float("nan")}, "gain must be positive"),
        ({"read_noise_electrons": -1.0}, "read noise not negative"),
    ],
)
def test_nonsense_is_refused(assumed: Calibration, fields: dict[str, Any], words: str) -> None:
    with pytest.raises(Refused, match=words):
        replace(assumed, **fields)


def test_light_output_is_linear_between_its_points(assumed: Calibration) -> None:
    bent = replace(assumed, light_output=((0.0, 0.0), (0.5, 0.4), (1.0, 1.0)))
    assert [bent.output_at(level) for level in (0.0, 0.25, 0.5, 0.75, 1.0)] == pytest.approx([0, 0.2, 0.4, 0.7, 1.0])


@unhurried
@given(
    points=st.lists(
        st.tuples(st.floats(0, 1), st.floats(0, 2)), min_size=2, max_size=8, unique_by=lambda each: each[0]
    ),
    level=st.one_of(st.floats(-0.5, 1.5), st.just(float("nan"))),
)
def test_light_output_is_what_numpy_interpolates(points: list[tuple[float, float]], level: float) -> None:
    calibration = replace(Calibration.assumed(CAMERA), light_output=tuple(sorted(points)))
    levels, outputs = zip(*sorted(points), strict=True)
    assert calibration.output_at(level) == pytest.approx(
        np.interp(level, levels, outputs), rel=1e-9, abs=1e-9, nan_ok=True
    )


def test_a_count_at_a_millisecond_unit_gain_and_full_light_is_one(assumed: Calibration) -> None:
    assert assumed.counts_to_signal(1000.0, 1.0, 1.0) == 1.0
    assert assumed.counts_to_signal(8000.0, 2.0, 0.5) == pytest.approx(1 / 8)


@unhurried
@given(st.floats(20, 1e6), st.floats(1, 64), st.floats(0.01, 1.0))
def test_the_factor_undoes_exposure_gain_and_light(exposure_us: float, gain: float, level: float) -> None:
    calibration = Calibration.assumed(CAMERA)
    counts = 3.0 * (exposure_us / 1000.0) * gain * level
    assert counts * calibration.counts_to_signal(exposure_us, gain, level) == pytest.approx(3.0)


def test_an_unlit_frame_has_no_signal(assumed: Calibration) -> None:
    with pytest.raises(Refused, match=r"an unlit frame has no fluorescence signal: 0\.0; switch the light on"):
        assumed.counts_to_signal(1000.0, 1.0, 0.0)
