"""How many frames a second the simulated camera gives on one core, for each ready scene."""

import statistics
import time

import numpy as np

from shared.scene.description import Scene, ready_scenes
from shared.scene.renderer import SceneRenderer

_FRAMES = 60


def rows() -> list[dict[str, object]]:
    """One row a ready scene: processor milliseconds a frame (median), frames a second, and seconds to prepare the scene."""
    return [_row(name, Scene.load(path)) for name, path in ready_scenes().items()]


def _row(name: str, scene: Scene) -> dict[str, object]:
    began_s = time.process_time()
    renderer = SceneRenderer(scene, seed=1)
    prepared_s = time.process_time() - began_s
    renderer.inject(0.0)
    out = np.empty(scene.description.shape, np.uint16)
    taken_s = [_one(renderer, out, index) for index in range(_FRAMES + 1)][1:]  # the first may compile
    median_ms = 1000 * statistics.median(taken_s)
    copied_ms = 1000 * statistics.median([_copy(out) for _ in range(_FRAMES)])
    return {
        "stage": f"simulated camera, {name}",
        "size": f"{scene.camera.width}x{scene.camera.height}",
        "ours_ms": round(median_ms, 2),
        "frames_per_s": round(1000 / median_ms, 1),
        "floor_ms": round(copied_ms, 2),
        "prepared_s": round(prepared_s, 2),
    }


def _one(renderer: SceneRenderer, out: np.ndarray, index: int) -> float:
    began_s = time.process_time()
    renderer.frame_into(out, index, 30 + index / 30, renderer.scene.camera.set_exposure_us, renderer.scene.camera.gain)
    return time.process_time() - began_s


def _copy(out: np.ndarray) -> float:
    began_s = time.process_time()
    out.copy()
    return time.process_time() - began_s


if __name__ == "__main__":
    for row in rows():
        print(row)
