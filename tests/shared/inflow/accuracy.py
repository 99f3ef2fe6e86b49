"""``python -m tests.shared.inflow.accuracy [REPEATS]``: write how well inflow figures agree with the truth to ``accuracy.md``.

Two thousand repeats take about half an hour of one core that has nothing else to do. The fast tier runs a small part of it
(test_coverage.py).
"""

import sys
import time
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from scipy.stats import binom

from shared.inflow.gamma_variate import GammaVariate
from tests.shared.inflow.simulated import QUICK, SKIN, SLOW, Agreement, Run, agreements

RESULTS = Path(__file__).with_suffix(".md")
REPEATS = 2000
LEAST_GIVEN = 50
GOALS = {
    "peak_relative_percent": 2.0,
    "relative_percent_at_reference_peak": 2.0,
    "arrival_s": 0.2,
    "tenth_of_peak_s": 0.2,
    "peak_s": 0.2,
}
RELATIVE_GOALS = {
    "time_to_peak_s": 0.03,
    "half_rise_s": 0.03,
    "washout_half_life_s": 0.03,
    "ingress_slope_percent_per_s": 0.05,
    "mean_ingress_slope_percent_per_s": 0.05,
}
RUNS = {
    **{f"skin, signal to noise {snr}": Run(SKIN, signal_to_noise=snr) for snr in (5, 10, 20, 50, 60, 100)},
    **{f"quick, signal to noise {snr}": Run(QUICK, signal_to_noise=snr) for snr in (5, 20, 60, 100)},
    **{f"slow, signal to noise {snr}": Run(SLOW, signal_to_noise=snr) for snr in (20, 60)},
    "skin at 5 frames a second": Run(SKIN, frames_per_s=5),
    "skin at 60 frames a second": Run(SKIN, frames_per_s=60),
    "skin, 2 s missing from the rise": Run(SKIN, gap_s=(17.0, 19.0)),
    "skin, light halved in the rise": Run(SKIN, dimmed_at_s=20.0),
}
TISSUES = {"skin": SKIN, "quick": QUICK, "slow": SLOW}
READINGS = {
    "of one pixel in one frame (EMVA 1288), in a region of 3 x 3": 60,
    "of a region's mean in one frame": 20,
}
"""What "a signal to noise of 20" may mean at 30 frames a second, and the one that tables go by."""
HEAD = """# How well inflow figures agree with the truth

Measured {date} by `python -m tests.shared.inflow.accuracy`, at least {repeats} fresh recordings a table.

Curves are drawn as a camera draws them (Poisson electrons, read noise, rounding; `simulated.py`) from tissues whose figures are
known in closed form: *skin* peaks 15 s after the dye arrives, *quick* after 4.5 s, *slow* after 20 s, each with recirculating dye,
seen 30 times a second for 120 s.

**Signal to noise** in the tables' titles is the peak above the background over one standard uncertainty of one frame of the
region's curve there (`signal_to_noise` of `tapetum analyse`); the reference, another tissue with noise of its own, has twice that.

*rms* is the root mean square difference from the truth, *bias* its mean; *within* the share of the recordings in which the figure
was within its goal; *covered* the share of the 95 % intervals (value ± 1.96 u) that hold the truth, of those given; *given* how
often the figure was not null. With {repeats} repeats the share covered is known to ± {known:.1f} % (two standard deviations of a
binomial). *Goal* is for a signal to noise of 20 or more, and is met by the rms: levels 2 points, moments 0.2 s, times from arrival
and half-lives 3 %, slopes 5 %. *Bound* is the Cramer-Rao bound: no unbiased estimator that must find baseline, peak, onset, alpha
and rise from the points up to the cut-off can have a smaller rms error.

Of {shares} shares {within} lie between 93 and 97 %; {strays} lie farther outside than chance puts one in a thousand.

## What a signal to noise of 20 means, and which goals are met

EMVA 1288 calls by that name a pixel's signal to noise in one frame. A region's curve is the mean of its pixels: of 3 x 3 such
pixels it has 60, of 5 x 5 it has 100. Taken of the curve itself, as in the tables' titles, 20 mean nine times fewer photons in
3 x 3. A goal that is met in the first line alone is met in that reading alone.

| signal to noise of 20 | the curve's | goals missed, with rms and bound |
|---|---|---|
{readings}

Where a goal is missed, noise is what misses it (compare rms with bias, and with the bound); the uncertainty beside the value
says so. For the arrival, and what counts from it, the goal lies below the bound at 20 of the curve itself: no unbiased estimator
can meet it, ours is as good as the bound, and 0.2 s can be had from {enough} on. `tenth_of_peak_s` keeps
it at 10. Fewer frames are like more noise: 20 at 5 frames a second are like 8 at 30. Why the arrival is still the onset:
`shared/inflow/DECISION-arrival.md`.
"""


