"""What is drawn of a step is what its figures say."""

from dataclasses import replace

import numpy as np
import pytest

from shared.commissioning.calibration_folder import Figures, Kept, Taken, keep
from shared.commissioning.curve import MOST_PLACES, evidence_rows, light_curve, step_curve
from shared.commissioning.gain import Gain
from shared.commissioning.slanted_edge import Sharpness
from shared.frame import CameraDescription
from shared.optics.light_output import LevelOutput, LightOutput

NOTHING = Figures.empty("a", CameraDescription("a", 64, 64))
GAIN = Gain(0.2, 0.001, 3.0, 0.1, False, 5000, True, 0.1, 0.1, 1.0, 0.6, 1023, 3)


def test_nothing_is_drawn_where_nothing_was_kept():
    for step in ("dark", "defects", "flat", "gain", "scale", "sharpness", "leakage", "sensitivity"):
        curve = step_curve(NOTHING, step, ())
        assert (curve.x, curve.series, curve.columns) == ((), (), 0)


def test_the_photon_transfer_lies_on_k_and_the_line_ends_where_the_fit_does():
    names = ("exposure_us", "mean_counts", "variance_counts2", "dark_mean_counts", "dark_variance_counts2")
    rows = [dict(zip(names, (us, 60 + us, 4 + 0.2 * us, 60.0, 4.0), strict=True)) for us in (900.0, 100.0, 500.0)]
    curve = step_curve(replace(NOTHING, gain=GAIN), "gain", rows)
    assert curve.x == (100.0, 500.0, 900.0), "rising, as a chart needs them"
    measured, line = curve.series
    assert measured.values == pytest.approx([20, 100, 180])
    assert line.values[:2] == pytest.approx(measured.values[:2])
    assert line.values[2] is None, "beyond 70 % of saturation (EMVA 1288) nothing was fitted"


def test_an_empty_bin_of_the_histogram_is_a_gap_on_a_logarithmic_scale():
    curve = step_curve(NOTHING, "dark", [{"counts": 60.0, "pixels": 9.0}, {"counts": 61.0, "pixels": 0.0}])
    assert curve.series[0].values == (9.0, None)


def test_maps_come_row_by_row_and_places_are_not_without_end():
    rows = [{"row": float(y), "column": float(x), "percent": 10.0 * y + x} for y in range(2) for x in range(3)]
    curve = step_curve(NOTHING, "flat", rows)
    assert (curve.columns, curve.x) == (3, (0, 1, 2, 10, 11, 12))
    many = step_curve(NOTHING, "defects", [{"x": 1.0, "y": 2.0}] * (MOST_PLACES + 5))
    assert len(many.x) == MOST_PLACES


def test_sharpness_marks_where_half_of_the_contrast_is_left():
    sharp = Sharpness(0.22, 0.001, -5.0, (0.0, 0.22, 0.5), (1.0, 0.5, 0.1))
    curve = step_curve(replace(NOTHING, sharpness=sharp), "sharpness", ())
    assert (curve.mark, curve.series[0].values[1]) == (0.22, 0.5)


def test_light_is_drawn_beside_proportion():
    levels = (LevelOutput(0.5, 0.544, 1e-4, 5, 5), LevelOutput(1.0, 1.0, 1e-4, 9, 9))
    curve = light_curve(LightOutput("2026-11-20T10:00:00Z", "r", "c", 15_000, 1, "m", "a", levels))
    assert [one.values for one in curve.series] == [(0.0, 0.544, 1.0), (0.0, 0.5, 1.0)]


def test_evidence_is_read_from_the_calibration_that_took_the_step(tmp_path):
    planes = {"dark_counts": np.zeros((64, 64), np.float32)}
    kept = Kept("", NOTHING).with_step("gain", GAIN, planes, Taken("gain", "2026-11-25T10:00:00Z", "r"))
    keep(tmp_path, kept, {"photon_transfer.csv": b"a,b\n1,2.5\n"})
    later = replace(kept.figures, made_at="2026-11-26T10:00:00Z")
    assert evidence_rows(tmp_path, later, "gain") == [{"a": 1.0, "b": 2.5}]
    assert evidence_rows(tmp_path, NOTHING, "gain") == ()
    assert evidence_rows(tmp_path, later, "scale") == ()
