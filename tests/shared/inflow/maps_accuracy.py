"""``python -m tests.shared.inflow.maps_accuracy [RUNS]``: write how well figures of maps agree with truth to ``maps_accuracy.md``.

A hundred runs of either length take about two minutes of one core. The fast tier runs small parts of it (test_maps.py,
test_maps_onset.py).
"""

import sys
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from shared.inflow.map_values import NAMES, InflowMaps
from shared.inflow.maps import inflow_maps
from shared.inflow.maps_slots import MapGatherer
from shared.region import Region
from tests.shared.inflow.simulated import Agreement
from tests.shared.inflow.simulated_frames import Patch, calibration, frames

RESULTS = Path(__file__).with_suffix(".md")
RUNS = 100
LENGTHS_S, FRAMES_PER_S, INJECTED_S = (120.0, 180.0), 10.0, 10.0
HEIGHT, SIDE = 16, 24
"""Pixels: of the picture, and of a tissue's width in it."""
TISSUES = {
    "bright": Patch(30.0),
    "skin": Patch(12.0, onset_s=24.0),
    "quick": Patch(12.0, onset_s=22.0, rise_s=4.5),
    "slow": Patch(12.0, onset_s=26.0, alpha=2.5, rise_s=20.0),
    "weak": Patch(5.0, onset_s=30.0, alpha=3.4, rise_s=30.0),
}
LEAST_GIVEN = 0.02
HEAD = """# How well figures of maps agree with the truth

Measured {date} by `python -m tests.shared.inflow.maps_accuracy`: {runs} runs of either length, 10 frames a second, 96 bins of each
tissue in a run, each bin with noise of its own. *Bright* peaks at 30 counts/ms and is the reference (all 96 bins of it), *skin*,
*quick* and *slow* reach 40 % of it, *weak* 17 %; they peak 15, 15, 4.5, 20 and 30 s after the dye arrives, on a half-life of 100 s.
In each run every tissue's arrival is another, by up to a second either way, so that slots begin anywhere in a rise.

*covered* is the share of the 95 % intervals (value ± 1.96 u) that hold the truth, of those given, with its standard error from run
to run: what an unsure reference does is alike in all bins of a run. *u* is the root mean square of the standard uncertainties.

Of {shares} shares {within} lie between 93 and 97 %{outside}.
"""


def truths(patch: Patch, reference: Patch, seconds: float) -> list[float]:
    """Figures of the noise-free curve, in the order of ``NAMES``."""
    times = np.arange(0.0, seconds, 0.005)
    curve, against = patch.above(times), reference.above(times)
    top, scale = int(curve.argmax()), 100.0 / against.max()
    half_s = float(times[int(np.argmax(curve >= 0.5 * curve[top]))])
    return [
        patch.left_over,
        scale * curve[top],
        scale * curve[int(against.argmax())],
        patch.onset_s - INJECTED_S,
        float(times[top]) - patch.onset_s,
        half_s - patch.onset_s,
        scale * float(np.gradient(curve, times).max()),
        patch.half_life_s,
    ]


def run(seconds: float, seed: int) -> tuple[InflowMaps, dict[str, list[float]]]:
    """Maps of one run, and the truth of each tissue."""
    rng = np.random.default_rng([round(seconds), seed])
    patches = {name: replace(one, onset_s=one.onset_s + rng.uniform(-1.0, 1.0)) for name, one in TISSUES.items()}
    gatherer = MapGatherer(calibration(HEIGHT, SIDE * len(patches)))
    for frame in frames(gatherer.calibration, tuple(patches.values()), seconds, FRAMES_PER_S, seed=1000 + seed):
        gatherer.add(frame)
    maps = inflow_maps(gatherer, Region("bright", "rectangle", (0, 0, SIDE, HEIGHT)), INJECTED_S)
    return maps, {name: truths(one, patches["bright"], seconds) for name, one in patches.items()}


def agreements(seconds: float, runs: int) -> dict[tuple[str, str], list[Agreement]]:
    """Of each tissue and figure, run by run; the truth is the last run's."""
    found: dict[tuple[str, str], list[Agreement]] = {}
    for seed in range(runs):
        maps, wanted = run(seconds, seed)
        for i, (tissue, values) in enumerate(wanted.items()):
            columns = slice(i * SIDE // 2, (i + 1) * SIDE // 2)
            for k, name in enumerate(NAMES):
                errors = maps.values[k][:, columns].astype(float).ravel() - values[k]
                known = np.isfinite(errors)
                one = Agreement(values[k], errors.size, errors[known], maps.u[k][:, columns].ravel()[known])
                found.setdefault((tissue, name), []).append(one)
    return found


def together(runs: list[Agreement]) -> Agreement:
    """All bins of all runs."""
    errors, u = (np.concatenate([getattr(one, name) for one in runs]) for name in ("errors", "u"))
    return Agreement(runs[-1].truth, sum(one.repeats for one in runs), errors, u)


def table(found: dict[tuple[str, str], list[Agreement]]) -> Iterable[str]:
    """Markdown rows of one length."""
    yield "| tissue | figure | truth | bias | rms | u | covered % | given % |"
    yield "|---|---|---|---|---|---|---|---|"
    for (tissue, name), runs in found.items():
        one = together(runs)
        given = one.given / one.repeats
        if given < LEAST_GIVEN:
            yield f"| {tissue} | {name} | {one.truth:.4g} | - | - | - | - | {100 * given:.0f} |"
            continue
        shares = [100 * each.coverage for each in runs if each.given]
        error = float(np.std(shares)) / len(shares) ** 0.5
        u = float(np.sqrt(np.square(one.u).mean()))
        yield (
            f"| {tissue} | {name} | {one.truth:.4g} | {one.bias:+.2g} | {one.rms:.3g} | {u:.3g} | "
            f"{100 * one.coverage:.1f} ± {error:.1f} | {100 * given:.0f} |"
        )


def main() -> None:
    """Run everything and write the tables."""
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else RUNS
    found = {seconds: agreements(seconds, runs) for seconds in LENGTHS_S}
    shares = {
        f"{name} of {tissue} in {seconds:.0f} s: {100 * one.coverage:.1f}": one.coverage
        for seconds, each in found.items()
        for (tissue, name), one in ((key, together(some)) for key, some in each.items())
        if one.given >= LEAST_GIVEN * one.repeats
    }
    outside = [words for words, share in shares.items() if not 0.93 <= share <= 0.97]
    head = HEAD.format(
        date=datetime.now(UTC).date().isoformat(),
        runs=runs,
        shares=len(shares),
        within=len(shares) - len(outside),
        outside="; outside: " + ", ".join(outside) if outside else "",
    )
    lines = [line for s, each in found.items() for line in ("", f"## {s:.0f} s", "", *table(each))]
    RESULTS.write_text(head + "\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
