"""Figures of an inflow as people read them in a terminal: what each is called, in this order, and a value with its uncertainty."""

import math

from shared.inflow.parameters import Estimate

TITLE, COLUMN = 37, 20
"""Characters that a figure's name and each value take."""
FIGURES = {
    "peak_relative_percent": "peak, %",
    "relative_percent_at_reference_peak": "at the reference's peak, %",
    "relative_percent_at_end": "over the last tenth, %",
    "arrival_s": "arrival, s",
    "tenth_of_peak_s": "through a tenth of its peak, s",
    "peak_s": "peak, s",
    "half_rise_s": "from arrival to half of its peak, s",
    "time_to_peak_s": "from arrival to its peak, s",
    "half_rise_over_time_to_peak": "half rise over time to peak",
    "ingress_slope_percent_per_s": "steepest rise, %/s",
    "mean_ingress_slope_percent_per_s": "mean rise, 10 to 90 %, %/s",
    "washout_half_life_s": "washout half-life, s",
    "area_percent_s": "area, % s",
    "baseline_counts_per_ms": "baseline, counts/ms",
}


def figure_words(figure: Estimate) -> str:
    """Value and uncertainty to the uncertainty's second digit, three decimals at most; a dash where it cannot be known."""
    if figure.value is None or figure.u is None:
        return "-"
    decimals = 2 if figure.u <= 0 else min(max(1 - math.floor(math.log10(figure.u)), 0), 3)
    u = "<0.001" if 0 < figure.u < 0.0005 else f"{figure.u:.{decimals}f}"
    return f"{figure.value:.{decimals}f} ± {u}"
