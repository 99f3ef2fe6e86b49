"""Curves of the flap's tissues, milliseconds a frame: against plain numpy, and against a copy of the regions' own pixels.

"plain" corrects the whole frame in float64 and takes the mean and its uncertainty under each region's mask; "followed" reads the
same regions where a motion has carried them, without the following itself.
"""

import time
from collections.abc import Callable
from statistics import median

import numpy as np

from device.marked_regions import scene_region
from shared.calibration import Calibration
from shared.frame import Frame
from shared.inflow.curves import CurveGatherer
from shared.motion.curves import MovingCurves
from shared.motion.pose import Motion
from shared.region import Region
from shared.scene.description import Scene, ready_scenes
from shared.scene.renderer import SceneRenderer

_ROUNDS = 40


def rows() -> list[dict[str, object]]:
    """One row."""
    scene = Scene.load(ready_scenes()["flap"])
    renderer = SceneRenderer(scene, seed=1)
    renderer.inject(5.0)
    known, frame = renderer.calibration(), _frame(renderer, scene)
    regions = [scene_region(scene, tissue.name) for tissue in scene.tissue]
    masks = [_mask(region, known) for region in regions]
    still, moving = CurveGatherer(known, regions), MovingCurves(known, dict.fromkeys(regions, Motion()))
    inside = np.concatenate([np.flatnonzero(mask) for mask in masks])
    pixels, copied = frame.pixels.reshape(-1)[inside], np.empty(inside.size, np.uint16)
    taken = _interleaved(
        {
            "plain": lambda: _plain(frame, known, masks),
            "ours": lambda: still.add(frame),
            "followed": lambda: moving.add(frame, Motion(3.3, -2.2, 0.01)),
            "floor": lambda: np.copyto(copied, pixels),
        }
    )
    ms = {name: median(each) for name, each in taken.items()}
    return [
        {
            "stage": f"curves of {len(regions)} regions",
            "size": f"{scene.camera.width}x{scene.camera.height}",
            **{f"{name}_ms": round(each, 3) for name, each in ms.items()},
            "plain/ours": round(ms["plain"] / ms["ours"], 1),
            "ours/floor": round(ms["ours"] / ms["floor"], 1),
            "pixels": int(inside.size),
        }
    ]


def _plain(frame: Frame, known: Calibration, masks: list[np.ndarray]) -> list[tuple[float, float]]:
    factor = known.counts_to_signal(frame.exposure_us, frame.gain, frame.light_level)
    counts = frame.pixels.astype(np.float64) - known.dark_counts
    signal = counts / known.flat * factor
    k = known.counts_per_electron * frame.gain
    variance = (k * np.maximum(counts, 0.0) + (k * known.read_noise_electrons) ** 2) / known.flat**2 * factor**2
    return [(signal[mask].mean(), np.sqrt(variance[mask].sum()) / mask.sum()) for mask in masks]


def _mask(region: Region, known: Calibration) -> np.ndarray:
    mask = np.zeros(known.camera.shape, np.bool_)
    mask.reshape(-1)[region.indices(known.camera.shape)] = True
    return mask & ~known.defects


def _frame(renderer: SceneRenderer, scene: Scene) -> Frame:
    pixels, exposure_us = np.empty(scene.description.shape, np.uint16), scene.camera.set_exposure_us
    renderer.frame_into(pixels, 0, 40.0, exposure_us, scene.camera.gain, scene.light.level)
    return Frame(pixels, 0, 40_000_000_000, exposure_us, scene.camera.gain, scene.light.level)


def _interleaved(steps: dict[str, Callable[[], object]]) -> dict[str, list[float]]:
    taken: dict[str, list[float]] = {name: [] for name in steps}
    for _ in range(_ROUNDS):
        for name, step in steps.items():
            began = time.thread_time()
            step()
            taken[name].append(1000 * (time.thread_time() - began))
    return taken


if __name__ == "__main__":
    for row in rows():
        print(row)