def bounds(run: Run) -> dict[str, float]:
    """Cramer-Rao bounds from the points up to the cut-off, by numerical derivatives of the closed form.

    Least rms error of any unbiased estimator that must find baseline, peak, onset, alpha and rise; by figure, in seconds.
    """
    pass_ = run.tissue.first_pass
    times = run.times_s[run.times_s <= pass_.crossing_s(0.9, falling=True)]
    sigma = run.sigma(times)

    def clean(p: np.ndarray) -> np.ndarray:
        x = np.maximum((times - p[2]) / p[4], 1e-300)
        return np.asarray(p[0] + p[1] * np.exp(p[3] * (np.log(x) + 1 - x))) / sigma

    def moments(p: np.ndarray) -> np.ndarray:
        shape = GammaVariate(p[2], p[3], p[4], p[1])
        return np.array([p[2], shape.crossing_s(0.1), shape.peak_s, shape.crossing_s(0.5) - p[2], p[4]])

    at = np.array([0.06, pass_.peak, pass_.onset_s, pass_.alpha, pass_.rise_s])
    steps = np.diag(1e-5 * at)
    by_point, by_moment = (
        np.column_stack([(of(at + step) - of(at - step)) / (2 * step.sum()) for step in steps])
        for of in (clean, moments)
    )
    covariance = by_moment @ np.linalg.inv(by_point.T @ by_point) @ by_moment.T
    names = ("arrival_s", "tenth_of_peak_s", "peak_s", "half_rise_s", "time_to_peak_s")
    return dict(zip(names, np.sqrt(np.diag(covariance)).tolist(), strict=True))


def goal_of(name: str, truth: float) -> float | None:
    """Largest rms error asked for at a signal to noise of 20, in the figure's unit."""
    return GOALS.get(name) or (RELATIVE_GOALS[name] * truth if name in RELATIVE_GOALS else None)


def can_be_chance(one: Agreement, odds: float = 1e-3) -> bool:
    """Whether a true coverage somewhere between 93 and 97 % gives that many covered intervals at such odds, on either side."""
    fewest, most = binom.ppf(odds / 2, one.given, 0.93), binom.ppf(1 - odds / 2, one.given, 0.97)
    return bool(fewest <= one.covered <= most)


def verdict(goal: float | None, one: Agreement, bound: float | None, signal_to_noise: float) -> str:
    """The goal, and whether it was met; where no estimator could have met it, that is said."""
    if goal is None:
        return ""
    said = f"{goal:.3g}"
    if not one.given or signal_to_noise < 20:
        return said
    if one.rms <= goal:
        return f"{said} met"
    return f"{said} **missed**" + (", below the bound" if bound is not None and goal < bound else "")


def table(run: Run, found: dict[str, Agreement]) -> Iterable[str]:
    """Markdown rows of one run."""
    least = bounds(run)
    yield "| figure | truth | bias | rms | rms % | bound | goal | within % | covered % | given % |"
    yield "|---|---|---|---|---|---|---|---|---|---|"
    for name, one in found.items():
        bound = least.get(name)
        numbers = (
            f"{one.truth:.4g} | {one.bias:+.2g} | {one.rms:.3g} | {100 * one.rms / one.truth:.2f}"
            if one.given
            else "- | - | - | -"
        )
        limit = "" if bound is None else f"{bound:.3g}"
        goal = goal_of(name, one.truth)
        said = verdict(goal, one, bound, run.signal_to_noise)
        within = "" if goal is None or not one.given else f"{100 * one.share_within(goal):.0f}"
        covered = f"{100 * one.coverage:.1f}" if one.given >= LEAST_GIVEN else "-"
        yield f"| {name} | {numbers} | {limit} | {said} | {within} | {covered} | {100 * one.given / one.repeats:.0f} |"


def readings(found: dict[str, dict[str, Agreement]]) -> Iterable[str]:
    """Markdown rows: which goals are missed in each reading of a signal to noise of 20."""
    for words, snr in READINGS.items():
        missed = []
        for tissue in TISSUES:
            title = f"{tissue}, signal to noise {snr}"
            least = bounds(RUNS[title])
            for name, one in found[title].items():
                goal = goal_of(name, one.truth)
                if goal is not None and one.given and one.rms > goal:
                    bound = f", bound {least[name]:.3g}" if name in least else ""
                    missed.append(f"{tissue} `{name}`: {one.rms:.3g} of {goal:.3g}{bound}")
        yield f"| {words} | {snr} | {'; '.join(missed) or 'none'} |"


def written(found: dict[str, dict[str, Agreement]]) -> str:
    """The whole page, from what was found in each of ``RUNS``."""
    lines: list[str] = []
    fewest = min(one.repeats for each in found.values() for one in each.values())
    for title, run in RUNS.items():
        repeats = next(iter(found[title].values())).repeats
        lines += ["", f"## {title[0].upper()}{title[1:]} ({repeats} recordings)", "", *table(run, found[title])]
    given = [one for each in found.values() for one in each.values() if one.given >= LEAST_GIVEN]
    within = [one for one in given if 0.93 <= one.coverage <= 0.97]
    strays = [one for one in given if not can_be_chance(one)]
    enough = {name: 20.0 * bounds(Run(tissue))["arrival_s"] / 0.2 for name, tissue in TISSUES.items()}
    head = HEAD.format(
        date=datetime.now(UTC).date().isoformat(),
        repeats=fewest,
        known=200 * (0.95 * 0.05 / fewest) ** 0.5,
        shares=len(given),
        within=len(within),
        strays=len(strays) or "none",
        readings="\n".join(readings(found)),
        enough=", ".join(f"{least:.0f} ({name})" for name, least in enough.items()),
    )
    return head + "\n".join(lines) + "\n"


def main() -> None:
    """Run everything and write the tables."""
    repeats = int(sys.argv[1]) if len(sys.argv) > 1 else REPEATS
    began = time.monotonic()
    found: dict[str, dict[str, Agreement]] = {}
    for seed, (title, run) in enumerate(RUNS.items()):
        found[title] = agreements(run, repeats, seed)
        sys.stderr.write(f"{title}: {time.monotonic() - began:.0f} s\n")
    RESULTS.write_text(written(found))


if __name__ == "__main__":
    main()
