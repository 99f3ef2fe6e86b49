"""Compile every kernel now, each group on a core of its own, so that nothing waits for a compiler later.

``python -m device.kernels``; what is compiled is kept beside the code, and made anew when the code changes.
"""

import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor, as_completed
from multiprocessing import get_context

import numpy as np

from device import inflow_maps, live, maps_reader
from shared.calibration import Calibration
from shared.frame import CameraDescription, Frame
from shared.motion.moving_region import MovingRegion, RegionSampler
from shared.motion.pose import Motion
from shared.motion.resample import into_reference
from shared.recording.packing import FrameRoom
from shared.recording.unpacking import FrameUnpacker
from shared.region import Region
from shared.scene.description import Scene, ready_scenes
from shared.scene.renderer import SceneRenderer


def simulated_camera() -> None:
    """What draws a scene."""
    scene = Scene.load(ready_scenes()["flap"])
    renderer = SceneRenderer(scene)
    pixels = np.empty(renderer.calibration().camera.shape, np.uint16)
    renderer.frame_into(pixels, 0, 0.0, scene.camera.set_exposure_us, scene.camera.gain)


def packing() -> None:
    """What a recording is packed by, and unpacked where many frames are wanted."""
    shape = (64, 64)
    room = FrameRoom(shape)
    room.take(np.zeros(shape, np.uint16))
    FrameUnpacker()(room.packed(), shape)


def analysis() -> None:
    """What reads a region where its tissue is, and what lays a picture on another."""
    camera = CameraDescription("warm-up", 64, 64)
    frame = Frame(np.full(camera.shape, 100, np.uint16), 0, 0, 1000.0)
    region = Region("warm-up", "rectangle", (8, 8, 16, 16))
    MovingRegion.of(region, RegionSampler.of(Calibration.assumed(camera))).signal(frame, Motion(0.5, 0.5))
    into_reference(frame.pixels.astype(np.float32), Motion(0.5, 0.5), np.empty(camera.shape, np.float32))


GROUPS: dict[str, Callable[[], None]] = {
    "maps, read": maps_reader.warm_up,
    "live picture": live.warm_up,
    "maps, gathered": inflow_maps.warm_up,
    "simulated camera": simulated_camera,
    "packing": packing,
    "analysis": analysis,
}
"""The longest first."""


def main() -> None:
    """Compile what is not yet compiled, and say what took how long."""
    began = time.monotonic()
    with ProcessPoolExecutor(mp_context=get_context("spawn")) as pool:
        compiling = {pool.submit(warm_up): name for name, warm_up in GROUPS.items()}
        for done in as_completed(compiling):
            done.result()
            print(f"compiled after {time.monotonic() - began:.0f} s: {compiling[done]}", flush=True)


if __name__ == "__main__":
    main()
