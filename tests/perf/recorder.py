"""The recorder: processor milliseconds a frame and compression, for frames of the ready scenes at 1456x1088 (10 electrons a count).

"ours" is all of it, in every thread: taking frames in, packing, checksum, append, table and flushing, from start to end of a
recording of 20 s at 60 frames a second, less "loop", what the loop that makes the frames and sleeps between them takes without a
recorder; "start_ms" is the part of it that is paid once, before the first frame. "packing" is taking in, which compresses; the
yardstick is the Blosc library's own bitshuffle and LZ4 on the same frames, the floor a copy.
"""

import statistics
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numcodecs import blosc

from device.recorder import Recorder
from shared.clock import SystemClock
from shared.frame import Frame
from shared.recording import Recording
from shared.recording.packing import FrameRoom
from shared.scene.description import Scene, ready_scenes
from shared.scene.renderer import SceneRenderer
from shared.settings import RecordingSettings

_MOMENTS_S = (2.0, 15.0, 22.0, 28.0, 35.0, 50.0, 75.0, 120.0)
_FRAMES = 1200
_LOOPS = 300
_RATE_HZ = 60.0


def rows() -> list[dict[str, object]]:
    """One row a ready scene: milliseconds a frame, ratio, milliseconds the caller of ``offer`` waits, frames lost."""
    return [_row(name, Scene.load(path)) for name, path in ready_scenes().items()]


def _row(name: str, scene: Scene) -> dict[str, object]:
    renderer = SceneRenderer(scene, seed=1)
    pictures = np.array([_picture(renderer, scene, moment) for moment in _MOMENTS_S])
    library_ms = statistics.median(_timed(lambda p: blosc.compress(p, b"lz4", 1, blosc.BITSHUFFLE, 0), pictures))
    room = FrameRoom(scene.description.shape)
    packing_ms = statistics.median(_timed(room.take, pictures))
    floor_ms = statistics.median(_timed(np.copy, pictures))
    loop_ms = _loop_ms(pictures)
    with tempfile.TemporaryDirectory(dir=Path.cwd(), prefix=".perf-") as folder:
        settings = RecordingSettings(Path(folder), queue_frames=16)
        recorder = Recorder(settings, SystemClock())
        recorder.prepare(scene.description)
        waited_ms: list[float] = []
        calibration = renderer.calibration()
        began_s = time.process_time()
        recorder.start("perf", scene.description, calibration)
        while not (Path(folder) / "perf.zarr" / "events.jsonl").exists():
            time.sleep(0.005)
        start_ms = 1000 * (time.process_time() - began_s)
        for frame in _frames(pictures, _FRAMES):
            offered_s = time.monotonic()
            recorder.offer(frame)
            waited_ms.append(1000 * (time.monotonic() - offered_s))
        recorder.close()
        ours_ms = 1000 * (time.process_time() - began_s) / _FRAMES - loop_ms
        state = recorder.state()
        with Recording.open(Path(folder) / "perf.zarr") as recording:
            stored = sum(path.stat().st_size for path in (recording.path / "image").rglob("0"))
            kept = recording.frames
            read_ms = statistics.median(_timed(lambda i: recording.pixels(int(i)), np.arange(kept)))
    return {
        "stage": f"recorder, {name}",
        "size": f"{scene.camera.width}x{scene.camera.height}",
        "ours_ms": round(ours_ms, 2),
        "loop_ms": round(loop_ms, 2),
        "start_ms": round(start_ms, 1),
        "ratio": round(pictures[0].nbytes * kept / stored, 2),
        "packing_ms": round(packing_ms, 2),
        "library_ms": round(library_ms, 2),
        "floor_ms": round(floor_ms, 2),
        "offer_p50_ms": round(statistics.median(waited_ms), 2),
        "offer_worst_ms": round(max(waited_ms), 2),
        "read_ms": round(read_ms, 2),
        "gaps": state.gaps,
    }


def _frames(pictures: np.ndarray, number: int) -> Iterator[Frame]:
    """As a camera gives them, at its rate."""
    due_s = time.monotonic()
    for sequence in range(number):
        due_s += 1 / _RATE_HZ
        time.sleep(max(due_s - time.monotonic(), 0))
        yield Frame(pictures[sequence % len(pictures)], sequence, 1 + sequence * 16_666_667, 15_000.0)


def _loop_ms(pictures: np.ndarray) -> float:
    """Processor time a frame of making and awaiting it, with the clock read twice as beside the recorder."""
    waited_ms: list[float] = []
    began_s = time.process_time()
    for _ in _frames(pictures, _LOOPS):
        offered_s = time.monotonic()
        waited_ms.append(1000 * (time.monotonic() - offered_s))
    return 1000 * (time.process_time() - began_s) / _LOOPS


def _picture(renderer: SceneRenderer, scene: Scene, moment_s: float) -> np.ndarray:
    if not renderer.injections_s:
        renderer.inject(5.0)
    out = np.empty(scene.description.shape, np.uint16)
    renderer.frame_into(out, int(moment_s * 30), moment_s, scene.camera.set_exposure_us, scene.camera.gain, 1.0)
    return out


def _timed(work: object, items: np.ndarray) -> list[float]:
    assert callable(work)
    taken_ms: list[float] = []
    for _ in range(max(24 // len(items), 1)):
        for item in items:
            began_s = time.process_time()
            work(item)
            taken_ms.append(1000 * (time.process_time() - began_s))
    return taken_ms


if __name__ == "__main__":
    for row in rows():
        print(row)
