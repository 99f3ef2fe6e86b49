"""What the versions of the live path are given to draw: frames of a ready scene in full glow, with 200 defects, and one look."""

from dataclasses import dataclass

import numpy as np

from shared.calibration import Calibration
from shared.frame import CameraDescription, Frame
from shared.live_picture import Look
from shared.region import Region
from shared.scene.description import Scene, ready_scenes
from shared.scene.renderer import SceneRenderer
from shared.settings import PictureSettings
from shared.signal import RegionPixels, region_signal

DEFECTS = 200
FRAMES = 6
GLOW_S = 45.0


@dataclass(frozen=True, eq=False)
class LiveScene:
    """Frames and what is needed to draw them. ``look`` has the relative view with three contours."""

    calibration: Calibration
    settings: PictureSettings
    frames: tuple[Frame, ...]
    reference: Region
    look: Look

    @property
    def size(self) -> str:
        return f"{self.calibration.camera.width}x{self.calibration.camera.height}"


def live_scene(step: int) -> LiveScene:
    """The flap at every ``step``-th pixel: 1 for 1456x1088, 2 for 728x544."""
    scene = Scene.load(ready_scenes()["flap"])
    renderer = SceneRenderer(scene, seed=1)
    full = renderer.calibration()
    exposure_us, gain = scene.camera.set_exposure_us, scene.camera.gain
    frames = []
    renderer.inject(0.0)
    for index in range(FRAMES):
        pixels = np.empty(full.camera.shape, np.uint16)
        renderer.frame_into(pixels, index, GLOW_S + index / 30, exposure_us, gain)
        frames.append(pixels[::step, ::step].copy())
    height, width = frames[0].shape
    defects = full.defects[::step, ::step].copy()
    rng = np.random.default_rng(2)
    spare = rng.permutation(np.flatnonzero(~defects))[: max(DEFECTS - int(defects.sum()), 0)]
    defects.reshape(-1)[spare] = True
    for pixels in frames:
        pixels.reshape(-1)[spare] = full.camera.white_level
    description = full.camera
    camera = CameraDescription(
        description.model, width, height, description.bit_depth, description.black_level, description.shutter
    )
    calibration = Calibration(
        camera, full.dark_counts[::step, ::step].copy(), full.flat[::step, ::step].copy(), defects,
        full.counts_per_electron, full.read_noise_electrons, full.saturation_counts, full.light_output,
    )  # fmt: skip
    settings = PictureSettings()
    reference = _brightest(calibration, frames[0])
    made = tuple(Frame(pixels, index, 1 + index * 33_333_333, exposure_us, gain) for index, pixels in enumerate(frames))
    pixels = RegionPixels.gathered(reference.indices(camera.shape), calibration)
    above = region_signal(made[0], pixels, calibration).signal.value
    look = Look("relative", settings.contours_percent, above)
    return LiveScene(calibration, settings, made, reference, look)


def _brightest(calibration: Calibration, pixels: np.ndarray) -> Region:
    """A square of well-lit tissue that is not clipped."""
    side = 32
    rows, columns = (size // side for size in pixels.shape)
    tiles = pixels[: rows * side, : columns * side].reshape(rows, side, columns, side)
    means = np.where(tiles.max(axis=(1, 3)) < calibration.saturation_counts, tiles.mean(axis=(1, 3)), 0.0)
    row, column = divmod(int(means.argmax()), columns)
    return Region("base", "rectangle", (column * side, row * side, side, side))
