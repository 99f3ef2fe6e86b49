"""``python -m tests.device.comparison_coverage [REPEATS]``: how often differences and ratios of two recordings hold the truth.

Writes ``comparison_coverage.md``. Each repeat draws both recordings anew: noise, tremor, and where and at what distance the hand
comes back. The truth is the scene's own fluorescence where the regions really lay when they were marked, averaged over places that
the hand took, each laid back by scipy: on pixels an outline is as sharp as a hand lets it be. Two hundred repeats take about ten
minutes of one core.
"""

import shutil
import sys
import tempfile
from collections import defaultdict
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
from scipy.ndimage import shift

from device.comparison import compare
from device.simulate import write_frames
from shared.compare.change import difference, ratio
from shared.compare.late_level import LATE_SHARE
from shared.inflow.parameters import Estimate
from shared.recording import Recording
from shared.region import Region
from shared.scene.renderer import SceneRenderer
from tests.device.test_comparison import scene

RESULTS = Path(__file__).with_suffix(".md")
REPEATS = 200
FPS = 2.0
MARKED_S = 1.0
"""What a region's place was averaged over, from the first frame on (shared.motion.pose)."""
PLACES = 40
"""That the hand took, over which the truth is averaged."""
REGIONS = ("base:30,20,30,35", "tip:110,15,35,40", "edge:76,30,28,40")
AFTER_S = 3600.0
"""Later than anything is left of the first dye."""


@dataclass(frozen=True)
class Pair:
    """Two recordings: how long the first is; when the second begins, and how long it is; levels of the tip in each."""

    about: str
    first_s: float
    second_from_s: float
    second_s: float
    levels: tuple[float, float]
    second_dye: bool


PAIRS = (
    Pair("two injections, the tip better supplied at the second", 70.0, AFTER_S, 70.0, (0.28, 0.44), True),
    Pair("one injection, the tip under pull at the second look", 120.0, 150.0, 40.0, (0.28, 0.18), False),
)


HEAD = """# How often the difference and the ratio of two recordings hold the truth

Measured {date} by `python -m tests.device.comparison_coverage`, {repeats} pairs of recordings each, all drawn anew.
*off* and *scatter* are mean and standard deviation of value minus truth, *u* the median standard uncertainty, *covered* the
share of the 95 % intervals (value ± 1.96 u) that hold the truth; it is known to ± {within:.1f} % (two standard deviations of a
binomial). The region *edge* lies half on the tip and half beside it, so that a place off by a pixel changes it by a
fourteenth.

Where nearly every interval holds the truth although *off* and *scatter* together are about as large as *u*, what is off hardly
varies from repeat to repeat, and stays near one standard uncertainty: in one scene the dye pulls the place of *edge* the same way
every time, and smoothing moves a peak the same way, on whose moment the value at the reference's peak rests. Differences and ratios
take the places of the two runs for independent, since nothing says that the same dye pulls both alike; here it does, and their
intervals are wider than they need be."""
TABLE = ("| region | figure | of | off | scatter | u | covered % | given |", "|---|---|---|---|---|---|---|---|")


class Hand:
    """Tremor of 1 mm rms, round a place of its own for each recording."""

    def __init__(self, rng: np.random.Generator, margin_px: int) -> None:
        self.margin_px = margin_px
        self._place = rng.uniform(-6.0, 6.0, 2)
        self._phases = rng.uniform(0.0, 2.0 * np.pi, (2, 3))

    def displacement_px(self, time_s: float) -> tuple[float, float]:
        """(x, y) to the right and down."""
        rates = 2.0 * np.pi * 8.0 * np.array([0.83, 1.0, 1.21])
        x, y = self._place + np.sqrt(2.0 / 3.0) * np.sin(rates * time_s + self._phases).sum(axis=1)
        return float(x), float(y)


def renderer_of(pair: Pair, level: float, rng: np.random.Generator, injected_s: float) -> SceneRenderer:
    """A renderer whose tissue is the same in every repeat, and whose noise and hand are not."""
    # in a dark room: its light is not flat as the ring's is, which would be another doubt
    dark = scene(injected_s, level, optics={"ambient": 0.0})
    renderer = SceneRenderer(dark, 4)
    renderer.seed = int(rng.integers(1 << 40))
    hand: Any = Hand(rng, renderer._motion.margin_px)
    renderer._motion = renderer.truth._motion = hand
    return renderer


