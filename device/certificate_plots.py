"""The curves of a certificate, one function a picture; what was not measured says so in its place.

Colours of Okabe and Ito (Color Universal Design, 2008), and a marker or line style of its own for each thing shown.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from shared.commissioning.detection_limit import Sensitivity
from shared.commissioning.gain import Gain
from shared.commissioning.leakage import BLOCKS, Leakage
from shared.commissioning.photon_transfer import FIT_TO_SHARE, LINEAR_SHARES
from shared.commissioning.slanted_edge import Sharpness
from shared.optics.light_output import LightOutput

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_BLUE, _ORANGE, _GREY = "#0072B2", "#D55E00", "0.45"
Rows = Sequence[dict[str, float]]


def dark(axes: "Axes", plane: NDArray[Any] | None) -> None:
    """How many pixels have which dark count."""
    if plane is None:
        _absent(axes, "dark", "dark")
        return
    values = np.asarray(plane, np.float64).reshape(-1)
    low, high = float(values.min()), float(values.max())
    axes.hist(values, bins=np.linspace(low, high + 1e-6, 80).tolist(), color=_BLUE, log=True)
    _dress(axes, "Dark: pixels by their mean count", "counts", "pixels")


def flat(axes: "Axes", plane: NDArray[Any] | None) -> None:
    """The flat field as a picture."""
    if plane is None:
        _absent(axes, "flat field", "flat")
        return
    step = max(1, max(plane.shape) // 400)
    shown = axes.imshow(np.asarray(plane)[::step, ::step], cmap="cividis", aspect="equal", vmin=0)
    axes.figure.colorbar(shown, ax=axes, shrink=0.8).ax.tick_params(labelsize=7)
    axes.set_xticks([])
    axes.set_yticks([])
    axes.set_title("Flat field, 1 where brightest", loc="left", fontsize=9)


def photon_transfer(axes: "Axes", rows: Rows, gain: Gain | None) -> None:
    """Variance against signal, both above dark, with the line whose slope is K."""
    if gain is None or not rows:
        _absent(axes, "photon transfer", "gain")
        return
    signal, variance = _above_dark(rows)
    k, end = gain.counts_per_electron, FIT_TO_SHARE * gain.full_well_electrons * gain.counts_per_electron
    axes.plot(signal, variance, "o", color=_BLUE, markersize=4, label="measured")
    axes.plot([0, end], [0, k * end], color=_ORANGE, label=f"K = {k:.4g} counts/e,\nto 70 % of saturation")
    axes.legend(fontsize=7, frameon=False, loc="upper left")
    _dress(axes, "Photon transfer (EMVA 1288)", "counts above dark", "variance, counts²")


def linearity(axes: "Axes", rows: Rows, gain: Gain | None) -> None:
    """Relative deviation of the signal from a line through the exposures between 5 and 95 % of saturation."""
    if gain is None or not rows:
        _absent(axes, "linearity", "gain")
        return
    exposure_ms = np.array([one["exposure_us"] for one in rows]) / 1000
    signal, _ = _above_dark(rows)
    low, high = (share * gain.full_well_electrons * gain.counts_per_electron for share in LINEAR_SHARES)
    used = (signal >= low) & (signal <= high)
    slope, offset = np.polyfit(exposure_ms[used], signal[used], 1, w=1 / signal[used])
    expected = offset + slope * exposure_ms[used]
    axes.axhline(0, color=_GREY, linewidth=0.8)
    axes.plot(exposure_ms[used], 100 * (signal[used] - expected) / expected, "o-", color=_BLUE, markersize=4)
    _dress(axes, "Linearity error", "exposure, ms", "percent of the line")


def sharpness(axes: "Axes", found: Sharpness | None) -> None:
    """Contrast against frequency, with MTF50 marked."""
    if found is None:
        _absent(axes, "sharpness", "sharpness")
        return
    axes.plot(found.frequency_cycles_per_px, found.contrast, color=_BLUE)
    axes.plot([found.mtf50_cycles_per_px], [0.5], "s", color=_ORANGE, label=f"MTF50 {found.mtf50_cycles_per_px:.3f}")
    axes.set_ylim(0, 1.05)
    axes.set_xlim(0, 0.5)
    axes.legend(fontsize=7, frameon=False)
    _dress(axes, "Sharpness (slanted edge, ISO 12233)", "cycles a pixel", "contrast")


def leakage(axes: "Axes", found: Leakage | None) -> None:
    """Percent of the dye card's signal over the picture, written into its parts."""
    if found is None:
        _absent(axes, "leakage", "leakage")
        return
    parts = np.array(found.map_percent).reshape(BLOCKS)
    top = max(4 * float(parts.max()), 1e-9)  # so that black words stay readable on the darkest part
    axes.imshow(parts, cmap="Greys", vmin=0, vmax=top, aspect="auto")
    for (row, column), value in np.ndenumerate(parts):
        axes.text(column, row, f"{value:.3g}", ha="center", va="center", fontsize=7)
    axes.set_xticks([])
    axes.set_yticks([])
    axes.set_title("Leakage, percent of the dye card's signal there", loc="left", fontsize=9)


