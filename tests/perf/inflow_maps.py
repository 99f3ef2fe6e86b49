"""Inflow maps: milliseconds a frame against plain numpy and against a copy of the same bytes, memory a bin, seconds to the maps.

"ours" is the mean over a run of three minutes at 30 frames/s, ends of slots and merges in it; "frame" the median frame alone, "p99"
what the slowest of a hundred takes. "ready_s" is wall time from the last frame until the maps are kept beside the recording, by the
imager's reader on every core: handing over, reading, writing. "reading_processor_s" is the processor time of the reading alone.
Every frame of the flap is drawn, with noise of its own: used again, noise would look like signal and be slower to read.
"""

import multiprocessing
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

import numpy as np

from device.maps_reader import MapsReader, read_on_cores, warm_up
from device.marked_regions import scene_region
from shared.frame import Frame
from shared.inflow.handover import Order, hand_over
from shared.inflow.maps_slots import MapGatherer
from shared.region import Region
from shared.scene.description import Scene, ready_scenes
from shared.scene.renderer import SceneRenderer
from tests.perf.plain_maps import PlainMaps

_SECONDS, _RATE_HZ = 180.0, 30.0
_ROUNDS = 40


def rows() -> list[dict[str, object]]:
    """One row."""
    warm_up()
    scene = Scene.load(ready_scenes()["flap"])
    renderer = SceneRenderer(scene, seed=1)
    renderer.inject(5.0)
    known = renderer.calibration()
    gatherer = MapGatherer(known)
    taken = _gathered(gatherer, renderer, scene)
    reference = scene_region(scene, "base")
    ready_s = _ready_s(gatherer, reference)
    processor = time.process_time()
    read_on_cores(gatherer, reference, 5.0)
    processor_s = time.process_time() - processor
    frame = _drawn(renderer, scene, 40.0, 0)
    plain, floor_from = PlainMaps(known), np.ones(frame.pixels.size + gatherer.saturated.size * 2, np.uint16)
    floor_to = np.zeros_like(floor_from)
    other = MapGatherer(known)
    timed = _interleaved(
        {
            "plain": lambda: plain.add(frame),
            "ours": lambda: other.add(frame),
            "floor": lambda: np.copyto(floor_to, floor_from),
        }
    )
    mean_ms = sum(taken) / len(taken)
    return [
        {
            "stage": "inflow maps",
            "size": "1456x1088",
            "ours_ms": round(mean_ms, 3),
            "frame_ms": round(median(taken), 3),
            "p99_ms": round(float(np.quantile(taken, 0.99)), 2),
            "plain_ms": round(median(timed["plain"]), 2),
            "floor_ms": round(median(timed["floor"]), 3),
            "plain/ours": round(median(timed["plain"]) / mean_ms, 1),
            "ours/floor": round(mean_ms / median(timed["floor"]), 2),
            "bytes_a_bin": round(gatherer.bytes_a_bin),
            "bytes_a_pixel": round(gatherer.bytes_a_bin / 4),
            "memory_mb": round(gatherer.bytes_a_bin * gatherer.saturated.size / 1e6, 1),
            "ready_s": round(ready_s, 2),
            "reading_processor_s": round(processor_s, 2),
        }
    ]


def _gathered(gatherer: MapGatherer, renderer: SceneRenderer, scene: Scene) -> list[float]:
    """Milliseconds of processor time of each frame of the run."""
    taken = []
    for number in range(round(_SECONDS * _RATE_HZ)):
        frame = _drawn(renderer, scene, number / _RATE_HZ, number)
        began = time.thread_time()
        gatherer.add(frame)
        taken.append(1000 * (time.thread_time() - began))
    return taken


def _ready_s(gatherer: MapGatherer, reference: Region) -> float:
    """Seconds until the imager's reader has put the maps beside a recording."""
    reader = MapsReader(multiprocessing.get_context("spawn"))
    reader.load()
    with tempfile.TemporaryDirectory(dir="/dev/shm") as handed, tempfile.TemporaryDirectory(dir=Path.cwd()) as kept:
        reader.read(Order(kept, str(reference), 5.0), Path(handed) / "nothing yet")  # so that it has loaded
        began = time.monotonic()
        hand_over(Path(handed) / "run", gatherer)
        answer = reader.read(Order(kept, str(reference), 5.0), Path(handed) / "run")
        ready_s = time.monotonic() - began
        assert not answer.refused, answer.refused
        reader.close()
    return ready_s


def _drawn(renderer: SceneRenderer, scene: Scene, time_s: float, number: int) -> Frame:
    pixels, exposure_us = np.empty(scene.description.shape, np.uint16), scene.camera.set_exposure_us
    renderer.frame_into(pixels, number, time_s, exposure_us, scene.camera.gain, scene.light.level)
    return Frame(pixels, number, round(time_s * 1e9), exposure_us, scene.camera.gain, scene.light.level)


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
