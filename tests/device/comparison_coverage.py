"""``python -m tests.device.comparison_coverage [REPEATS]``: how often differences and ratios of two recordings hold the truth.

Writes ``comparison_coverage.md``. Each repeat draws both recordings anew: noise, tremor, and where the hand comes back; in the last
pair the tissue too, as the dye pulls the place the same way whenever it comes into the same tissue. The truth is the scene's own
fluorescence where the regions really lay when they were marked, averaged over places that the hand took, each laid back by scipy:
on pixels an outline is as sharp as a hand lets it be. Two hundred repeats take about fifteen minutes of one core.
"""

import shutil
import sys
import tempfile
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
from scipy.ndimage import shift

from device.comparison import compare
from device.simulate import write_frames
from shared.compare.late_level import LATE_SHARE
from shared.inflow.parameters import Estimate
from shared.recording import Recording
from shared.region import Region
from shared.scene.description import Scene
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
    drawn: bool = False
    """Whether the tissue is another in each repeat."""


PAIRS = (
    Pair("two injections, the tip better supplied at the second", 70.0, AFTER_S, 70.0, (0.28, 0.44), True),
    Pair("one injection, the tip under pull at the second look", 120.0, 150.0, 40.0, (0.28, 0.18), False),
    Pair("two injections, another tissue in each repeat", 70.0, AFTER_S, 70.0, (0.28, 0.44), True, True),
)


HEAD = """# How often the difference and the ratio of two recordings hold the truth

Measured {date} by `python -m tests.device.comparison_coverage`, {repeats} pairs of recordings each, all drawn anew.
*off* and *scatter* are mean and standard deviation of value minus truth, *u* the median standard uncertainty, *covered* the
share of the 95 % intervals (value ± 1.96 u) that hold the truth; it is known to ± {within:.1f} % (two standard deviations of a
binomial). The region *edge*, 28 pixels wide, lies half on the tip and half beside it, so that a place off by a pixel changes it
by a 28th of the tip's level.

Both recordings look at the regions of the first, and the same dye in the same tissue pulls their places alike, so that differences
and ratios count what the place does to both once (`shared/compare/change.py`), and so they do what is unsure of how late a peak's
moment comes out (`shared/inflow/reading.py`). In the first two pairs of recordings the tissue is the same in every repeat, and
the dye pulls the place of *edge* the same way every time, by 0.04 px to the right: what is *off* there varies less than it would
from tissue to tissue, and more intervals hold the truth than should. The last pair draws the tissue anew: its border, relief and
mottle, when and how strongly the dye comes, and which way round; its shares are the ones to go by.

The scene draws a moved picture between pixels by straight lines, so that light of the base that reaches into *edge* goes by
where in a pixel the hand holds it, by up to a twentieth of a low level from frame to frame: that scatters while the tip rises,
when it cannot be told from the rise. It is told behind the top, and goes by how the signal changes beside the region
(`shared/inflow/outline.py`); until then the steepest rise of *edge* held in 90 to 92 %."""
TABLE = ("| region | figure | of | off | scatter | u | covered % | given |", "|---|---|---|---|---|---|---|---|")


@dataclass(frozen=True)
class Drawn:
    """A tissue: millimetres by which the gap between base and tip is moved and tilted, and its width; when the dye comes to the
    tip, and how strong it is there beside what the pair says; how strong relief and mottle are; which way round; and their seed.
    """

    moved_mm: float = 0.0
    tilt_mm: float = 0.0
    gap_mm: float = 20.0
    arrival_s: float = 17.0
    share: float = 1.0
    texture: float = 0.15
    mottle: float = 0.1
    mirrored: bool = False
    seed: int = 4

    @classmethod
    def anew(cls, rng: np.random.Generator) -> "Drawn":
        """Any tissue in which the regions lie where they should."""
        low, high = (-4.0, -6.0, 6.0, 14.0, 0.7, 0.08, 0.03), (4.0, 6.0, 22.0, 20.0, 1.4, 0.2, 0.15)
        return cls(*rng.uniform(low, high).tolist(), bool(rng.integers(2)), int(rng.integers(1 << 20)))

    @property
    def regions(self) -> tuple[str, ...]:
        """As on the command line: reference, tip, edge."""
        if not self.mirrored:
            return REGIONS
        boxes = ((name, *map(int, box.split(","))) for name, box in (each.split(":") for each in REGIONS))
        return tuple(f"{name}:{160 - x - w},{y},{w},{h}" for name, x, y, w, h in boxes)

    def in_scene(self, injected_s: float, level: float) -> Scene:
        """As a hand sees it; in a dark room: its light is not flat as the ring's is, which would be another doubt."""
        made = scene(injected_s, self.share * level, self.arrival_s, optics={"ambient": 0.0})
        if self == Drawn():
            return made
        tops = [80.0 + self.moved_mm + side * self.gap_mm / 2.0 for side in (-1, 1)]
        polygons = [
            ((outer, 0.0), (top - self.tilt_mm, 0.0), (top + self.tilt_mm, 96.0), (outer, 96.0))
            for outer, top in zip((0.0, 160.0), tops, strict=True)
        ]
        tissues = [
            replace(each, polygon_mm=self._seen(polygon)) for each, polygon in zip(made.tissue, polygons, strict=True)
        ]
        marks = [replace(each, path_mm=self._seen(each.path_mm)) for each in made.mark]
        surface = replace(made.surface, texture=self.texture, mottle=self.mottle)
        return replace(made, tissue=tuple(tissues), mark=tuple(marks), surface=surface)

    def _seen(self, points_mm: Any) -> tuple[tuple[float, float], ...]:
        return tuple((160.0 - x if self.mirrored else x, y) for x, y in points_mm)


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


