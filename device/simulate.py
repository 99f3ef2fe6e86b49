"""Recordings of a scene, written as fast as they can be drawn."""

import time
from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from device.whole_folder import appearing_whole
from shared.frame import Counts, Frame
from shared.recording.writer import RecordingWriter
from shared.scene.description import Scene
from shared.scene.renderer import SceneRenderer

_BUFFERS = 4
DEFAULT_INJECTION_S = 5.0
"""When the dye goes in where the scene leaves that to an operator, who is not there."""


@dataclass(frozen=True)
class Summary:
    """What was written. ``wall_s`` is how long it took."""

    frames: int
    duration_s: float
    injected_at_s: float
    injection_assumed: bool
    wall_s: float


def simulate(
    scene: Scene,
    out: Path,
    seconds: float,
    seed: int = 0,
    on_progress: Callable[[int, int], None] = lambda done, total: None,
    scene_text: str = "",
    from_s: float = 0.0,
    injections_s: Sequence[float] = (),
) -> Summary:
    """Write ``seconds`` of ``scene`` as a recording at ``out``, with the light at the scene's own level.

    The first frame is at scene time ``from_s``, which is sensor time too. Dye goes in at ``injections_s``, on the scene's clock and
    besides the scene's own injection; of them those are marked that are past at the end. ``on_progress`` gets frames done and in
    all. ``out`` appears when it is whole; raises Refused where it exists already or the disk does not take it, and then leaves
    nothing behind.
    """
    frames = max(round(seconds * scene.camera.fps), 1)
    began_s = time.monotonic()
    renderer = SceneRenderer(scene, seed)
    for injected_at_s in injections_s:
        renderer.inject(injected_at_s)
    assumed = not renderer.injections_s
    if assumed:
        renderer.inject(DEFAULT_INJECTION_S)
    with appearing_whole(out) as growing:
        first = round(from_s * scene.camera.fps)
        write_frames(renderer, growing, range(first, first + frames), {"scene": scene_text, "seed": seed}, on_progress)
    return Summary(
        frames=frames,
        duration_s=frames / scene.camera.fps,
        injected_at_s=renderer.injections_s[0],
        injection_assumed=assumed,
        wall_s=time.monotonic() - began_s,
    )


def write_frames(
    renderer: SceneRenderer,
    path: Path,
    frames: range,
    extra: dict[str, object],
    on_progress: Callable[[int, int], None] = lambda done, total: None,
) -> None:
    """Draw frames here and write them on one other thread, a few frames behind; frame 0 is at scene time 0."""
    scene = renderer.scene
    camera, level = scene.camera, scene.light.level
    free: deque[tuple[Counts, Future[None] | None]] = deque(
        (np.empty(scene.description.shape, np.uint16), None) for _ in range(_BUFFERS)
    )
    from_s, end_s = frames[0] / camera.fps, frames[-1] / camera.fps
    started_at = (datetime.now(UTC) + timedelta(seconds=from_s)).isoformat(timespec="milliseconds")
    writer = RecordingWriter(path, scene.description, renderer.calibration(), started_at=started_at, extra=extra)
    with writer, ThreadPoolExecutor(1, "recording") as other:
        marks_s = sorted(renderer.injections_s)
        for mark_s in [mark_s for mark_s in marks_s if mark_s <= end_s] or marks_s[:1]:
            other.submit(writer.event, "injection", round(mark_s * 1e9)).result()
        for index in frames:
            pixels, written = free.popleft()
            if written is not None:
                written.result()
            readout_ns = round(index * camera.interval_us * 1000)
            middle_s = readout_ns / 1e9 - camera.set_exposure_us / 2e6
            renderer.frame_into(pixels, index, middle_s, camera.set_exposure_us, camera.gain, level)
            frame = Frame(pixels, index, readout_ns, camera.set_exposure_us, camera.gain, level, level > 0)
            free.append((pixels, other.submit(writer.append, frame)))
            on_progress(index + 1 - frames[0], len(frames))
        for _, written in free:
            if written is not None:
                written.result()
