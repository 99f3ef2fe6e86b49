"""Curves, figures, frame table and events as CSV: comma, dot, UTF-8, units in the headers (RFC 4180)."""

import csv
import json
import math
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from device.analysis import Analysis
from shared.inflow.parameters import Estimate
from shared.recording import Recording

_FIGURES = (
    ("peak_relative_percent", "peak (% of the reference's peak)"),
    ("relative_percent_at_reference_peak", "at the reference's peak (% of it)"),
    ("arrival_s", "arrival (s)"),
    ("time_to_peak_s", "arrival to peak (s)"),
    ("half_rise_s", "arrival to half of the peak (s)"),
    ("ingress_slope_percent_per_s", "steepest rise (% of the reference's peak a second)"),
    ("washout_half_life_s", "washout half-life (s)"),
)


def write_frames(path: Path, recording: Recording) -> None:
    """One row a frame, with the number of frames missing before it; empty where exposure, gain or light level are unknown."""
    table = recording.frame_table
    times_s = (table.sensor_time_ns - table.sensor_time_ns[:1]) / 1e9
    headers = ["frame", "sequence", "missing before", "sensor time (ns)", "time since first frame (s)", "exposure (us)"]
    headers += ["gain", "light level (0 to 1)", "lit (1 or 0)"]

    def rows() -> Iterable[Sequence[Any]]:
        for i in range(len(table)):
            missing = max(int(table.sequence[i] - table.sequence[i - 1]) - 1, 0) if i else 0
            yield (
                *(i, int(table.sequence[i]), missing, int(table.sensor_time_ns[i]), f"{times_s[i]:.6f}"),
                *(
                    _known(table.exposure_us[i], ".3f"),
                    _known(table.gain[i], ".6g"),
                    _known(table.light_level[i], ".6g"),
                ),
                int(table.lit[i]),
            )

    write_rows(path, headers, rows())


def write_curves(path: Path, analysis: Analysis) -> None:
    """One row a measured frame: mean signal of each region and the reference, its standard uncertainty, and if it is saturated."""
    names = list(analysis.curves)
    headers = ["time since first frame (s)", "time since injection (s)"]
    for name in names:
        headers += [
            f"{name}: signal (counts/ms)",
            f"{name}: standard uncertainty (counts/ms)",
            f"{name}: saturated (1 or 0)",
        ]

    # a region that had left the picture has no value in that frame
    found = {name: {time_s: i for i, time_s in enumerate(curve.times_s)} for name, curve in analysis.curves.items()}

    def rows() -> Iterable[Sequence[Any]]:
        for time_s in sorted(set().union(*found.values())):
            since = "" if analysis.injected_at_s is None else f"{time_s - analysis.injected_at_s:.6f}"
            row = [f"{time_s:.6f}", since]
            for name in names:
                curve, i = analysis.curves[name], found[name].get(time_s)
                row += (
                    ["", "", ""]
                    if i is None
                    else [f"{curve.signal[i]:.6g}", f"{curve.signal_u[i]:.3g}", str(int(curve.saturated[i]))]
                )
            yield row

    write_rows(path, headers, rows())


def write_figures(path: Path, analysis: Analysis) -> None:
    """One row a region: each figure and its standard uncertainty, empty where it cannot be known."""
    headers = ["region", "where (pixels)", "reference"]
    for _, title in _FIGURES:
        headers += [title, f"standard uncertainty of {title}"]
    headers += ["signal to noise of one frame", "flags"]

    def rows() -> Iterable[Sequence[Any]]:
        for name, figures in analysis.parameters.items():
            row: list[Any] = [name, str(analysis.curves[name].region), str(analysis.reference)]
            for key, _ in _FIGURES:
                estimate: Estimate = getattr(figures, key)
                row += ["" if number is None else f"{number:.6g}" for number in (estimate.value, estimate.u)]
            yield [*row, "" if figures.signal_to_noise is None else figures.signal_to_noise, "; ".join(figures.flags)]

    write_rows(path, headers, rows())


def write_events(path: Path, recording: Recording) -> None:
    """One row an event, with what depends on its kind as JSON."""
    first_ns = int(recording.frame_table.sensor_time_ns[0]) if recording.frames else 0
    rows = (
        (
            event.kind,
            event.time_ns,
            f"{(event.time_ns - first_ns) / 1e9:.6f}",
            json.dumps(dict(event.fields), ensure_ascii=False),
        )
        for event in recording.events
    )
    write_rows(path, ["event", "sensor time (ns)", "time since first frame (s)", "details (JSON)"], rows)


def _known(value: float, form: str) -> str:
    return "" if math.isnan(value) else format(value, form)


def write_rows(path: Path, headers: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    """A CSV file of a line of headers and ``rows``."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow([_safe(header) for header in headers])
        for row in rows:
            writer.writerow([_safe(cell) for cell in row])


def _safe(cell: Any) -> Any:
    """Text that a spreadsheet would take for a formula is marked as text; numbers stay numbers."""
    if isinstance(cell, str) and cell[:1] in ("=", "+", "-", "@", "\t") and not _is_number(cell):
        return f"'{cell}"
    return cell


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
