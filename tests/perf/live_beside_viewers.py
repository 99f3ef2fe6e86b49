"""The live path's own time a frame (wall, p50 and p99) while 32 viewers look, against none: turns of each, interleaved.

``python -m tests.perf.live_beside_viewers BUS SECONDS`` is the process that draws and publishes at 30 frames a second.
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
TURNS = 3


def rows(seconds: float = 10.0) -> list[dict[str, object]]:
    """One row: p50 and p99 without and with viewers, and the ratio of the p99s (median over turns)."""
    turns = [(_turn(seconds, 0), _turn(seconds, VIEWERS)) for _ in range(TURNS)]
    alone, watched = zip(*turns, strict=True)
    return [
        {
            "stage": f"live path beside {VIEWERS} viewers",
            "size": "1456x1088",
            "p50_alone_ms": round(median(one[0] for one in alone), 2),
            "p50_watched_ms": round(median(one[0] for one in watched), 2),
            "p99_alone_ms": round(median(one[1] for one in alone), 2),
            "p99_watched_ms": round(median(one[1] for one in watched), 2),
            "p99_ratio": round(median(two[1] / one[1] for one, two in turns), 3),
        }
    ]


def _turn(seconds: float, viewers: int) -> tuple[float, float]:
    with tempfile.TemporaryDirectory() as folder:
        bus, port = str(Path(folder) / "frame_bus"), free_port_pair()
        server = ("web_ui", "--run-dir", folder, "--data-dir", folder, "--port", str(port), "--pair-word", WORD)
        drawing = running("tests.perf.live_beside_viewers", bus, str(seconds))
        with running(*server) as (_, ready), drawing as (process, _):
            assert process.stdout is not None
            if not viewers:
                return _percentiles(process.stdout.readline())
            origin, cookie = f"http://127.0.0.1:{port}", paired_cookie(json.loads(ready)["url"])
            looking = ("127.0.0.1", str(port + 1), origin, cookie, str(viewers), str(seconds + 5))
            with running("tests.perf.viewers", *looking):
                return _percentiles(process.stdout.readline())


def _percentiles(line: str) -> tuple[float, float]:
    p50, p99 = json.loads(line)
    return p50, p99


def main() -> None:
    """Draw until the time is over; the first two seconds, in which viewers connect, do not count."""
    from device.live import LivePath
    from shared.frame import Frame
    from shared.frame_bus import FrameBusWriter
    from shared.region import Region
    from shared.scene.description import Scene, ready_scenes
    from shared.scene.renderer import SceneRenderer
    from shared.settings import PictureSettings

    path, seconds = Path(sys.argv[1]), float(sys.argv[2])
    scene = Scene.load(ready_scenes()["flap"])
    renderer = SceneRenderer(scene, seed=1)
    renderer.inject(0.0)
    frames = np.empty((8, *scene.description.shape), np.uint16)
    for number, out in enumerate(frames):
        renderer.frame_into(out, number, 60 + number / 30, scene.camera.set_exposure_us, scene.camera.gain)
    live = LivePath(renderer.calibration(), PictureSettings())
    live.set_reference(Region.parse("base:300,500,80,80"))
    taken_ms: list[float] = []
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
            taken_ms.append((time.monotonic_ns() - began_ns) / 1e6)
        counted = taken_ms[int(2 * RATE_HZ) :]
        print(json.dumps([float(one) for one in np.percentile(counted, [50, 99])]), flush=True)
        time.sleep(10)  # until the parent ends this process, so that viewers keep their pictures


if __name__ == "__main__":
    if len(sys.argv) > 1:
        main()
    else:
        for row in rows():
            print(row)
