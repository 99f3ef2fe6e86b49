"""A run's motions: what was lost is said, and a region put anew by hand shows where the tissue is."""

from collections.abc import Iterator

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from shared.calibration import Calibration
from shared.frame import CameraDescription, Frame
from shared.motion.pose import Motion
from shared.motion.track import LOST_S, Track
from shared.region import Region
from tests.device.comparison_coverage import Drawn, renderer_of

WINDOW = (192, 256)
CALIBRATION = Calibration.assumed(CameraDescription("test", WINDOW[1], WINDOW[0], 12, black_level=50.0))
INTERVAL_S = 0.1


def frames(*corners: tuple[int, int] | None) -> Iterator[Frame]:
    """A window on one wide tissue for each corner (x, y); None is a frame without light."""
    rng = np.random.default_rng(1)
    plane = gaussian_filter(rng.standard_normal((320, 1100)), 1.5)
    plane = 300 + 60 * plane / plane.std()
    for number, corner in enumerate(corners):
        x, y = corner or (0, 0)
        mean = plane[y : y + WINDOW[0], x : x + WINDOW[1]]
        pixels = np.rint(50 + rng.poisson(np.maximum(mean, 0) * 10) / 10).astype(np.uint16)
        yield Frame(pixels, number, round(number * INTERVAL_S * 1e9), 8000.0, lit=corner is not None)


def taken(track: Track, *corners: tuple[int, int] | None) -> list[Motion | None]:
    return [track.take(frame) for frame in frames(*corners)]


def test_frames_without_light_and_unknown_tissue_have_no_motion() -> None:
    track = Track(CALIBRATION)
    found = taken(track, *[(100, 60)] * 3, None, (104, 63), *[(700, 20)] * 4, (108, 60))
    assert found[3] is None
    assert found[5:9] == [None] * 4
    assert found[9] is not None
    assert (found[9].dx_px, found[9].dy_px) == pytest.approx((-8, 0), abs=0.2)
    assert track.found_at == 0
    assert (track.lit, track.lost) == (9, [5, 6, 7, 8])
    assert track.lost_s == 0
    assert track.warnings() == ("4 frames without motion lock are left out of every curve: 0.5 to 0.8 s",)


def test_what_frames_share_is_told_by_the_second() -> None:
    """A frame of a fixed view is off by noise of its own, hardly by what all share; seconds without a place keep the one before."""
    track = Track(CALIBRATION)
    found = taken(track, *[(100 + number % 7, 60) for number in range(15)], *[(700, 20)] * 17)
    assert track.place_u_px is not None
    assert len(track.shared_u_px) == 4
    assert track.shared_u_px[1] == track.shared_u_px[2] == track.shared_u_px[3]
    assert all(0.0 < share < 0.5 * track.place_u_px for share in track.shared_u_px)
    off = np.array(
        [(each.dx_px + number % 7, each.dy_px) for number, each in enumerate(found[:15]) if each is not None]
    )
    assert np.abs(off.mean(axis=0)).max() < 3.0 * track.shared_u_px[0]


def test_a_region_put_anew_where_the_tissue_was_lost_joins_the_views() -> None:
    """The camera is carried to where nothing is known; there the operator marks the same region again, 30 px further left."""
    track = Track(CALIBRATION)
    track.mark(Region.parse("a:100,80,40,40"), 0.0)
    still = [(100, 60)] * 15
    away = [(700, 20)] * 14
    back = [(705, 20), (710, 24)]
    seen = list(frames(*still, *away, *back))
    for frame in seen[:27]:
        track.take(frame)
    assert track.lost_s > LOST_S
    track.mark(Region.parse("a:70,85,40,40"), 2.65)
    found = [track.take(frame) for frame in seen[27:]]
    for motion, (x, y) in zip(found[1:], [*away, *back][-3:], strict=True):
        assert motion is not None
        assert (motion.dx_px, motion.dy_px) == pytest.approx((-30 - (x - 700), 5 - (y - 20)), abs=0.3)
    assert any("shown again by hand, at 2.6 s" in line or "at 2.7 s" in line for line in track.warnings())
    place = track.place(Region.parse("a:70,85,40,40"))
    assert (place.dx_px, place.dy_px) == pytest.approx((-30, 5), abs=0.01)


def test_a_region_moved_while_the_tissue_is_found_changes_nothing() -> None:
    track = Track(CALIBRATION)
    track.mark(Region.parse("a:100,80,40,40"), 0.0)
    seen = list(frames(*[(100, 60)] * 30))
    for number, frame in enumerate(seen):
        if number == 20:
            track.mark(Region.parse("a:10,10,40,40"), 2.0)
        motion = track.take(frame)
    assert motion is not None
    assert motion.shift_px < 0.1
    assert not track.joined_s
    assert track.warnings() == ()


def test_a_picture_without_texture_is_said_and_taken_as_it_lies() -> None:
    track = Track(CALIBRATION)
    flat = Frame(np.full(WINDOW, 200, np.uint16), 0, 0, 8000.0)
    assert track.take(flat) == Motion()
    assert "nothing in the picture" in track.warnings()[0]
    assert track.lost_s == 0


def test_places_are_as_unsure_as_they_are_said_to_be() -> None:
    """While dye comes in, 2 frames a second: how far places of the second half are off beside the first ones, 30 tissues."""
    off, said = [], []
    for seed in range(30):
        rng = np.random.default_rng([seed, 7])
        renderer = renderer_of(Drawn.anew(rng), 0.3, rng, 10.0)
        camera, track, errors = renderer.scene.camera, Track(renderer.calibration()), []
        for number in range(140):
            pixels, at_s = np.empty(renderer.scene.description.shape, np.uint16), number / 2.0
            renderer.frame_into(pixels, number, at_s, camera.set_exposure_us, camera.gain)
            found = track.take(Frame(pixels, number, number * 500_000_000, camera.set_exposure_us, camera.gain))
            if found is not None and found.locked:
                errors.append(np.array((found.dx_px, found.dy_px)) - renderer._motion.displacement_px(at_s))
        off.append(np.mean(errors[70:], axis=0) - np.mean(errors[:7], axis=0))
        said.append(track.shared_u_px[-1])
    ratio = np.sqrt(np.mean(np.square(off)) / np.mean(np.square(said)))
    assert 0.75 < ratio < 1.25
