"""The steps that weigh signal against signal: leakage from a plain card, sensitivity from a dilution row of the dye."""

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from device.commissioning.bench import Bench
from device.commissioning.cases import case_of
from device.commissioning.flat_step import even_frames, lit_and_unlit, need
from device.commissioning.step import Reading
from device.commissioning.takes import Take, evidence, longest, takes
from shared.commissioning.calibration_folder import Kept
from shared.commissioning.detection_limit import HIGHEST_CONCENTRATION, LONGEST_UNIT, Well, sensitivity
from shared.commissioning.leakage import leakage
from shared.commissioning.sheet import WELL_MM, WELLS, well_places_mm
from shared.commissioning.stack import F64
from shared.commissioning.step_name import StepName
from shared.errors import Refused
from shared.protocol.control import Target
from shared.recording import Recording

FRAMES = 32
PLAIN_FRAMES = 24
WELL_PART = 0.6
"""Share of a well's diameter that is read: its rim is left alone."""

_LIGHT = """\
  {number}  The ring lights at its highest level, a few seconds in all. Do not stare into it; goggles near it, keep others away.
"""


class LeakageStep:
    """Excitation that comes through the filter, beside the dye card's signal."""

    name: StepName = "leakage"
    target: Target = "plain card"
    guide = """\
Leakage: how much of the ring's own light comes through the filter.

  1  Take the dye card away and put matt white card without dye in its place, at the same distance. It has to fill the picture.
  2  Darken the room.
""" + _LIGHT.format(number=3)

    def check(self, kept: Kept) -> None:
        """Its measure is the dye card's signal."""
        need(kept, "dark", "defects", "flat")

    def walk(self, bench: Bench, recordings: Path) -> str:
        """Unlit and lit frames at the longest exposure that does not saturate: leakage is to be faint, so no aim is taken."""
        levels = bench.state.light_levels
        with bench.recording(case_of("leakage")) as (name,):
            bench.at_level(levels[-1], levels)
            bench.expose(bench.state.camera.exposure_us)
            bench.say(f"{PLAIN_FRAMES} frames unlit and lit")
            bench.frames(PLAIN_FRAMES + 6, lit=False)
            bench.frames(PLAIN_FRAMES + 6, lit=True)
            bench.dark()
        return name

    def read(self, recording: Recording, kept: Kept) -> Reading:
        """Lit less unlit, over the flat, beside the full signal."""
        lit, unlit = lit_and_unlit(recording)
        output = recording.calibration.output_at(lit.level)
        full = kept.figures.flat.full_signal if kept.figures.flat else 0.0
        flat, good = np.asarray(kept.planes["flat"]), ~np.asarray(kept.planes["defects"])
        found = leakage(lit, unlit, flat, full, good, output)
        return Reading(found, {}, {"leakage.csv": evidence(recording, takes(recording))})


class SensitivityStep:
    """Slope, limit of detection and linear range of eight wells."""

    name: StepName = "sensitivity"
    target: Target = "dilution row"
    guide = f"""\
Sensitivity: the least dye that is seen, and how far signal is proportional to it.

  1  Fill {WELLS} equal wells with your dilutions, one of them without dye, equally deep. Place them on the sheet of tapetum target,
     the upper row from left to right, then the lower one, in the order in which you name their concentrations.
  2  Put the sheet's middle in the picture's middle, at the distance of the scale step. Darken the room.
  3  Gloves and goggles; the label of the dye decides on mixing and on how long a solution keeps.
""" + _LIGHT.format(number=4)

    def __init__(self, concentrations: Sequence[float], unit: str) -> None:
        if len(concentrations) != WELLS:
            raise Refused(
                f"{WELLS} concentrations are needed", len(concentrations), "name one for each well, 0 for water"
            )
        told = ", ".join(f"{one:g}" for one in concentrations)
        if not all(0 <= one <= HIGHEST_CONCENTRATION for one in concentrations):
            raise Refused(f"concentrations are from 0 to {HIGHEST_CONCENTRATION:g}", told, "name them in another unit")
        if len(set(concentrations)) < WELLS or 0 not in concentrations:
            raise Refused("concentrations must differ, and one must be 0", told, "name each well's concentration")
        if not 1 <= len(unit) <= LONGEST_UNIT:
            raise Refused(
                f"the unit of the concentrations has 1 to {LONGEST_UNIT} letters", unit, "for example micromole/L"
            )
        self._concentrations, self._unit = tuple(concentrations), unit

    def check(self, kept: Kept) -> None:
        """Wells are found by the scale."""
        need(kept, "dark", "defects", "flat", "scale")

    def walk(self, bench: Bench, recordings: Path) -> str:
        """Unlit and lit frames, the strongest well at about 60 % of the range."""
        return even_frames(bench, recordings, case_of("sensitivity"), FRAMES)

    def read(self, recording: Recording, kept: Kept) -> Reading:
        """Each well's mean signal frame by frame; the scatter between frames is its uncertainty."""
        found = takes(recording)
        lit = longest(found, lit=True)
        unlit = longest(found, lit=False, exposure_us=lit.exposure_us)
        regions = _wells(recording, kept)
        factor = recording.calibration.counts_to_signal(lit.exposure_us, lit.gain, lit.level)
        flat = np.asarray(kept.planes["flat"], np.float64).reshape(-1)
        on, off = (_means(recording, take, regions, flat) for take in (lit, unlit))
        signals = (on - off.mean(axis=0)) * factor
        count = math.sqrt(len(signals))
        wells = [
            Well(concentration, float(row.mean()), float(row.std(ddof=1)) / count)
            for concentration, row in zip(self._concentrations, signals.T, strict=True)
        ]
        blank = self._concentrations.index(0.0) if 0.0 in self._concentrations else 0
        figures = sensitivity(wells, [float(one) for one in signals[:, blank]], self._unit)
        rows = "".join(f"{one.concentration},{one.signal},{one.u}\n" for one in wells)
        table = f"concentration,signal,u\n{rows}".encode()
        return Reading(figures, {}, {"sensitivity.csv": evidence(recording, found), "wells.csv": table})


def _wells(recording: Recording, kept: Kept) -> list[np.ndarray[tuple[int], np.dtype[np.intp]]]:
    """Flat indices of the good pixels in the middle of each well, by the sheet's places and the scale."""
    assert kept.figures.scale is not None
    scale, camera = kept.figures.scale.mm_per_px, recording.camera
    y, x = np.mgrid[: camera.height, : camera.width] + 0.5
    good = ~np.asarray(kept.planes["defects"])
    found = []
    for x_mm, y_mm in well_places_mm():
        away = np.hypot(x - camera.width / 2 - x_mm / scale, y - camera.height / 2 - y_mm / scale)
        inside = np.flatnonzero((away < WELL_PART * WELL_MM / 2 / scale) & good)
        if len(inside) < 9:
            raise Refused("a well lies outside the picture, or is too small", f"{x_mm:g}, {y_mm:g} mm", "go nearer")
        found.append(inside)
    return found


def _means(
    recording: Recording, take: Take, regions: Sequence[np.ndarray[tuple[int], np.dtype[np.intp]]], flat: F64
) -> F64:
    """(frames, wells): mean counts over the flat."""
    frames = (recording.pixels(number).reshape(-1) for number in take.numbers)
    return np.array([[float((pixels[one] / flat[one]).mean()) for one in regions] for pixels in frames])
