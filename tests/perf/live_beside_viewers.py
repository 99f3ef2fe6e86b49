"""The live path's own time a frame (wall, p50 and p99) while 32 viewers look, against none: turns of each, interleaved.

The floor, a copy and the JPEG library's own time in the same process after each picture, says how far the machine alone moves.

``python -m tests.perf.live_beside_viewers BUS SECONDS`` is the process that draws and publishes at 30 frames a second. It has ten
times the picture server's weight, as the units give it on the handheld; the viewers, who are other machines there, yield to both.
"""

import json
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

import numpy as np

from tests.perf.picture_server import WORD, free_port_pair, paired_cookie, running

VIEWERS = 32
RATE_HZ = 30.0
TURNS = 9
"""The ratio of two p99s of 300 frames moves by a tenth from turn to turn on a shared machine; five left the median too loose."""
SERVER_NICE, VIEWERS_NICE = 10, 19
"""One step is a factor of 1.25 in weight: ten are the 1000 to 100 of CPUWeight in the units (sched(7))."""


def rows(seconds: float = 10.0) -> list[dict[str, object]]:
    """One row: p50 and p99 without and with viewers, and the ratio of the p99s (median over turns)."""
    turns = [(_turn(seconds, 0), _turn(seconds, VIEWERS)) for _ in range(TURNS)]
    alone, watched = zip(*turns, strict=True)

    def ratio(at: int) -> float:
        return round(median(two[at] / one[at] for one, two in turns), 3)

    return [
        {
            "stage": f"live path beside {VIEWERS} viewers",
            "size": "1456x1088",
            "p50_alone_ms": round(median(one[0] for one in alone), 2),
            "p50_watched_ms": round(median(one[0] for one in watched), 2),
            "p99_alone_ms": round(median(one[1] for one in alone), 2),
            "p99_watched_ms": round(median(one[1] for one in watched), 2),
            "p50_ratio": ratio(0),
            "p99_ratio": ratio(1),
            "floor_p50_ratio": ratio(2),
            "floor_p99_ratio": ratio(3),
        }
    ]


def _turn(seconds: float, viewers: int) -> tuple[float, ...]:
    """p50 and p99 of the live path, p50 and p99 of the floor."""
    with tempfile.TemporaryDirectory() as folder:
        bus, port = str(Path(folder) / "frame_bus"), free_port_pair()
        server = ("web_ui", "--run-dir", folder, "--data-dir", folder, "--port", str(port), "--pair-word", WORD)
        drawing = running("tests.perf.live_beside_viewers", bus, str(seconds))
        with running(*server, nice=SERVER_NICE) as (_, ready), drawing as (process, _):
            assert process.stdout is not None
            if not viewers:
                return _percentiles(process.stdout.readline())
            origin, cookie = f"http://127.0.0.1:{port}", paired_cookie(json.loads(ready)["url"])
            looking = ("127.0.0.1", str(port + 1), origin, cookie, str(viewers), str(seconds + 5))
            with running("tests.perf.viewers", *looking, nice=VIEWERS_NICE):
                return _percentiles(process.stdout.readline())


def _percentiles(line: str) -> tuple[float, ...]:
    return tuple(json.loads(line))


def main() -> None:
    """Draw until the time is over; the first two seconds, in which viewers connect, do not count."""
    from device.live import LivePath
    from shared.frame import Frame
    from shared.frame_bus import FrameBusWriter
    from shared.fused_picture import FusedPicture
    from shared.region import Region
    from shared.scene.description import Scene, ready_scenes
    from shared.scene.renderer import SceneRenderer
    from shared.settings import PictureSettings
    from tests.perf.floor import Floor
    from tests.perf.live_scene import live_scene

    path, seconds = Path(sys.argv[1]), float(sys.argv[2])
    scene = Scene.load(ready_scenes()["flap"])
    renderer = SceneRenderer(scene, seed=1)
    renderer.inject(0.0)
    frames = np.empty((8, *scene.description.shape), np.uint16)
    for number, out in enumerate(frames):
        renderer.frame_into(out, number, 60 + number / 30, scene.camera.set_exposure_us, scene.camera.gain)
    live = LivePath(renderer.calibration(), PictureSettings())
    live.set_reference(Region.parse("base:300,500,80,80"))
    full = live_scene(1)
    planes = FusedPicture(full.calibration, full.settings).draw(full.frames[0], full.look)
    floor = Floor(full.calibration, planes, full.settings.jpeg_quality)
    taken_ms: list[float] = []
    floor_ms: list[float] = []
    with FrameBusWriter(path) as bus:
        started_ns = time.monotonic_ns()
        print("drawing", flush=True)
        for sequence in range(int(RATE_HZ * (seconds + 2))):
            time.sleep(max(0.0, (started_ns + sequence * 1e9 / RATE_HZ - time.monotonic_ns()) / 1e9))
            began_ns = time.monotonic_ns()
            frame = Frame(frames[sequence % 8], sequence, began_ns, scene.camera.set_exposure_us)
            picture = live.process(frame)
            header = json.dumps({**picture.header, "published_ns": began_ns}).encode()
            bus.publish(header, picture.jpeg, sequence=sequence, published_ns=began_ns)
            ended_ns = time.monotonic_ns()
            taken_ms.append((ended_ns - began_ns) / 1e6)
            floor.copy()
            floor.jpeg()
            floor_ms.append((time.monotonic_ns() - ended_ns) / 1e6)
        counted = (one[int(2 * RATE_HZ) :] for one in (taken_ms, floor_ms))
        print(json.dumps([float(at) for one in counted for at in np.percentile(one, [50, 99])]), flush=True)
        time.sleep(10)  # until the parent ends this process, so that viewers keep their pictures


if __name__ == "__main__":
    if len(sys.argv) > 1:
        main()
    else:
        for row in rows():
            print(row)
