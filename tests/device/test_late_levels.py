"""Pictures of a comparison's ends: what reading between pixels does beside scipy, and each bin beside the scene's own picture."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, shift

from device.comparison import compare
from device.late_levels import _narrowed, _noise_of_bin
from device.late_pictures import LatePictures, late_pictures
from device.simulate import write_frames
from shared.inflow.map_values import MEASURED
from shared.live_picture import block_means
from shared.motion.pose import Motion
from shared.recording import Recording
from shared.scene.renderer import SceneRenderer
from tests.device.test_comparison import BASE, TIP, scene
from tests.shared.inflow.motion_accuracy import BETWEEN_PX, BRIGHTER

F32 = NDArray[np.float32]
FIRST, SECOND = range(240), range(300, 360)
MOTIONS = [Motion(0.37 * number, 3.0 - 0.53 * number) for number in range(24)]


class Placed:
    """A hand, moved so that its first view, over which a place is averaged, lies where the scene draws as sharp as on average."""

    def __init__(self, made: SceneRenderer, held: bool) -> None:
        self._hand, self._held, self.margin_px = made._motion, held, made._motion.margin_px
        middle_s = np.array((0.0, 0.5)) - made.scene.camera.set_exposure_us / 2e6
        self._first = np.mean([self._hand.displacement_px(at_s) for at_s in middle_s], axis=0)

    def displacement_px(self, time_s: float) -> tuple[float, float]:
        away = 0.0 if self._held else np.array(self._hand.displacement_px(time_s)) - self._first
        right, down = np.zeros(2) + away + BETWEEN_PX
        return float(right), float(down)


def written(folder: Path, tissue: int, clean: bool, ambient: float = 0.01) -> LatePictures:
    """Two looks at one injection; ``clean``: by a hand that rests, without noise."""
    known = scene(optics={"ambient": ambient}, motion={"drift_mm_s": 0.1, "tremor_mm": 1.0})
    if clean:
        camera, noise = known.camera, known.camera.noise
        finer = replace(
            camera,
            bit_depth=camera.bit_depth + 6,
            noise=replace(noise, counts_per_electron=camera.counts_per_electron, black_level_counts=camera.black_level),
        )
        lit = replace(known.light, electrons_per_s=BRIGHTER * known.electrons_per_s)
        known = replace(known, camera=finer, light=lit)
    paths = folder / f"{clean} first.zarr", folder / f"{clean} second.zarr"
    for path, numbers, seed in zip(paths, (FIRST, SECOND), (1000, 2000), strict=True):
        made = SceneRenderer(known, tissue)
        made.seed, made._motion = seed + tissue, Placed(made, held=clean)  # type: ignore[assignment]
        if clean:
            made._normal = np.zeros_like(made._normal)
            calibration = made.calibration()
            brighter = replace(calibration, counts_per_electron=BRIGHTER * calibration.counts_per_electron)
            made.calibration = lambda brighter=brighter: brighter  # type: ignore[method-assign]
        write_frames(made, path, numbers, {})
    with Recording.open(paths[0]) as one, Recording.open(paths[1]) as other:
        pictures = late_pictures(compare(one, other, BASE, [TIP], same_view=clean))
    assert pictures is not None
    return pictures


@pytest.mark.parametrize(("ambient", "least"), [(0.01, 0.93), (0.1, 0.92)])
def test_bins_are_as_unsure_as_they_are_off(ambient: float, least: float, tmp_path: Path) -> None:
    """Beside the same tissue without noise, seen by a hand that rests where the first view lies. Noise of what was there before
    the dye counts twice in a difference, though both pictures have it in common.
    """
    off: dict[str, list[F32]] = {"first": [], "second": [], "difference": []}
    for tissue in (4, 5, 6, 7):
        (tmp_path / str(tissue)).mkdir()
        truth, found = (written(tmp_path / str(tissue), tissue, clean, ambient) for clean in (True, False))
        for name, each in off.items():
            true, one = getattr(truth, name), getattr(found, name)
            known = (one.classes == MEASURED) & np.isfinite(true.percent) & (found.first.percent > 10.0)
            each.append(((one.percent - true.percent) / one.u)[known])
    for name, each in off.items():
        held = np.mean(np.abs(np.concatenate(each)) < 1.96)
        assert least < held < (0.97 if name != "difference" else 0.985), name


def test_noise_of_bins_that_are_read_between_pixels_is_that_of_pixels_that_neighbours_share() -> None:
    """By scipy's straight lines through white noise."""
    noise = np.random.default_rng(1).standard_normal((400, 400)).astype(np.float32)
    for motion in (Motion(), Motion(0.5, 0.0), Motion(0.3, 0.8), Motion(-0.2, 7.4)):
        read = shift(noise, (-motion.dy_px, -motion.dx_px), order=1, mode="wrap")
        assert block_means(read).var() == pytest.approx(_noise_of_bin(motion), rel=0.03)


def test_what_that_widens_is_put_right() -> None:
    """A relief some pixels fine, in frames that lie otherwise each: most of what it loses comes back."""
    relief = gaussian_filter(np.random.default_rng(2).standard_normal((200, 200)), 3.0, mode="wrap").astype(np.float32)
    frames = []
    for motion in MOTIONS:
        off = np.array((motion.dy_px, motion.dx_px)) % 1.0
        seen = shift(relief, -off, order=3, mode="wrap")  # the frame, by splines
        frames.append(shift(seen, off, order=1, mode="wrap"))  # read back
    wide, true = (block_means(each)[4:-4, 4:-4] for each in (np.mean(frames, axis=0), relief))
    narrowed = _narrowed(wide.astype(np.float32), MOTIONS)
    lost, left = np.std((wide - true)[1:-1, 1:-1]), np.std((narrowed - true)[1:-1, 1:-1])
    assert left < 0.3 * lost
