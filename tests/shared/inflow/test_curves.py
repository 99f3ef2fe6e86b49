"""Gathering curves from frames; arrays that are no curve are refused."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from shared.calibration import Calibration
from shared.errors import Refused
from shared.frame import CameraDescription, Frame
from shared.inflow.curves import CurveGatherer, RegionCurve
from shared.inflow.reading import read_curve
from shared.region import Region

INTRAVITAL = Path(__file__).parents[2] / "reference_data" / "intravital" / "intravital_120fps_0p77um_100frames.npz"
REGION = Region("tip", "rectangle", (5, 5, 20, 20))


def test_dimming_half_way_leaves_the_curve_where_it_was() -> None:
    """Signal is counts above dark over exposure, gain and light: changing all three moves nothing by more than 1 %."""
    camera = CameraDescription("test", 40, 30, black_level=20.0)
    gatherer = CurveGatherer(Calibration.assumed(camera), [REGION])
    rng = np.random.default_rng(5)
    for number, (exposure_us, gain, level) in enumerate(
        light for light in ((10_000.0, 1.0, 1.0), (8_000.0, 2.0, 0.5), (20_000.0, 1.0, 0.4)) for _ in range(2)
    ):
        counts = 0.04 * exposure_us * gain * level
        pixels = np.rint(20 + rng.poisson(10 / gain * counts, camera.shape) * gain / 10).astype(np.uint16)
        gatherer.add(Frame(pixels, number, 10**9 + number * 10**8, exposure_us, gain, level, True))
    dark = np.full(camera.shape, 20, np.uint16)  # what the ring does not give is ambient light, and there is none
    gatherer.add(Frame(dark, 6, 10**9 + 6 * 10**8, 10_000.0, 1.0, 0.0, False))
    made = gatherer.curves()["tip"]
    np.testing.assert_allclose(made.signal, 40.0, rtol=0.01)
    np.testing.assert_allclose(made.times_s, [-0.005, 0.095, 0.196, 0.296, 0.39, 0.49])
    assert (np.abs(made.signal - 40.0) < 4 * made.signal_u).all()


@pytest.mark.parametrize("x", [10, 90, 170, 250, 330])
def test_real_frames_scatter_more_than_photons_do_and_it_is_said(x: int) -> None:
    """An open intravital series (tests/reference_data/intravital): blood moves, there is no bolus, and each curve says so."""
    with np.load(INTRAVITAL) as stored:
        stack, rate_hz = stored["stack"], float(stored["fps"])
    camera = CameraDescription("intravital", stack.shape[2], stack.shape[1])
    gatherer = CurveGatherer(Calibration.assumed(camera), [Region("vessel", "rectangle", (x, 10, 60, 30))])
    for number, pixels in enumerate(stack):
        gatherer.add(Frame(pixels.astype(np.uint16), number, int((1 + number / rate_hz) * 1e9), 8000.0, 1.0, 1.0, True))
    reading = read_curve(gatherer.curves()["vessel"], None)
    assert {"no rise", "noisier than the model"} & {*reading.flags}
    assert reading.half_life_s is None


def good() -> RegionCurve:
    return RegionCurve(REGION, np.arange(20.0), np.ones(20), np.ones(20), np.zeros(20, np.bool_))


def at(values: np.ndarray, place: int, value: float) -> np.ndarray:
    changed = values.astype(np.float64)
    changed[place] = value
    return changed


@pytest.mark.parametrize(
    ("field", "values", "line"),
    [
        ("signal", np.ones(19), r"the arrays of the curve tip differ in shape: .*; give one number a frame in each"),
        ("signal", np.ones((20, 2)), "differ in shape"),
        (
            "signal",
            at(np.ones(20), 7, np.nan),
            "the signal of the curve tip is no number in frame: 7; leave that frame out",
        ),
        ("signal_u", at(np.ones(20), 3, np.inf), "the uncertainty of the curve tip is no number in frame: 3"),
        ("times_s", at(np.arange(20.0), 9, np.nan), "the time of the curve tip is no number in frame: 9"),
        ("times_s", at(np.arange(20.0), 9, 8.0), "time stands still or runs back in the curve tip at frame: 9; sort"),
        ("signal_u", at(np.ones(20), 4, 0.0), "the curve tip claims to be without noise in frame: 4; give a positive"),
    ],
)
def test_arrays_that_are_no_curve_are_refused(field: str, values: np.ndarray, line: str) -> None:
    with pytest.raises(Refused, match=line):
        replace(good(), **{field: values})