def renderer_of(tissue: Drawn, level: float, rng: np.random.Generator, injected_s: float) -> SceneRenderer:
    """A renderer of that tissue, whose noise and hand are drawn."""
    renderer = SceneRenderer(tissue.in_scene(injected_s, level), tissue.seed)
    renderer.seed = int(rng.integers(1 << 40))
    hand: Any = Hand(rng, renderer._motion.margin_px)
    renderer._motion = renderer.truth._motion = hand
    return renderer


class Truth:
    """What regions would show without noise, at the places where they lay when the first recording began."""

    def __init__(self, first: SceneRenderer, regions: Iterable[str]) -> None:
        self._regions = {region.name: region for region in map(Region.parse, regions)}
        seen_s = np.arange(int(MARKED_S * FPS)) / FPS - first.scene.camera.set_exposure_us / 2e6
        seen = np.array([first.truth._motion.displacement_px(float(each)) for each in seen_s])
        self._place = seen.mean(axis=0)
        self._taken = [first.truth._motion.displacement_px(0.5 * number) for number in range(PLACES)]
        shares = np.array([self._means(first, self._place, time_s) for time_s in (25.0, 32.0, 60.0)])
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

    def percent_a_px(self, renderer: SceneRenderer, time_s: float, name: str) -> float:
        """By how much of the reference a region changes when its place moves by one pixel to the right."""
        right, left = (self._means(renderer, self._place + np.array([side, 0.0]), time_s) for side in (0.5, -0.5))
        names = list(self._regions)
        return 100.0 * (right[names.index(name)] - left[names.index(name)]) / right[names.index("base")]

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
    tissue = Drawn.anew(rng) if pair.drawn else Drawn()
    first = renderer_of(tissue, pair.levels[0], rng, 10.0)
    second = renderer_of(tissue, pair.levels[1], rng, 10.0 + (pair.second_from_s if pair.second_dye else 0.0))
    paths = folder / "first.zarr", folder / "second.zarr"
    for renderer, path, from_s, seconds in (
        (first, paths[0], 0.0, pair.first_s),
        (second, paths[1], pair.second_from_s, pair.second_s),
    ):
        shutil.rmtree(path, ignore_errors=True)
        begin = round(from_s * FPS)
        write_frames(renderer, path, range(begin, begin + round(seconds * FPS)), {})
    truth = Truth(first, tissue.regions)
    with Recording.open(paths[0]) as one, Recording.open(paths[1]) as other:
        found = compare(one, other, tissue.regions[0], tissue.regions[1:])
    seen: dict[tuple[str, str, str], tuple[Estimate, float]] = {}
    for name in ("tip", "edge"):
        change = found.regions[name]
        before = truth.figures(first, 0.0, pair.first_s, name)
        after = truth.figures(second, pair.second_from_s, pair.second_s, name)
        compared = change.compared()
        for key in before if pair.second_dye else ("relative_percent_at_end",):
            truths = before[key], after[key], after[key] - before[key], after[key] / before[key]
            kinds = zip(("first", "second", "difference", "ratio"), compared[key], truths, strict=True)
            seen.update({(name, key, kind): (estimate, true) for kind, estimate, true in kinds})
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
        held: dict[str, list[float]] = defaultdict(list)
        for (name, key, kind), pairs in found.items():
            off, u = np.array(pairs).T
            covered = 100.0 * np.mean(np.abs(off) <= 1.96 * u)
            numbers = f"{off.mean():+.3g} | {off.std():.3g} | {np.median(u):.3g} | {covered:.1f} | {off.size}"
            lines.append(f"| {name} | {key} | {kind} | {numbers} |")
            held[f"{name} {kind}"].append(covered)
        lines.append(
            "\nMeans of the shares: " + ", ".join(f"{of} {np.mean(each):.1f}" for of, each in held.items()) + " %."
        )
    RESULTS.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