def sensitivity(axes: "Axes", found: Sensitivity | None) -> None:
    """Signal against concentration, the line as far as it holds and dotted beyond, and the limit of detection."""
    if found is None:
        _absent(axes, "sensitivity", "sensitivity")
        return
    x = np.array([one.concentration for one in found.wells])
    axes.errorbar(
        x, [one.signal for one in found.wells], [2 * one.u for one in found.wells], fmt="o", color=_BLUE, markersize=4
    )
    highest = max(one.signal for one in found.wells)
    for ends, style in (((0.0, found.linear_to), "-"), ((found.linear_to, float(x.max())), ":")):
        axes.plot(ends, [found.offset + found.slope * one for one in ends], style, color=_ORANGE, linewidth=1)
    axes.set_ylim(top=1.15 * highest)  # where the line leaves the wells far behind, they stay readable
    axes.axvline(
        found.detection_limit, color=_GREY, linestyle=":", label=f"limit of detection {found.detection_limit:.2g}"
    )
    axes.legend(fontsize=7, frameon=False)
    _dress(axes, "Dilution row", found.unit, "signal, counts/ms")


def light_output(axes: "Axes", found: LightOutput | None) -> None:
    """Output against level, and the line of proportion."""
    if found is None:
        _absent(axes, "light output", "light")
        return
    axes.plot([0, 1], [0, 1], color=_GREY, linestyle=":", label="proportional")
    axes.plot(
        [one.level for one in found.levels], [one.output for one in found.levels], "o-", color=_BLUE, markersize=4
    )
    axes.legend(fontsize=7, frameon=False)
    _dress(axes, f"Light output, {found.made_at}", "level", "output beside full level")


def _above_dark(rows: Rows) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    def column(name: str) -> NDArray[np.float64]:
        return np.array([one[name] for one in rows])

    signal = column("mean_counts") - column("dark_mean_counts")
    return signal, column("variance_counts2") - column("dark_variance_counts2")


def _dress(axes: "Axes", title: str, x: str, y: str) -> None:
    axes.set_title(title, loc="left", fontsize=9)
    axes.set_xlabel(x, fontsize=8)
    axes.set_ylabel(y, fontsize=8)
    axes.tick_params(labelsize=7)
    axes.grid(visible=True, color="0.9", linewidth=0.6)
    axes.set_axisbelow(True)
    axes.spines[["top", "right"]].set_visible(False)


def _absent(axes: "Axes", what: str, step: str) -> None:
    axes.axis("off")
    axes.text(0.5, 0.5, f"{what}: not measured\n(tapetum calibrate {step})", ha="center", va="center", fontsize=9)
