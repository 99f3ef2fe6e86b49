"""The steps that look at printed targets: scale and distortion from a grid of dots, sharpness from a slanted edge."""

from pathlib import Path

import numpy as np

from device.commissioning.aim import aimed_exposure_us
from device.commissioning.bench import Bench
from device.commissioning.cases import case_of
from device.commissioning.flat_step import need
from device.commissioning.step import Reading
from device.commissioning.takes import evidence, longest, stack, takes
from shared.commissioning.calibration_folder import Kept
from shared.commissioning.grid_scale import grid_scale
from shared.commissioning.sheet import PITCH_MM
from shared.commissioning.slanted_edge import sharpness
from shared.commissioning.stack import F64
from shared.commissioning.step_name import StepName
from shared.protocol.control import Target
from shared.recording import Recording
from shared.signal import DefectSources

FRAMES = 16
AIM = 0.6
EDGE_PART = 0.4
"""Share of the picture's height and width about its middle in which the edge is looked at."""

_SHEET = """\
  1  Print the sheets of tapetum target with a laser printer on stiff, matt paper, not scaled; check the printed ruler. Toner is
     dark in the near infrared; the ink of most inkjet printers is not seen there (common practice, no source).
  2  {what}
  3  Light the sheet evenly: the ring's own light must pass the filter a little, or let daylight or a halogen lamp help.
  4  The ring lights at its highest level, a few seconds in all. Do not stare into it; wear goggles near it, keep others away.
"""


def lit_frames(bench: Bench, recordings: Path, case: str) -> str:
    """A recording of what lies there, lit to about 60 % of the range."""
    levels = bench.state.light_levels
    with bench.recording(case) as (name,):
        bench.at_level(levels[-1], levels)
        exposure_us = aimed_exposure_us(bench, recordings / f"{name}.zarr", AIM)
        bench.say(f"{FRAMES} frames lit at {exposure_us / 1000:.2f} ms")
        bench.frames(FRAMES + 6, lit=True)
        bench.dark()
    return name


def seen(recording: Recording, kept: Kept) -> F64:
    """Mean of the lit frames above the dark, defects replaced; not flat-fielded, so that sharpness stays the lens's own."""
    lit = stack(recording, longest(takes(recording), lit=True))
    plane = lit.mean - np.asarray(kept.planes["dark_counts"], np.float64)
    DefectSources.around(np.asarray(kept.planes["defects"])).replace(plane)
    return np.asarray(plane, np.float64)


class ScaleStep:
    """Millimetres a pixel at a distance that the person says."""

    name: StepName = "scale"
    target: Target = "dot grid"
    guide = "Scale: millimetres a pixel, and how the lens bends straight lines.\n\n" + _SHEET.format(
        what="Lay the dot grid flat, its middle in the picture's, square to the handheld, at your working distance."
    )

    def __init__(self, distance_mm: float, pitch_mm: float = PITCH_MM) -> None:
        self._distance_mm, self._pitch_mm = distance_mm, pitch_mm

    def check(self, kept: Kept) -> None:
        """Hot pixels would be taken for dots' opposites."""
        need(kept, "dark", "defects")

    def walk(self, bench: Bench, recordings: Path) -> str:
        """Lit frames of the grid."""
        return lit_frames(bench, recordings, case_of("scale"))

    def read(self, recording: Recording, kept: Kept) -> Reading:
        """Dots found, numbered and fitted."""
        found = grid_scale(seen(recording, kept), self._pitch_mm, self._distance_mm)
        return Reading(found, {}, {"scale.csv": evidence(recording, takes(recording))})


class SharpnessStep:
    """Modulation transfer in the middle of the picture."""

    name: StepName = "sharpness"
    target: Target = "slanted edge"
    guide = "Sharpness: how much contrast fine detail keeps.\n\n" + _SHEET.format(
        what="Lay the slanted edge flat, its middle in the picture's, in focus at your working distance."
    )

    def check(self, kept: Kept) -> None:
        """A defect beside the edge would count as sharpness."""
        need(kept, "dark", "defects")

    def walk(self, bench: Bench, recordings: Path) -> str:
        """Lit frames of the edge."""
        return lit_frames(bench, recordings, case_of("sharpness"))

    def read(self, recording: Recording, kept: Kept) -> Reading:
        """The edge in the middle part of the picture."""
        plane = seen(recording, kept)
        height, width = plane.shape
        top, left = (round((1 - EDGE_PART) / 2 * size) for size in (height, width))
        scale = kept.figures.scale
        found = sharpness(plane[top : height - top, left : width - left], scale.mm_per_px if scale else None)
        rows = "".join(f"{f},{c}\n" for f, c in zip(found.frequency_cycles_per_px, found.contrast, strict=True))
        curve = f"cycles_per_px,contrast\n{rows}".encode()
        return Reading(found, {}, {"sharpness.csv": evidence(recording, takes(recording)), "transfer.csv": curve})
