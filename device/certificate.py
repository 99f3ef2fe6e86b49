"""The certificate of a calibration: every figure beside its limit, the curves behind them, and the cautions, as one PDF."""

import csv
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING

from device import certificate_plots as plots
from device.pdf_file import write_pdf
from shared.commissioning.calibration_folder import FOLDER, Kept
from shared.commissioning.step_name import StepName
from shared.commissioning.verdict import Verdict, passed, verdicts
from shared.errors import Refused
from shared.optics.light_output import LightOutput

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_A4_INCH = (8.27, 11.69)
_ROWS_A_PAGE = 40
CAUTIONS = (
    "This is not a certified medical device, and this is no accredited calibration: it is what the device measured of itself, on",
    "the targets that were put before it. It shows relative intensity, never viability. The ring's light can hurt eyes: a",
    "competent person has to judge its exposure. The limits are our own choice. Local rules and licensed practice decide.",
)


@dataclass(frozen=True)
class Subject:
    """What is certified: a calibration, the folder of its data, the light output in force, None where none was measured, and how
    many levels the ring has: one needs no light output.
    """

    kept: Kept
    data_folder: Path
    light: LightOutput | None
    levels: int

    @property
    def white_level(self) -> int:
        """Largest count."""
        return (1 << self.kept.figures.bit_depth) - 1

    @property
    def passed(self) -> bool:
        """Whether everything that results lean on was measured, the ring's levels too, and no figure failed."""
        return (self.light is not None or self.levels == 1) and passed(self.kept.figures, self.white_level)

    @property
    def light_words(self) -> str:
        """What is known of the light output."""
        if self.light is not None:
            return f"measured {self.light.made_at}"
        return "not needed: the ring has one level" if self.levels == 1 else "NOT measured: assumed linear"

    def evidence(self, step: StepName, file: str) -> list[dict[str, float]]:
        """Rows of a CSV of the step, from the folder of the calibration that took it; empty where it is no longer there."""
        for taken in self.kept.figures.taken:
            path = self.data_folder / FOLDER / taken.made_at.replace(":", "-") / "evidence" / file
            if taken.step == step and path.is_file():
                with path.open(newline="", encoding="utf-8") as rows:
                    return [{key: float(value) for key, value in row.items()} for row in csv.DictReader(rows)]
        return []


def write(subject: Subject, path: Path) -> bool:
    """Write the certificate; returns whether all passed. Raises Refused for another ending than .pdf, or what cannot be written."""
    if path.suffix.lower() != ".pdf":
        raise Refused("the certificate is a PDF", str(path), "let the name end in .pdf")
    write_pdf(path, {"Title": f"tapetum calibration {subject.kept.name}"}, pages(subject))
    return subject.passed


def pages(subject: Subject) -> list["Figure"]:
    """The table, then the curves."""
    return [*tables(subject), curves(subject)]


def tables(subject: Subject) -> list["Figure"]:
    """Figures beside limits, on as many pages as it takes."""
    rows = _rows(subject)
    parts = [rows[start : start + _ROWS_A_PAGE] for start in range(0, len(rows), _ROWS_A_PAGE)] or [[]]
    return [_table(subject, part, f"{number} of {len(parts)}") for number, part in enumerate(parts, start=1)]


def _rows(subject: Subject) -> list[Verdict]:
    return list(verdicts(subject.kept.figures, subject.white_level))


def _table(subject: Subject, rows: list[Verdict], which: str) -> "Figure":
    from matplotlib.figure import Figure

    figure = Figure(figsize=_A4_INCH)
    figures = subject.kept.figures
    good = subject.passed
    figure.text(0.07, 0.955, "tapetum  calibration", fontsize=16, weight="bold")
    figure.text(0.93, 0.955, "PASSED" if good else "NOT PASSED", fontsize=16, weight="bold", ha="right")
    head = [
        f"sensor {figures.sensor}, {figures.width} x {figures.height} pixels, {figures.bit_depth} bit",
        f"made {figures.made_at}{f', again from {figures.again_from}' if figures.again_from else ''}; table {which}",
        f"light output {subject.light_words}",
        f"software tapetum {version('tapetum')}",
    ]
    if figures.missing:
        head.append(f"steps not taken, so that counts are partly corrected by assumption: {', '.join(figures.missing)}")
    figure.text(0.07, 0.94, "\n".join(head), fontsize=9, va="top")
    y, step = 0.855, ""
    for words, x in (("figure", 0.09), ("value ± standard uncertainty", 0.37), ("limit", 0.71), ("", 0.88)):
        figure.text(x, y, words, fontsize=8, color="0.35")
    for row in rows:
        y -= 0.0175
        if row.step != step:
            y -= 0.006
            step = row.step
            taken = next((one.made_at for one in figures.taken if one.step == step), "")
            figure.text(0.07, y, step, fontsize=9.5, weight="bold")
            figure.text(0.93, y, taken, fontsize=8, color="0.35", ha="right")
            y -= 0.0165
        _row(figure, row, y)
    figure.text(0.07, 0.03, "\n".join(CAUTIONS), fontsize=6.8, va="bottom")
    return figure


def _row(figure: "Figure", row: Verdict, y: float) -> None:
    figure.text(0.09, y, row.figure, fontsize=9)
    figure.text(0.37, y, row.words, fontsize=9)
    figure.text(0.71, y, row.limit, fontsize=9)
    word = {True: "pass", False: "FAIL", None: "stated"}[row.passed]
    figure.text(0.88, y, word, fontsize=9, weight="bold" if row.passed is False else "normal")


def curves(subject: Subject) -> "Figure":
    """What the figures were read from."""
    from matplotlib.figure import Figure
    from matplotlib.layout_engine import ConstrainedLayoutEngine

    figure = Figure(figsize=_A4_INCH, layout=ConstrainedLayoutEngine(rect=(0.05, 0.03, 0.9, 0.9)))
    axes = figure.subplots(4, 2)
    figures, planes = subject.kept.figures, subject.kept.planes
    figure.text(0.07, 0.955, f"sensor {figures.sensor}, calibration made {figures.made_at}", fontsize=9)
    plots.dark(axes[0, 0], planes.get("dark_counts"))
    plots.flat(axes[0, 1], planes.get("flat"))
    curve = subject.evidence("gain", "photon_transfer.csv")
    plots.photon_transfer(axes[1, 0], curve, figures.gain)
    plots.linearity(axes[1, 1], curve, figures.gain)
    plots.sharpness(axes[2, 0], figures.sharpness)
    plots.leakage(axes[2, 1], figures.leakage)
    plots.sensitivity(axes[3, 0], figures.sensitivity)
    plots.light_output(axes[3, 1], subject.light)
    return figure
