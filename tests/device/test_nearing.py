"""A hand that comes nearer during a recording: found by size, taken out of curves, said with maps; percent stay right."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.ndimage import affine_transform

from device.analysis import Analysis, analyse
from device.inflow_maps import LiveMaps, Marks
from shared.calibration import Calibration
from shared.frame import CameraDescription, Frame
from shared.motion.pose import Motion
from shared.nearing import Nearing
from shared.recording import Recording
from shared.recording.writer import RecordingWriter
from shared.scene.description import Scene
from shared.scene.renderer import SceneRenderer
from tests.device.test_comparison import BASE, TIP, scene
from tests.device.test_maps_follow import Reading

FPS, SECONDS = 2.0, 80.0


def size_at(time_s: float, grown: float) -> float:
    """As large as at first until 12 s, then evenly larger until 60 s."""
    return 1.0 + grown * min(max(time_s - 12.0, 0.0) / 48.0, 1.0)


def frames(seen: Scene, grown: float) -> Iterator[Frame]:
    """The scene, everything in it made larger about the middle, and brighter as the inverse square of the distance has it."""
    renderer, middle = SceneRenderer(seen, 4), (np.array(seen.description.shape) - 1.0) / 2.0
    for index in range(round(SECONDS * FPS)):
        time_s, drawn = index / FPS, np.empty(seen.description.shape, np.uint16)
        size = size_at(time_s, grown)
        duty = np.full(seen.camera.height, size**2)
        renderer.frame_into(drawn, index, time_s, seen.camera.set_exposure_us, row_duty=duty)
        shown = affine_transform(drawn, np.full(2, 1 / size), middle * (1 - 1 / size), order=1, mode="nearest")
        yield Frame(shown, index, round(time_s * 1e9), seen.camera.set_exposure_us)


def held() -> Scene:
    """Room for what is brighter nearer, and no hot pixels, which would grow with the tissue."""
    known = scene(motion={"drift_mm_s": 0.02})
    camera = replace(known.camera, noise=replace(known.camera.noise, hot_pixels=0))
    return replace(known, camera=camera, light=replace(known.light, electrons_per_s=known.electrons_per_s / 1.3))


def record(path: Path, grown: float, take: Callable[[Frame], None] = lambda _: None) -> None:
    """Write a recording of a hand that comes so much nearer, as a share of the size; ``take`` sees its frames."""
    seen = held()
    with RecordingWriter(path, seen.description, SceneRenderer(seen, 4).calibration(), started_at="") as writer:
        writer.event("injection", round(10e9))
        for frame in frames(seen, grown):
            writer.append(frame)
            take(frame)


def analysed(folder: Path, grown: float) -> tuple[Analysis, tuple[str, ...]]:
    """The recording looked at afterwards, and the notes of the maps that were gathered while it was made."""
    path, reader = folder / f"grown{grown}.zarr", Reading()
    calibration = SceneRenderer(held(), 4).calibration()
    maps = LiveMaps(calibration, lambda: path, lambda: Marks(None, None), reader, folder / "given")
    record(path, grown, maps.take)
    maps.close()
    assert reader.order is not None
    assert reader.order.followed is not None
    with Recording.open(path) as recording:
        return analyse(recording, BASE, [TIP]), reader.order.followed.notes


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> dict[float, tuple[Analysis, tuple[str, ...]]]:
    folder = tmp_path_factory.mktemp("nearing")
    return {grown: analysed(folder, grown) for grown in (0.0, 0.1, -0.08)}


@pytest.fixture(scope="module")
def runs(both: dict[float, tuple[Analysis, tuple[str, ...]]]) -> dict[float, Analysis]:
    return {grown: found for grown, (found, _) in both.items()}


@pytest.mark.parametrize("grown", [0.1, -0.08])
def test_percent_and_curves_stay_right_and_the_change_is_said(runs: dict[float, Analysis], grown: float) -> None:
    """Truth: the scene's 35 %, and the curves of the run in which the distance stayed. Taken as it comes, the base at the end is
    off by 21 or 15 %.
    """
    still, moved = runs[0.0], runs[grown]
    assert moved.hand is not None
    nearing = moved.hand.nearing
    truth = [size_at(time_s, grown) for time_s in nearing.times_s]
    assert np.abs(np.array(nearing.sizes) - truth).max() < 0.015
    figures = moved.parameters["tip"]
    peak, at_top = figures.peak_relative_percent, figures.relative_percent_at_reference_peak
    assert peak.value == pytest.approx(35.0, abs=1.0)
    assert abs(peak.value - 35.0) < 2.0 * peak.u
    assert at_top.value == pytest.approx(still.parameters["tip"].relative_percent_at_reference_peak.value, abs=0.3)
    for name, curve in moved.curves.items():
        at_rest = still.curves[name]
        ends = curve.signal[-20:].mean(), at_rest.signal[-20:].mean()
        assert ends[0] == pytest.approx(ends[1], rel=0.04), name
        assert curve.by_place is not None
        # half of what is taken out is one more way in which the curve may be off
        doubt = 0.5 * ((1.0 + grown) ** -2.0 - 1.0) * curve.signal
        assert np.abs(curve.by_place[-1, -20:]).mean() == pytest.approx(np.abs(doubt[-20:]).mean(), rel=0.25)
    word = "came nearer" if grown > 0 else "moved away"
    assert nearing.largest[0] == pytest.approx(1.0 + grown, abs=0.015)
    assert any(word in line and f"{nearing.largest[0]:.2f} times" in line for line in moved.warnings)


def test_a_hand_that_keeps_its_distance_hears_nothing_of_it(runs: dict[float, Analysis]) -> None:
    still = runs[0.0]
    assert still.hand is not None
    assert not still.hand.nearing.is_sure
    assert not any("times as large" in line for line in still.warnings)
    # the place right and down, kinds of ambient light that the hand may have carried, and nothing of how near it was
    assert still.curves["tip"].by_place.shape[0] <= 2 + 4  # type: ignore[union-attr]
    assert (still.hand.nearing.factors(still.curves["tip"].times_s) == 1.0).all()


def test_maps_of_a_run_say_what_its_analysis_does(both: dict[float, tuple[Analysis, tuple[str, ...]]]) -> None:
    """The same frames one by one, in two threads."""
    for grown, (found, notes) in both.items():
        assert found.hand is not None
        assert notes == found.hand.followed().notes
        assert any("times as large" in line for line in notes) == (grown != 0.0)


def test_pictures_too_little_alike_are_said() -> None:
    """Noise instead of tissue from the tenth second on: after ten more the chain begins anew, as large as it was."""
    camera, rng = CameraDescription("test", 160, 96, black_level=20.0), np.random.default_rng(3)
    tissue = np.repeat(np.repeat(rng.integers(200, 600, (24, 40)), 4, axis=0), 4, axis=1)
    nearing = Nearing(Calibration.assumed(camera))
    for time_s in np.arange(0.0, 30.0, 2.0):
        mean = tissue if time_s < 10.0 else rng.integers(200, 600, camera.shape)
        if nearing.is_due(time_s):
            nearing.take(rng.poisson(mean).astype(np.uint16), Motion(), float(time_s))
    assert nearing.untold_s >= 10.0
    assert nearing.sizes == pytest.approx([1.0] * len(nearing.sizes), abs=0.003)
    assert [line[:40] for line in nearing.warnings()] == [
        f"for {nearing.untold_s:.0f} s it cannot be told whether the h"[:40]
    ]
    blank = Nearing(Calibration.assumed(camera))
    for time_s in (0.0, 2.0):
        blank.take(np.full(camera.shape, 20, np.uint16), Motion(), time_s)
    assert len(blank.sizes) == 1


def test_noise_in_a_small_faint_picture_is_no_change_of_distance() -> None:
    """A still corner, 16 links: its size scatters by 1 to 3 %, which once counted as a moved hand in ten of twelve runs."""
    corner, rng = np.ones((64, 64)), np.random.default_rng(3)
    corner[36:, 36:] = 0.9
    told, ends = 0, []
    for _ in range(12):
        nearing = Nearing(Calibration.assumed(CameraDescription("test", 64, 64, 12, black_level=64.0)))
        for link in range(16):
            counts = np.rint(64 + 1500 * corner + rng.normal(0, 4, corner.shape)).astype(np.uint16)
            nearing.take(counts, Motion(), 2.0 * link)
        told += nearing.is_sure
        ends.append(nearing.sizes[-1] - 1.0)
    assert np.sqrt(np.mean(np.square(ends))) > 0.01
    assert told == 0
