"""The live path against plain numpy and Pillow, composed OpenCV calls, and the floor; processor time of one thread, interleaved.

Every version draws the same frames of the same scene; before anything is timed their pictures are compared. How fast memory is
found depends on where it happens to lie (encoding the same planes takes 2.5 to 3.0 ms), so everything is laid out anew several
times.
"""

import time
from collections.abc import Callable
from statistics import median

import numpy as np
import simplejpeg

from device.live import LivePath
from shared.frame import Frame
from shared.fused_picture import FusedPicture
from shared.live_picture import PlainPicture, Planes
from tests.perf.composed_opencv import ComposedOpenCV
from tests.perf.floor import Floor
from tests.perf.live_scene import LiveScene, live_scene
from tests.perf.plain_numpy import PlainNumpy

LAID_OUT = 4
ROUNDS = 20


def rows() -> list[dict[str, object]]:
    """One row a frame size."""
    return [_row(live_scene(step)) for step in (1, 2)]


def _row(scene: LiveScene) -> dict[str, object]:
    plain = PlainNumpy(scene.calibration, scene.settings, scene.look)
    composed = ComposedOpenCV(scene.calibration, scene.settings, scene.look)
    taken: dict[str, list[float]] = {}
    for _ in range(LAID_OUT):
        for name, times in _timed(scene, plain, composed).items():
            taken.setdefault(name, []).extend(times)
    floors = [copied + encoded for copied, encoded in zip(taken["copy"], taken["encoding"], strict=True)]

    def ratio(over: list[float], under: list[float]) -> float:
        return round(median(a / b for a, b in zip(over, under, strict=True)), 2)

    return {
        "stage": "live path",
        "size": scene.size,
        "plain_ms": round(median(taken["plain"]), 2),
        "opencv_ms": round(median(taken["composed"]), 2),
        "ours_ms": round(median(taken["ours"]), 2),
        "floor_ms": round(median(floors), 2),
        "of_it_drawing_ms": round(median(taken["drawing"]), 2),
        "of_it_encoding_ms": round(median(taken["encoding"]), 2),
        "of_floor_copy_ms": round(median(taken["copy"]), 2),
        "plain/ours": ratio(taken["plain"], taken["ours"]),
        "opencv/ours": ratio(taken["composed"], taken["ours"]),
        "ours/floor": ratio(taken["ours"], floors),
    }


def _timed(scene: LiveScene, plain: PlainNumpy, composed: ComposedOpenCV) -> dict[str, list[float]]:
    """Milliseconds of each step in each round, everything of ours and of the floor newly made."""
    live = LivePath(scene.calibration, scene.settings)
    live.set_reference(scene.reference)
    fused = FusedPicture(scene.calibration, scene.settings)
    floor = Floor(scene.calibration, _agreed(scene, fused, plain, composed), scene.settings.jpeg_quality)
    steps: dict[str, Callable[[Frame], object]] = {
        "plain": plain.jpeg,
        "composed": composed.jpeg,
        "ours": live.process,
        "copy": lambda _: floor.copy(),
        "encoding": lambda _: floor.jpeg(),
        "drawing": lambda frame: fused.draw(frame, scene.look),
    }
    taken: dict[str, list[float]] = {name: [] for name in steps}
    for turn in range(ROUNDS + 3):
        frame = scene.frames[turn % len(scene.frames)]
        for name, step in steps.items():
            began = time.thread_time()
            step(frame)
            if turn >= 3:
                taken[name].append(1000 * (time.thread_time() - began))
    return taken


def _agreed(scene: LiveScene, fused: FusedPicture, plain: PlainNumpy, composed: ComposedOpenCV) -> Planes:
    """Draw a few frames with every version and see that all four pictures are one; returns the fused planes."""
    truth = PlainPicture(scene.calibration, scene.settings)
    for frame in scene.frames:
        planes, wanted = fused.draw(frame, scene.look), truth.draw(frame, scene.look)
        by_numpy, by_opencv = plain.drawn(frame), composed.drawn(frame)[..., ::-1]
    decoded = simplejpeg.decode_jpeg(simplejpeg.encode_jpeg_yuv_planes(wanted.y, wanted.u, wanted.v, 95), "RGB")
    for name, picture in (("numpy", by_numpy), ("opencv", by_opencv)):
        off = np.abs(picture.astype(int) - decoded).mean(axis=2)
        typical, strays = float(np.median(off)), float(np.mean(off > 25))
        if typical > 4 or strays > 0.03:
            raise AssertionError(f"{name} draws another picture: off by {typical}, {strays:.1%} of it by more than 25")
    for ours, theirs in zip((planes.y, planes.u, planes.v), (wanted.y, wanted.u, wanted.v), strict=True):
        assert np.mean(np.abs(ours.astype(int) - theirs) > 2) < 0.01, "the fused picture is not the true one"
    return planes


if __name__ == "__main__":
    for row in rows():
        print(row)
