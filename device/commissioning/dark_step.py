"""The dark step: lens capped, two exposures, no light at all."""

from pathlib import Path

import numpy as np

from device.commissioning.bench import Bench
from device.commissioning.cases import case_of
from device.commissioning.step import Reading
from device.commissioning.takes import evidence, stack, takes
from shared.commissioning.calibration_folder import Kept
from shared.commissioning.curve import DARK
from shared.commissioning.dark import dark
from shared.commissioning.stack import F64
from shared.commissioning.step_name import StepName
from shared.errors import Refused
from shared.protocol.control import Target
from shared.recording import Recording

BINS = 80


class DarkStep:
    """Mean dark plane, its noise, DSNU and dark current."""

    name: StepName = "dark"
    target: Target = "cap"
    guide = """\
Dark: what every pixel counts without any light.

  1  Let the handheld run for ten minutes, so that the sensor has its working temperature.
  2  Cap the lens so that no light comes in, or put the handheld face down on black cloth in a dark room.
  3  The ring stays dark.
"""
    frames = 32
    other_share = 0.2
    """Second exposure beside the working one."""

    def check(self, kept: Kept) -> None:
        """Nothing has to come before."""

    def walk(self, bench: Bench, recordings: Path) -> str:
        """Frames at the working exposure, then at a fifth of it."""
        camera = bench.state.camera
        with bench.recording(case_of(self.name)) as (name,):
            for share in (1.0, self.other_share):
                exposure_us = bench.expose(share * camera.exposure_us, camera.gain)
                bench.say(f"{self.frames} dark frames at {exposure_us / 1000:.2f} ms")
                bench.frames(self.frames + 6, lit=False)
        return name

    def read(self, recording: Recording, kept: Kept) -> Reading:
        """Both exposures against each other; the longer's mean is the plane to be taken off."""
        found = [one for one in takes(recording) if not one.lit]
        exposures = sorted({one.exposure_us for one in found})
        if len(exposures) != 2:
            raise Refused("dark frames of two exposures are needed", len(exposures), "measure again")
        other, working = (
            stack(recording, max((one for one in found if one.exposure_us == us), key=lambda one: len(one.numbers)))
            for us in exposures
        )
        figures = dark(working, other, recording.camera.white_level)
        planes = {
            "dark_counts": working.mean.astype(np.float32),
            "dark_variance": working.variance.astype(np.float32),
        }
        return Reading(figures, planes, {"dark.csv": evidence(recording, found), DARK: _histogram(working.mean)})


def _histogram(plane: F64) -> bytes:
    """CSV: how many pixels have which mean count."""
    pixels, edges = np.histogram(plane, BINS, (float(plane.min()), float(plane.max()) + 1e-6))
    rows = "".join(
        f"{middle:.4f},{number}\n" for middle, number in zip((edges[:-1] + edges[1:]) / 2, pixels, strict=True)
    )
    return f"counts,pixels\n{rows}".encode()
