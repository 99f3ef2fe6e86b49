"""What is said of two recordings that were not made under one condition, above all from one distance."""

from types import SimpleNamespace

import numpy as np
import pytest

from device.comparison_cautions import cautions
from shared.motion.pose import Motion


def made(mm_per_px: float | None) -> SimpleNamespace:
    """What is read of a recording here."""
    lit = np.ones(3, bool)
    table = SimpleNamespace(lit=lit, light_level=np.ones(3), exposure_us=np.full(3, 1e4), gain=np.ones(3))
    camera = SimpleNamespace(width=1456, mm_per_px=mm_per_px, model="test")
    return SimpleNamespace(frame_table=table, camera=camera, case="A", calibration=SimpleNamespace(made_at="then"))


def test_one_distance_within_a_recording_is_taken_for_granted_and_that_is_always_said():
    said = cautions(made(None), made(None), None)
    assert any("each recording is taken to be of one distance" in line for line in said)
    assert not any("mm a pixel" in line for line in said)


def test_another_calibrated_scale_is_said():
    # thin lens, 6 mm, pixels of 3.45 um (worked by hand): 200 mm away 0.11155, 250 mm away 0.14030 mm a pixel
    (said,) = [line for line in cautions(made(0.11155), made(0.14030), None) if "mm a pixel" in line]
    assert said.startswith("calibrated at 0.112, then 0.14 mm a pixel")


@pytest.mark.parametrize(("magnification", "how"), [(1.1, "nearer"), (0.9, "farther away"), (1.01, None)])
def test_another_distance_is_said(magnification, how):
    said = [
        line for line in cautions(made(None), made(None), Motion(magnification=magnification)) if "as large" in line
    ]
    assert len(said) == (how is not None)
    assert all(how in line and f"{magnification:.2f} times as large" in line for line in said)


@pytest.mark.parametrize("scales", [(0.14, None), (None, 0.14)])
def test_a_scale_known_on_one_side_alone_is_said(scales):
    assert any(
        "scale is known of one recording alone" in line for line in cautions(made(scales[0]), made(scales[1]), None)
    )
