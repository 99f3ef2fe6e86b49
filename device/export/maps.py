"""Maps of inflow as files: a picture with its legend, values and uncertainties as 32-bit TIFF, and a summary as CSV."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import tifffile

from device.export.delivery import Delivery
from device.export.tables import write_rows
from device.recorded_maps import maps_of
from shared.frame import Frame
from shared.inflow.map_pictures import drawn_map, grey_beneath
from shared.inflow.map_values import BASELINE, CLASS_WORDS, PARAMETERS, InflowMaps
from shared.inflow.maps_store import has_maps, read_maps
from shared.papers.words import Words
from shared.recording import Recording

_QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)


def write_map_files(
    filling: Delivery, recording: Recording, words: Words, on_progress: Callable[[float], None]
) -> tuple[list[str], str]:
    """Write the maps kept with the recording, made now where there are none; returns names, and a note on how they were made.

    Raises Refused where the recording holds too little for maps.
    """
    kept = has_maps(recording.path)
    maps = read_maps(recording.path) if kept else maps_of(recording, on_progress=on_progress)
    grey = grey_beneath(_lit_frame(recording), recording.calibration)
    names = []
    for parameter in PARAMETERS:
        title = parameter.name.replace("_", "-")
        values, u, _ = maps.of(parameter.name)
        drawn_map(maps, parameter, grey, words).save(filling.make(f"map-{title}.png"), "PNG")
        _write_tiff(filling.make(f"map-{title}.tif"), values, u, parameter.name, recording)
        names += [f"map-{title}.png", f"map-{title}.tif"]
    _write_summary(filling.make("maps.csv"), maps)
    moved = "" if maps.about.motion_followed else ", the hand's motion not followed"
    how = "kept with the recording" if kept else "made from the recording"
    return [*names, "maps.csv"], "; ".join((f"maps: {how}{moved}", *maps.about.notes_on(BASELINE)))


def _lit_frame(recording: Recording) -> Frame:
    """The last frame with light: where the dye is, edges show."""
    table = recording.frame_table
    lit = np.flatnonzero(table.lit & (table.light_level > 0) & ~recording.half_lit)
    return recording.frame(int(lit[-1]) if lit.size else recording.frames - 1)


def _write_tiff(path: Path, values: np.ndarray, u: np.ndarray, name: str, recording: Recording) -> None:
    """Two pages of float32, values and standard uncertainties, nan where not measured, in the form ImageJ reads."""
    scale = recording.camera.mm_per_px
    resolution = None if scale is None else (1 / (2 * scale), 1 / (2 * scale))
    words = {"axes": "CYX", "Labels": [name, f"standard uncertainty of {name}"]} | ({"unit": "mm"} if scale else {})
    tifffile.imwrite(path, np.stack([values, u]), imagej=True, metadata=words, resolution=resolution)


def _write_summary(path: Path, maps: InflowMaps) -> None:
    headers = ["map", "unit", *(f"{100 * q:g} % of bins are below" for q in _QUANTILES), "median standard uncertainty"]
    headers += [f"share of bins: {words}" for words in CLASS_WORDS]

    def cells(name: str) -> list[str]:
        values, u, classes = maps.of(name)
        known = np.isfinite(values)
        texts = [f"{np.quantile(values[known], q):.6g}" if known.any() else "" for q in _QUANTILES]
        shares = [f"{np.mean(classes == one):.6f}" for one in range(len(CLASS_WORDS))]
        return [*texts, f"{np.median(u[known]):.3g}" if known.any() else "", *shares]

    write_rows(path, headers, ((one.name, one.unit, *cells(one.name)) for one in PARAMETERS))
