"""What a step's figures were read from, as numbers to be drawn: from figures and the CSV evidence beside them."""

import csv
from collections.abc import Mapping, Sequence
from pathlib import Path

from shared.commissioning.calibration_folder import FOLDER, Figures
from shared.commissioning.leakage import BLOCKS
from shared.commissioning.photon_transfer import FIT_TO_SHARE
from shared.optics.light_output import LightOutput
from shared.protocol.commissioning import Curve, Series, Walk

Rows = Sequence[Mapping[str, float]]
DARK, FLAT, PLACES, TRANSFER = "dark_histogram.csv", "flat_map.csv", "defect_places.csv", "photon_transfer.csv"
_FILES: dict[Walk, str] = {"dark": DARK, "flat": FLAT, "defects": PLACES, "gain": TRANSFER}
MOST_PLACES = 2000


def evidence_rows(data_folder: Path, figures: Figures, step: Walk) -> Rows:
    """Rows of the step's CSV, from the folder of the calibration that took it; empty where there is none."""
    for taken in figures.taken:
        if taken.step == step and step in _FILES:
            path = data_folder / FOLDER / taken.made_at.replace(":", "-") / "evidence" / _FILES[step]
            if path.is_file():
                with path.open(newline="", encoding="utf-8") as rows:
                    return [{key: float(value) for key, value in row.items()} for row in csv.DictReader(rows)]
    return ()


def light_curve(found: LightOutput) -> Curve:
    """Output against level, and the line of proportion."""
    levels = tuple(level for level, _ in found.table)
    outputs = tuple(output for _, output in found.table)
    return Curve("light", levels, (Series("measured", outputs), Series("proportional", levels)))


def step_curve(figures: Figures, step: Walk, rows: Rows) -> Curve:
    """The curve, or the map, behind a step's figures; an empty one where nothing of it was kept."""
    match step:
        case "dark" if rows:
            return Curve(
                step, _column(rows, "counts"), (Series("measured", tuple(row["pixels"] or None for row in rows)),)
            )
        case "defects" if rows:
            places = rows[:MOST_PLACES]
            return Curve(step, _column(places, "x"), (Series("places", _column(places, "y")),))
        case "flat" if rows:
            columns = 1 + int(max(row["column"] for row in rows))
            return Curve(step, _column(rows, "percent"), columns=columns)
        case "gain" if rows:
            return _photon_transfer(figures, rows)
        case _:
            return _by_figures(figures, step)


def _by_figures(figures: Figures, step: Walk) -> Curve:
    if step == "sharpness" and (sharp := figures.sharpness) is not None:
        contrast = (Series("measured", sharp.contrast),)
        return Curve(step, sharp.frequency_cycles_per_px, contrast, mark=sharp.mtf50_cycles_per_px)
    if step == "leakage" and figures.leakage is not None:
        return Curve(step, figures.leakage.map_percent, columns=BLOCKS[1])
    if step == "sensitivity" and (row := figures.sensitivity) is not None:
        wells = sorted(row.wells, key=lambda one: one.concentration)
        x = tuple(one.concentration for one in wells)
        line = tuple(row.offset + row.slope * one for one in x)
        measured = Series("measured", tuple(one.signal for one in wells))
        return Curve(step, x, (measured, Series("line", line)), mark=row.detection_limit)
    return Curve(step)


def _photon_transfer(figures: Figures, rows: Rows) -> Curve:
    """Variance against signal, both above dark, with the line whose slope is K as far as it was fitted (EMVA 1288)."""
    points = sorted(
        (row["mean_counts"] - row["dark_mean_counts"], row["variance_counts2"] - row["dark_variance_counts2"])
        for row in rows
    )
    x = tuple(signal for signal, _ in points)
    measured = Series("measured", tuple(variance for _, variance in points))
    if figures.gain is None:
        return Curve("gain", x, (measured,))
    k = figures.gain.counts_per_electron
    end = FIT_TO_SHARE * figures.gain.full_well_electrons * k
    return Curve("gain", x, (measured, Series("line", tuple(k * one if one <= end else None for one in x))))


def _column(rows: Rows, name: str) -> tuple[float, ...]:
    return tuple(row[name] for row in rows)
