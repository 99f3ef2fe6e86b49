"""What is compiled ahead is what a device needs: afterwards nothing waits for a compiler."""

import numpy as np
import pytest
from numba.core import event

from device import kernels
from device.live import LivePath
from shared.calibration import Calibration
from shared.frame import CameraDescription, Frame
from shared.inflow.maps_slots import MapGatherer
from shared.motion.pose import Motion
from shared.region import Region
from shared.settings import PictureSettings


@pytest.mark.parametrize("group", kernels.GROUPS.values(), ids=kernels.GROUPS)
def test_a_second_time_nothing_is_left_to_compile(group):
    group()
    with event.install_recorder("numba:llvm_lock") as compiling:
        group()
    assert not compiling.buffer


def test_a_picture_of_another_size_needs_no_compiler():
    kernels.live.warm_up()
    camera = CameraDescription("other", 200, 120)
    live = LivePath(Calibration.assumed(camera), PictureSettings())
    live.set_reference(Region("base", "rectangle", (10, 10, 20, 20)))
    with event.install_recorder("numba:llvm_lock") as compiling:
        for number in range(3):
            live.process(Frame(np.full(camera.shape, 300 + number, np.uint16), number, 1 + number * 33_000_000, 5000.0))
    assert not compiling.buffer


def test_a_run_that_is_gathered_needs_no_compiler_whatever_it_shows():
    """A compiler would hold up the frame, and the frame the light's lease."""
    kernels.inflow_maps.warm_up()
    camera = CameraDescription("other", 256, 200)
    with event.install_recorder("numba:llvm_lock") as compiling:
        for ambient_off in (False, True):
            gatherer = MapGatherer(Calibration.assumed(camera), 8, ambient_off=ambient_off)
            for number in range(6):
                pixels = np.full(camera.shape, 300 + number, np.uint16)
                pixels[:60, :60] = 1023
                frame = Frame(pixels, number, 1 + number * 400_000_000, 5000.0)
                if number in (1, 4):
                    frame = frame.with_light(0.0, lit=False)
                gatherer.add(frame, Motion(float(number), 0.5) if number > 2 and frame.lit else None)
            gatherer.finish()
    assert not compiling.buffer
