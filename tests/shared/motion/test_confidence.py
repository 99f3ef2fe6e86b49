"""Confidence falls with noise, and unrelated pictures hardly ever lock."""

import itertools

import numpy as np
import pytest

from shared.motion.pose import Motion
from shared.motion.registration import CONFIDENCE_LIMIT, Registration
from tests.shared.motion.pictures import assumed, counts, moved, picture

CUT = (240, 320)


def test_confidence_falls_with_noise() -> None:
    """The same picture in ever less light: sure, less sure, no lock; and never a wrong motion that calls itself locked."""
    camera = picture("camera")
    there = moved(camera, Motion(6.4, -3.1))
    found = []
    for electrons in (3000, 300, 60, 20, 8, 2, 0.5):
        rng = np.random.default_rng(int(electrons * 10))
        reference, frame = counts(camera, rng, 10 * electrons), counts(there, rng, 10 * electrons)
        found.append(Registration.of(reference, assumed(reference)).shift(frame, 0.0))
    confidences = [motion.confidence for motion in found]
    assert confidences[0] > 0.9
    assert all(later < earlier + 0.08 for earlier, later in itertools.pairwise(confidences))
    assert not found[-1].locked
    for motion in found:
        if motion.locked:
            assert np.hypot(motion.dx_px - 6.4, motion.dy_px + 3.1) < 2.0


def cuttings() -> list[np.ndarray]:
    """Pieces of real pictures that share nothing."""
    found = []
    for name in ("camera", "retina", "cell"):
        plane = picture(name)
        for top in range(0, plane.shape[0] - CUT[0] + 1, CUT[0]):
            for left in range(0, plane.shape[1] - CUT[1] + 1, CUT[1]):
                found.append((60 + 4 * plane[top : top + CUT[0], left : left + CUT[1]]).astype(np.uint16))
    return found


def test_false_locks_among_unrelated_real_pictures() -> None:
    """Every pair of cuttings, with all rotations tried: 0 false locks in 276 pairs on 2026-11-25."""
    pieces = cuttings()
    registrations = [Registration.of(piece, assumed(piece)) for piece in pieces]
    pairs = itertools.combinations(range(len(pieces)), 2)
    tried = [registrations[i].shift(pieces[j]) for i, j in pairs]
    assert len(tried) > 200
    assert sum(motion.locked for motion in tried) <= 1


def test_false_locks_among_frames_of_noise() -> None:
    """Pairs of frames without any texture: at most 1 in 100 looks locked (0 of 1035 on 2026-11-25)."""
    rng = np.random.default_rng(11)
    frames = [rng.poisson(400.0, CUT).astype(np.uint16) for _ in range(29)]
    registrations = [Registration.of(frame, assumed(frame)) for frame in frames]
    tried = [registrations[i].shift(frames[j], 0.0) for i, j in itertools.combinations(range(len(frames)), 2)]
    assert len(tried) > 400
    assert sum(motion.locked for motion in tried) <= len(tried) / 100
    assert all(motion.confidence < CONFIDENCE_LIMIT for motion in tried if not motion.locked)


@pytest.mark.parametrize("electrons", [200, 20000])
def test_the_limit_lets_related_pictures_pass(electrons: float) -> None:
    """The other side of the limit: the same cuttings, moved, in dim and in good light, all lock."""
    rng = np.random.default_rng(2)
    for name in ("camera", "retina", "cell"):
        plane = picture(name)
        reference = counts(plane, rng, electrons)
        frame = counts(moved(plane, Motion(9.5, 4.25, 0.4)), rng, electrons)
        motion = Registration.of(reference, assumed(reference)).shift(frame)
        assert motion.locked, (name, motion)
        assert np.hypot(motion.dx_px - 9.5, motion.dy_px - 4.25) < 0.6
