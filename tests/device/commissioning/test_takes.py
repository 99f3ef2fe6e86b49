"""What is found in a recording of changing light and exposure."""

import numpy as np
import pytest

from device.commissioning.takes import SETTLING_FRAMES, evidence, longest, pairs, stack, takes
from shared.calibration import Calibration
from shared.errors import Refused
from shared.frame import CameraDescription, Frame
from shared.recording import Recording
from shared.recording.writer import RecordingWriter

CAMERA = CameraDescription("fake", 48, 36)
RUNS = [(8000.0, 0.0, 6), (8000.0, 0.4, 1), (8000.0, 1.0, 9), (2000.0, 0.0, 5), (2000.0, 1.0, 3)]
"""Exposure, level, frames; the second is a frame in which the light came on."""


def recorded(path, runs):
    number = 0
    with RecordingWriter(path, CAMERA, Calibration.assumed(CAMERA), started_at="2026-11-25T10:00:00Z") as writer:
        for exposure_us, level, frames in runs:
            for _ in range(frames):
                pixels = np.full(CAMERA.shape, 60 + number, np.uint16)
                writer.append(Frame(pixels, number, 33_000_000 * (number + 1), exposure_us, 1.0, level, level > 0))
                number += 1
    return Recording.open(path)


@pytest.fixture(scope="module")
def recording(tmp_path_factory):
    with recorded(tmp_path_factory.mktemp("takes") / "a.zarr", RUNS) as opened:
        yield opened


def test_unlit_frames_let_in_between_do_not_break_a_run(tmp_path):
    runs = [(8000.0, 1.0, 7), (8000.0, 0.0, 1), (8000.0, 0.5, 1), (8000.0, 1.0, 7), (8000.0, 0.0, 6), (8000.0, 1.0, 7)]
    with recorded(tmp_path / "b.zarr", runs) as opened:
        found = takes(opened)
    assert [(one.level, len(one.numbers)) for one in found] == [(1.0, 8), (0.0, 3), (1.0, 4)]
    assert found[0].numbers == (3, 4, 5, 6, 12, 13, 14, 15)


def test_runs_are_settled_and_alike(recording):
    found = takes(recording)
    assert [(one.exposure_us, one.level, len(one.numbers)) for one in found] == [
        (exposure_us, level, frames - SETTLING_FRAMES)
        for exposure_us, level, frames in RUNS
        if frames > SETTLING_FRAMES
    ]
    assert found[1].numbers == tuple(range(7 + SETTLING_FRAMES, 16))


def test_the_longest_of_a_kind(recording):
    found = takes(recording)
    assert longest(found, lit=True).level == 1.0
    assert longest(found, lit=False).exposure_us == 8000
    assert longest(found, lit=False, exposure_us=2000.0).numbers == (19, 20)
    with pytest.raises(Refused, match="no settled lit frames were recorded: 2000"):
        longest(found, lit=True, exposure_us=2000.0)


def test_stacks_and_pairs_are_of_its_frames(recording):
    lit = longest(takes(recording), lit=True)
    made = stack(recording, lit)
    assert made.mean[0, 0] == 60 + np.mean(lit.numbers)
    assert (made.exposure_us, made.level, made.frames) == (8000, 1.0, 6)
    assert [int(a[0, 0]) for pair in pairs(recording, lit) for a in pair] == [60 + one for one in lit.numbers]
    with pytest.raises(Refused, match="too few frames: 1"):
        stack(recording, type(lit)(1.0, 1.0, 0.0, (3,)))


def test_evidence_has_a_line_a_frame_and_says_which_were_used(recording):
    found = takes(recording)
    rows = evidence(recording, found).decode().splitlines()
    assert rows[0] == "sequence,sensor_time_ns,level,exposure_us,gain,mean_counts,used"
    assert len(rows) == 1 + recording.frames
    used = [int(row.split(",")[0]) for row in rows[1:] if row.endswith(",1")]
    assert used == [number for one in found for number in one.numbers]
