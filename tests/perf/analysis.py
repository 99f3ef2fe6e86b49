"""Analysis of a stored recording by ``tapetum analyse``, as a multiple of real time at 30 frames/s and 1456x1088.

Three minutes are 5400 frames. Two recordings of the flap's whole inflow stand for them, of 300 and 900 frames: from both together
come the seconds that every run costs (start, loading, reading the maps) and the milliseconds a frame; "real_time" is 180 s over
what 5400 frames would take. Wall time of the process, on all cores. "floor_ms" is unpacking a frame alone.
"""

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from device.marked_regions import scene_region
from shared.frame import Frame
from shared.recording import Recording
from shared.recording.unpacking import FrameUnpacker
from shared.recording.writer import RecordingWriter
from shared.scene.description import Scene, ready_scenes
from shared.scene.renderer import SceneRenderer

_SECONDS, _RATE_HZ = 180.0, 30.0
_SHORT, _LONG = 300, 900
_WAYS = {"regions as marked": ("--no-motion",), "hand followed": (), "hand followed, with maps": ("--maps",)}


def rows() -> list[dict[str, object]]:
    """One row for each way to analyse."""
    scene = Scene.load(ready_scenes()["flap"])
    regions = ("--reference", str(scene_region(scene, "base")), "--region", str(scene_region(scene, "tip")))
    with tempfile.TemporaryDirectory(dir=Path.cwd(), prefix=".perf-") as folder:
        short, long = (_recorded(scene, Path(folder) / f"{frames}.zarr", frames) for frames in (_SHORT, _LONG))
        _took_s(short, (*regions, "--maps"))  # compiles what is not compiled yet
        floor_ms = _floor_ms(long)
        return [_row(name, short, long, (*regions, *options), floor_ms) for name, options in _WAYS.items()]


def _row(name: str, short: Path, long: Path, options: tuple[str, ...], floor_ms: float) -> dict[str, object]:
    (short_s, short_processor_s), (long_s, long_processor_s) = _took_s(short, options), _took_s(long, options)
    a_frame_s = (long_s - short_s) / (_LONG - _SHORT)
    once_s = short_s - _SHORT * a_frame_s
    return {
        "stage": f"analysis, {name}",
        "size": "1456x1088",
        "real_time": round(_SECONDS / (once_s + _SECONDS * _RATE_HZ * a_frame_s), 1),
        "a_frame_ms": round(1000 * a_frame_s, 2),
        "once_s": round(once_s, 2),
        "a_frame_processor_ms": round(1000 * (long_processor_s - short_processor_s) / (_LONG - _SHORT), 2),
        "floor_ms": round(floor_ms, 2),
        "cores": os.cpu_count(),
    }


def _took_s(recording: Path, options: tuple[str, ...]) -> tuple[float, float]:
    """Seconds on the clock, and of the processors."""
    began, before = time.monotonic(), os.times()
    command = [sys.executable, "-m", "device", "analyse", str(recording), "--json", *options]
    subprocess.run(command, check=True, capture_output=True)
    after = os.times()
    processor_s = after.children_user + after.children_system - before.children_user - before.children_system
    return time.monotonic() - began, processor_s


def _recorded(scene: Scene, path: Path, frames: int) -> Path:
    """So many frames of three minutes."""
    renderer = SceneRenderer(scene, seed=1)
    renderer.inject(5.0)
    pixels, exposure_us = np.empty(scene.description.shape, np.uint16), scene.camera.set_exposure_us
    known, level = renderer.calibration(), scene.light.level
    with RecordingWriter(path, scene.description, known, started_at="2026-11-25T10:00:00Z") as writer:
        for number in range(frames):
            time_s = number * _SECONDS / frames
            renderer.frame_into(pixels, number, time_s, exposure_us, scene.camera.gain, level)
            writer.append(Frame(pixels, number, round(time_s * 1e9), exposure_us, scene.camera.gain, level))
        writer.event("injection", 5_000_000_000)
    return path


def _floor_ms(path: Path) -> float:
    with Recording.open(path, unpack=FrameUnpacker()) as recording:
        recording.pixels(0)
        began = time.thread_time()
        for number in range(recording.frames):
            recording.pixels(number)
        return 1000 * (time.thread_time() - began) / recording.frames


if __name__ == "__main__":
    for row in rows():
        print(row)
