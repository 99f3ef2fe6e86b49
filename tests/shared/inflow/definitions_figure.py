"""``python -m tests.shared.inflow.definitions_figure``: draw what DEFINITIONS.md defines, as read from simulated noisy curves."""

from pathlib import Path

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from shared.inflow.curves import RegionCurve
from shared.inflow.reading import Reading, read_curve
from tests.shared.inflow.simulated import REFERENCE, SKIN, Run

TARGET = Path(__file__).parents[3] / "shared" / "inflow" / "definitions.svg"
RUN = Run(SKIN, signal_to_noise=25, frames_per_s=10, seconds=110)
DARK, REGION, GREY = "#1b1b1b", "#b35900", "#8a8a8a"


def draw_points(axes: Axes, curve: RegionCurve, reading: Reading, percent: float, colour: str, label: str) -> None:
    """Every fourth frame as a dot, the smooth curve as a line, both above the baseline and in percent."""
    assert reading.baseline is not None
    assert reading.curve is not None
    above = (curve.signal - reading.baseline.value) * percent
    axes.plot(curve.times_s[::4], above[::4], ".", color=colour, markersize=1.6, alpha=0.35)
    fine = np.linspace(curve.times_s[0], curve.times_s[-1], 400)
    smooth = [reading.curve.covering(t).at(t).value.value - reading.baseline.value for t in fine]
    axes.plot(fine, np.array(smooth) * percent, color=colour, linewidth=1.5, label=label)


def draw_landmarks(axes: Axes, reading: Reading, reference: Reading, percent: float) -> None:
    """The region's landmarks, each where it was found."""
    rise = reading.rise
    for known in (
        reading.arrival_s,
        reading.top_s,
        reading.peak,
        rise.tenth_s,
        rise.half_s,
        rise.slope,
        reference.top_s,
    ):
        assert known is not None
    arrival, top, half = reading.arrival_s.value, reading.top_s.value, rise.half_s.value
    peak = reading.peak.value * percent
    for t, height, text, below in (
        (arrival, 0.0, "arrival", -9),
        (rise.tenth_s.value, 0.1 * peak, "tenth of its peak", -9),
        (half, 0.5 * peak, "half of its peak", -9),
        (top, peak, "peak", 6),
    ):
        axes.plot(t, height, "o", color=DARK, markersize=4)
        axes.annotate(text, (t, height), (7, below), textcoords="offset points", fontsize=8, color=DARK)
    for row, (end, text) in enumerate(((half, "half rise"), (top, "time to peak"))):
        y = -9.0 - 8.0 * row
        axes.annotate("", (end, y), (arrival, y), arrowprops={"arrowstyle": "<->", "color": DARK, "linewidth": 0.8})
        axes.text(end + 1, y, text, fontsize=8, va="center", color=DARK)
    at_top = (
        reading.curve.covering(reference.top_s.value).at(reference.top_s.value).value.value - reading.baseline.value
    )
    axes.axvline(reference.top_s.value, color=GREY, linewidth=0.7, linestyle=":")
    axes.plot(reference.top_s.value, at_top * percent, "s", color=DARK, markersize=4)
    axes.annotate(
        "at the reference's peak",
        (reference.top_s.value, at_top * percent),
        (-118, 6),
        textcoords="offset points",
        fontsize=8,
    )
    steep = half - 0.03 * (top - arrival)
    tangent = np.array([steep - 4, steep + 6])
    height = reading.curve.at(steep).value.value - reading.baseline.value
    axes.plot(
        tangent, (height + rise.slope.value * (tangent - steep)) * percent, color=DARK, linewidth=0.8, linestyle="--"
    )
    axes.annotate("steepest rise", (tangent[1], 47), (2, 2), textcoords="offset points", fontsize=8)


def draw_fit_and_tail(axes: Axes, reading: Reading, percent: float) -> None:
    """Fitted first pass with its cut-off, and the washout's exponential."""
    fit = reading.first_pass
    assert fit is not None
    assert reading.baseline is not None
    fine = np.linspace(0.0, RUN.seconds, 400)
    axes.plot(fine, fit.pass_.at(fine) * percent, color=GREY, linewidth=1.0, linestyle="-.", label="first pass, fitted")
    axes.plot([fit.cut_off_s] * 2, [24, 44], color=GREY, linewidth=1.0)
    axes.annotate("cut-off", (fit.cut_off_s, 44), (2, 2), textcoords="offset points", fontsize=8, color=DARK)
    if reading.half_life_s is not None and reading.top_s is not None and reading.curve is not None:
        late = np.linspace(reading.top_s.value + 0.5 * (RUN.seconds - reading.top_s.value), RUN.seconds, 50)
        middle = float(late.mean())
        height = reading.curve.covering(middle).at(middle).value.value - reading.baseline.value
        axes.plot(
            late, height * percent * np.exp2(-(late - middle) / reading.half_life_s.value), color=DARK, linewidth=2.4
        )
        axes.annotate("washout half-life", (late[25], 2), fontsize=8, color=DARK)


def main() -> None:
    """Write the figure."""
    mpl.rcParams |= {"svg.hashsalt": "definitions", "svg.fonttype": "none", "font.family": "sans-serif"}
    rng = np.random.default_rng(4)
    base, tip = RUN.draw(REFERENCE, 60.0, rng, "base"), RUN.draw(SKIN, RUN.signal_to_noise, rng)
    reference, reading = read_curve(base, None), read_curve(tip, None)
    assert reference.peak is not None
    percent = 100.0 / reference.peak.value
    figure = Figure(figsize=(9.0, 5.2), layout="constrained")
    axes = figure.add_subplot()
    draw_points(axes, base, reference, percent, GREY, "reference")
    draw_points(axes, tip, reading, percent, REGION, "region")
    draw_fit_and_tail(axes, reading, percent)
    draw_landmarks(axes, reading, reference, percent)
    axes.axhline(0.0, color=GREY, linewidth=0.6)
    axes.text(0.5, 1.5, "baseline", fontsize=8, color=DARK)
    axes.set(xlabel="time since the first frame, s", ylabel="above its baseline, % of the reference's peak")
    axes.set_xlim(0, RUN.seconds)
    axes.set_ylim(-22, 108)
    axes.legend(frameon=False, fontsize=8, loc="upper right")
    axes.spines[["top", "right"]].set_visible(False)
    figure.savefig(TARGET, metadata={"Date": None})


if __name__ == "__main__":
    main()
