"""The steps that look at an even target in the ring's light: defects, and the flat field."""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from device.commissioning.aim import aimed_exposure_us
from device.commissioning.bench import Bench
from device.commissioning.cases import case_of
from device.commissioning.step import Reading
from device.commissioning.takes import evidence, longest, stack, takes
from shared.commissioning.calibration_folder import Kept
from shared.commissioning.curve import FLAT, PLACES
from shared.commissioning.defects import defects
from shared.commissioning.flat import flat
from shared.commissioning.stack import Stack
from shared.commissioning.step_name import StepName
from shared.errors import Refused
from shared.protocol.control import Target
from shared.recording import Recording

EVEN_TARGET = """\
  1  Fix the handheld square over an even, dull target that glows in its filter: a dye card. It has to fill the whole picture and
     must not move.
  2  Darken the room.
  3  The ring lights at its highest level, a few seconds in all. Do not stare into it; wear goggles near it, keep others away.
"""
FRAMES = 32
AIM = 0.6
MAP_ROWS, MAP_COLUMNS = 9, 12


def need(kept: Kept, *before: StepName) -> None:
    """Raise Refused where one of the steps ``before`` is missing."""
    for step in before:
        if kept.figures.of(step) is None:
            raise Refused(f"step {step} comes before this one", remedy=f"start with: tapetum calibrate {step}")


def even_frames(bench: Bench, recordings: Path, case: str, frames: int) -> str:
    """A recording of the even target, lit to about 60 % of the range, and unlit at the same exposure."""
    levels = bench.state.light_levels
    with bench.recording(case) as (name,):
        bench.at_level(levels[-1], levels)
        exposure_us = aimed_exposure_us(bench, recordings / f"{name}.zarr", AIM)
        bench.say(f"{frames} frames unlit and lit at {exposure_us / 1000:.2f} ms")
        bench.frames(frames + 6, lit=False)
        bench.frames(frames + 6, lit=True)
        bench.dark()
    return name


def lit_and_unlit(recording: Recording) -> tuple[Stack, Stack]:
    """Stacks of the longest runs at one exposure."""
    found = takes(recording)
    lit = longest(found, lit=True)
    return stack(recording, lit), stack(recording, longest(found, lit=False, exposure_us=lit.exposure_us))


class DefectsStep:
    """Pixels to be replaced by their neighbours."""

    name: StepName = "defects"
    target: Target = "dye card"
    guide = f"Defects: pixels that are hot, noisy, or odd in light.\n\n{EVEN_TARGET}"

    def check(self, kept: Kept) -> None:
        """Hot pixels are told in the dark."""
        need(kept, "dark")

    def walk(self, bench: Bench, recordings: Path) -> str:
        """Lit and unlit frames of the even target."""
        return even_frames(bench, recordings, case_of("defects"), FRAMES // 2)

    def read(self, recording: Recording, kept: Kept) -> Reading:
        """Hot and noisy from the dark step's planes, odd ones from these frames."""
        lit, unlit = lit_and_unlit(recording)
        planes, frames = kept.planes, kept.figures.dark.frames if kept.figures.dark else 0
        mean, variance = (np.asarray(planes[name], np.float64) for name in ("dark_counts", "dark_variance"))
        found, mask = defects(mean, variance, frames, lit, unlit)
        rows = "".join(f"{x},{y}\n" for y, x in np.argwhere(mask))
        files = {"defects.csv": evidence(recording, takes(recording)), PLACES: f"x,y\n{rows}".encode()}
        return Reading(found, {"defects": mask}, files)


class FlatStep:
    """Vignetting times illumination times each pixel's response."""

    name: StepName = "flat"
    target: Target = "dye card"
    guide = f"Flat field: how lens, ring and pixels differ over the picture.\n\n{EVEN_TARGET}"

    def check(self, kept: Kept) -> None:
        """A defect would spoil its own place in the flat for ever."""
        need(kept, "dark", "defects")

    def walk(self, bench: Bench, recordings: Path) -> str:
        """Lit and unlit frames of the even target."""
        return even_frames(bench, recordings, case_of("flat"), FRAMES)

    def read(self, recording: Recording, kept: Kept) -> Reading:
        """Lit less unlit, 1 where the field is brightest."""
        lit, unlit = lit_and_unlit(recording)
        output = recording.calibration.output_at(lit.level)
        mask = np.asarray(kept.planes["defects"])
        found, plane = flat(lit, unlit, mask, recording.calibration.saturation_counts, output)
        return Reading(found, {"flat": plane}, {"flat.csv": evidence(recording, takes(recording)), FLAT: _map(plane)})


def _map(plane: NDArray[np.float32]) -> bytes:
    """CSV: means of the field over the picture's parts, percent of the brightest place, row by row."""
    bands = np.array_split(plane, MAP_ROWS, axis=0)
    parts = [[part.mean(dtype=float) for part in np.array_split(band, MAP_COLUMNS, axis=1)] for band in bands]
    rows = "".join(f"{y},{x},{100 * value:.3f}\n" for (y, x), value in np.ndenumerate(parts))
    return f"row,column,percent\n{rows}".encode()