class Truth:
    """What regions would show without noise, at the places where they lay when the first recording began."""

    def __init__(self, first: SceneRenderer) -> None:
        self._regions = {region.name: region for region in map(Region.parse, REGIONS)}
        seen_s = np.arange(int(MARKED_S * FPS)) / FPS - first.scene.camera.set_exposure_us / 2e6
        seen = np.array([first.truth._motion.displacement_px(float(each)) for each in seen_s])
        place = seen.mean(axis=0)
        self._taken = [first.truth._motion.displacement_px(0.5 * number) for number in range(PLACES)]
        shares = np.array([self._means(first, place, time_s) for time_s in (25.0, 32.0, 60.0)])
        tissues = np.array([first.truth.levels(time_s)[1:] for time_s in (25.0, 32.0, 60.0)])
        self._shares = np.linalg.lstsq(tissues, shares, rcond=None)[0].T
        """(regions, tissues): a region's light is that of tissues by these."""

    def _means(self, renderer: SceneRenderer, place: np.ndarray, time_s: float) -> list[float]:
        hand = renderer.truth._motion
        resting: Any = Hand(np.random.default_rng(0), hand.margin_px)
        planes = []
        for taken in self._taken:
            resting.displacement_px = lambda _, at=taken: at
            renderer.truth._motion = resting
            right, down = place - taken
            planes.append(shift(renderer.truth.fluorescence(time_s), (down, right), order=1, mode="nearest"))
        renderer.truth._motion = hand
        plane = np.mean(planes, axis=0)
        return [plane.reshape(-1)[region.indices(plane.shape)].mean() for region in self._regions.values()]

    def figures(self, renderer: SceneRenderer, from_s: float, seconds: float, name: str) -> dict[str, float]:
        """What ``tapetum analyse`` should say of a region in a run, as far as it is known without reading a curve."""
        times_s = from_s + np.arange(0.0, seconds, 0.005)
        tissues = np.array([renderer.truth.curve(each.name, times_s) for each in renderer.scene.tissue])
        own, base = (self._shares[list(self._regions).index(each)] @ tissues for each in (name, "base"))
        frames = from_s + np.arange(round(seconds * FPS)) / FPS - renderer.scene.camera.set_exposure_us / 2e6
        late_s = frames[-max(int(frames.size * LATE_SHARE), 1) :]
        late = [np.interp(late_s, times_s, each).mean() for each in (own, base)]
        return {
            "peak_relative_percent": 100.0 * own.max() / base.max(),
            "relative_percent_at_reference_peak": 100.0 * own[base.argmax()] / base.max(),
            "ingress_slope_percent_per_s": 100.0 * np.gradient(own, 0.005).max() / base.max(),
            "peak_s": float(times_s[own.argmax()]) - from_s - 10.0,
            "relative_percent_at_end": 100.0 * late[0] / late[1],
        }


def repeat(pair: Pair, seed: int, folder: Path) -> dict[tuple[str, str, str], tuple[Estimate, float]]:
    """What one pair says and what is true, by region, figure, and "difference" or "ratio"."""
    rng = np.random.default_rng([seed, PAIRS.index(pair)])
    first = renderer_of(pair, pair.levels[0], rng, 10.0)
    second = renderer_of(pair, pair.levels[1], rng, 10.0 + (pair.second_from_s if pair.second_dye else 0.0))
    paths = folder / "first.zarr", folder / "second.zarr"
    for renderer, path, from_s, seconds in (
        (first, paths[0], 0.0, pair.first_s),
        (second, paths[1], pair.second_from_s, pair.second_s),
    ):
        shutil.rmtree(path, ignore_errors=True)
        begin = round(from_s * FPS)
        write_frames(renderer, path, range(begin, begin + round(seconds * FPS)), {})
    truth = Truth(first)
    with Recording.open(paths[0]) as one, Recording.open(paths[1]) as other:
        found = compare(one, other, REGIONS[0], REGIONS[1:])
    seen: dict[tuple[str, str, str], tuple[Estimate, float]] = {}
    for name in ("tip", "edge"):
        change = found.regions[name]
        before = truth.figures(first, 0.0, pair.first_s, name)
        after = truth.figures(second, pair.second_from_s, pair.second_s, name)
        sides = change.first.estimates(), change.second.estimates()
        for key in before if pair.second_dye else ("relative_percent_at_end",):
            here = sides[0][key], sides[1][key]
            seen[name, key, "first"] = here[0], before[key]
            seen[name, key, "second"] = here[1], after[key]
            seen[name, key, "difference"] = difference(*here), after[key] - before[key]
            seen[name, key, "ratio"] = ratio(*here), after[key] / before[key]
    return seen


def main() -> None:
    """Repeat, count and write."""
    repeats = int(sys.argv[1]) if len(sys.argv) > 1 else REPEATS
    lines = [HEAD.format(date=datetime.now(UTC).date(), repeats=repeats, within=200 * np.sqrt(0.95 * 0.05 / repeats))]
    for pair in PAIRS:
        found: dict[tuple[str, str, str], list[tuple[float, float]]] = defaultdict(list)
        with tempfile.TemporaryDirectory() as folder:
            for seed in range(repeats):
                if seed % 20 == 0:
                    sys.stderr.write(f"{pair.about}: {seed} of {repeats}\n")
                for key, (estimate, truth) in repeat(pair, seed, Path(folder)).items():
                    if estimate.value is not None and estimate.u is not None:
                        found[key].append((estimate.value - truth, estimate.u))
        lines += [f"\n## {pair.about[0].upper()}{pair.about[1:]}\n", *TABLE]
        for (name, key, kind), pairs in found.items():
            off, u = np.array(pairs).T
            covered = 100.0 * np.mean(np.abs(off) <= 1.96 * u)
            numbers = f"{off.mean():+.3g} | {off.std():.3g} | {np.median(u):.3g} | {covered:.1f} | {off.size}"
            lines.append(f"| {name} | {key} | {kind} | {numbers} |")
    RESULTS.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
