"""``python -m tests.shared.inflow.motion_accuracy [HANDS]``: write what a moving hand costs the maps to ``motion_accuracy.md``.

The flap scene at full size, followed and gathered as on the imager: no light is measured unlit unless the settings ask for it, so
that comes first. Six hands, each in four rooms, still and moved in three ways, are 96 runs of 80 s, and
24 without noise: about sixteen minutes of two cores with nothing else to do. The fast tier runs a small scene
(test_moving_hand.py).
"""

import sys
import time
from collections import defaultdict
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shared.calibration import Calibration
from shared.frame import Frame
from shared.inflow.map_values import InflowMaps
from shared.inflow.maps import inflow_maps
from shared.inflow.maps_place import Followed
from shared.inflow.maps_slots import MapGatherer
from shared.motion.track import Track
from shared.region import Region
from shared.scene.description import MotionScene, Scene, scene_path
from shared.scene.motion import HandMotion
from shared.scene.renderer import SceneRenderer

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

RESULTS = Path(__file__).with_suffix(".md")
HANDS = 6
FIRST_TISSUE = 4
"""The seed of the first hand's tissue; every further hand has another one."""
BRIGHTER = 64
"""Times as much light, a power of two, under which a truth is drawn."""
FRAMES_PER_S, SECONDS, INJECTED_S = 15.0, 80.0, 5.0
REFERENCE = Region("base", "rectangle", (140, 440, 150, 180))
FIGURES = (
    "baseline_counts_per_ms",
    "peak_relative_percent",
    "relative_percent_at_reference_peak",
    "arrival_s",
    "time_to_peak_s",
    "half_rise_s",
    "ingress_slope_percent_per_s",
)
GOAL = 1.5
COVERED = 93.0, 97.0
BETWEEN_PX = 0.5 - 12**-0.5
"""Where a hand rests: there the scene, which draws between pixels by straight lines, blurs as much as on average under a tremor."""


@dataclass(frozen=True)
class Room:
    """Ambient light as a share of the reference's peak, and every how manieth frame is unlit."""

    about: str
    ambient: float | None
    unlit_every: int = 0


ROOMS = (
    Room("The scene's own ambient light, not measured: as the device is set unless told otherwise", None),
    Room("The same light, every fifteenth frame unlit", None, 15),
    Room("A dark room", 0.0),
    Room("A bright room, a tenth of the reference's peak, not measured", 0.1),
)
STILL, TREMOR = MotionScene(), MotionScene(tremor_mm=2.0)
HELD = "still"
MOVED = {
    "tremor": (TREMOR, 0.0),
    "tremor, drift to the margin": (replace(TREMOR, drift_mm_s=5.0), 0.0),
    "tremor, drift to and fro": (TREMOR, 5.0),
}


class Hand:
    """A scene's hand that begins where a still one rests; with ``to_and_fro_mm_s`` it drifts up and down, and turns at 22 mm."""

    def __init__(
        self, scene: Scene, motion: MotionScene, to_and_fro_mm_s: float, seed: int, margin_px: int, first: int = 0
    ) -> None:
        """``first`` is the number of the frame that begins it: the first one with light."""
        self.margin_px = margin_px
        self._own = HandMotion(replace(scene, motion=motion), seed)
        self._per_s = to_and_fro_mm_s / scene.optics.mm_per_px
        self._turn = min(22.0 / scene.optics.mm_per_px, 0.6 * margin_px)
        self._first = self._anywhere(first / scene.camera.fps - scene.camera.set_exposure_us / 2e6)

    def _anywhere(self, time_s: float) -> F64:
        there = np.array(self._own.displacement_px(time_s))
        gone = self._per_s * max(time_s, 0.0) % (4 * self._turn)
        there[1] += min(gone, 2 * self._turn - gone) if gone < 3 * self._turn else gone - 4 * self._turn
        return there

    def displacement_px(self, time_s: float) -> tuple[float, float]:
        """(x, y) to the right and down."""
        x, y = self._anywhere(time_s) - self._first + BETWEEN_PX
        return float(x), float(y)


@dataclass(frozen=True)
class Bench:
    """What is drawn, for how long, and the region that is the reference."""

    scene: Scene
    seconds: float = SECONDS
    reference: Region = REFERENCE

    @classmethod
    def flap(cls) -> "Bench":
        """The ready scene at full size."""
        scene = Scene.load(scene_path("flap"))
        camera = replace(scene.camera, fps=FRAMES_PER_S)
        return cls(replace(scene, camera=camera, dye=replace(scene.dye, injected_at_s=INJECTED_S)))

    def maps(
        self, room: Room, motion: MotionScene, to_and_fro_mm_s: float = 0.0, seed: int = 0, tissue: int = FIRST_TISSUE
    ) -> InflowMaps:
        """Of one run, followed and gathered as on the imager."""
        scene = self._in(room)
        renderer = SceneRenderer(scene, tissue)
        renderer.seed = 1000 + seed
        first = int(room.unlit_every > 0)
        hand: Any = Hand(scene, motion, to_and_fro_mm_s, seed, renderer._motion.margin_px, first)
        renderer._motion = hand
        calibration = renderer.calibration()
        gatherer, track = MapGatherer(calibration, ambient_off=room.unlit_every > 0), Track(calibration)
        for frame in self._frames(renderer, room.unlit_every):
            found = track.take(frame)
            if found is not None or not frame.lit:
                gatherer.add(frame, found)
        assert track.found_at == first, track.found_at
        followed = Followed(track.place_u_px, track.warnings(), track.shared_u_px, room.unlit_every > 0)
        return inflow_maps(gatherer, self.reference, scene.dye.injected_at_s, followed=followed)

    def truth(self, room: Room, tissue: int = FIRST_TISSUE) -> InflowMaps:
        """Of a still hand without noise."""
        renderer, calibration = self.noiseless(room, tissue)
        gatherer = MapGatherer(calibration)
        for frame in self._frames(renderer, 0):
            gatherer.add(frame)
        maps = inflow_maps(gatherer, self.reference, self.scene.dye.injected_at_s)
        maps.values[FIGURES.index("baseline_counts_per_ms")] /= BRIGHTER
        return maps

    def noiseless(self, room: Room, tissue: int = FIRST_TISSUE) -> tuple[SceneRenderer, Calibration]:
        """A still hand without noise, under ``BRIGHTER`` light: the converter's rounding, and the sixth of an electron by which the
        scene's skewed noise is off where none is drawn, are so many times less of it. To be read as if it were as noisy as others,
        so that smoothing does the same.
        """
        scene = self._in(replace(room, ambient=0.0) if room.unlit_every else room)
        finer = replace(
            scene.camera,
            bit_depth=scene.camera.bit_depth + BRIGHTER.bit_length() - 1,
            noise=replace(
                scene.camera.noise,
                counts_per_electron=scene.camera.counts_per_electron,
                black_level_counts=scene.camera.black_level,
            ),
        )
        light = replace(scene.light, electrons_per_s=BRIGHTER * scene.electrons_per_s)
        renderer = SceneRenderer(replace(scene, camera=finer, light=light), tissue)
        hand: Any = Hand(scene, STILL, 0.0, 0, renderer._motion.margin_px)
        renderer._motion = hand
        renderer._normal = np.zeros_like(renderer._normal)
        calibration = renderer.calibration()
        return renderer, replace(calibration, counts_per_electron=BRIGHTER * calibration.counts_per_electron)

    def _in(self, room: Room) -> Scene:
        """With the margin that the widest drift needs."""
        scene = replace(self.scene, motion=MotionScene(tremor_mm=2.0, drift_mm_s=5.0))
        return scene if room.ambient is None else replace(scene, optics=replace(scene.optics, ambient=room.ambient))

    def _frames(self, renderer: SceneRenderer, unlit_every: int) -> Iterator[Frame]:
        camera = renderer.scene.camera
        for index in range(round(self.seconds * camera.fps)):
            readout_ns = round(index * camera.interval_us * 1000)
            level = 0.0 if unlit_every and index % unlit_every == 0 else 1.0
            pixels = np.empty(renderer.scene.description.shape, np.uint16)
            middle_s = readout_ns / 1e9 - camera.set_exposure_us / 2e6
            renderer.frame_into(pixels, index, middle_s, camera.set_exposure_us, camera.gain, level)
            yield Frame(pixels, index, readout_ns, camera.set_exposure_us, camera.gain, level, level > 0)


@dataclass(frozen=True, eq=False)
class Errors:
    """Of one figure in one run beside a still one, in the bins that have a value in both: (bins,) each."""

    still: F32
    moved: F32
    covered: NDArray[np.bool_]

    @classmethod
    def of(cls, figure: str, truth: InflowMaps, still: InflowMaps, moved: InflowMaps) -> "Errors":
        """Bins without a true value count for nothing."""
        wanted, beside, (values, u, _) = truth.of(figure)[0], still.of(figure)[0], moved.of(figure)
        both = np.isfinite(wanted) & np.isfinite(beside) & np.isfinite(values)
        off = values[both] - wanted[both]
        return cls(beside[both] - wanted[both], off, np.abs(off) <= 1.96 * u[both])

    @property
    def ratio(self) -> float:
        """Of the root mean squares."""
        return rms(self.moved) / rms(self.still)


def rms(errors: F32) -> float:
    """Root mean square."""
    return float(np.sqrt(np.square(errors, dtype=np.float64).mean()))


def of_hand(hand: tuple[Bench, Room, int]) -> dict[tuple[str, str], Errors]:
    """By how the hand moved, and figure; over tissue of its own."""
    bench, room, seed = hand
    tissue = FIRST_TISSUE + seed - 1
    truth, still = bench.truth(room, tissue), bench.maps(room, STILL, seed=seed, tissue=tissue)
    found = {(HELD, figure): Errors.of(figure, truth, still, still) for figure in FIGURES}
    for how, (motion, to_and_fro_mm_s) in MOVED.items():
        moved = bench.maps(room, motion, to_and_fro_mm_s, seed, tissue)
        found.update({(how, figure): Errors.of(figure, truth, still, moved) for figure in FIGURES})
    return found


HEAD = """# What a moving hand costs the maps

Measured {date} by `python -m tests.shared.inflow.motion_accuracy`: the flap scene, 1456x1088, {rate:.0f} frames a second for
{seconds:.0f} s, {hands} hands, each with noise and tissue of its own. Tremor of 2 mm rms along either axis round 8 Hz (14
pixels), and 5 mm/s of drift: to the drawn margin, where the hand trembles on, as scenes have it; or up and down all the time.
Every run is followed and gathered as on the imager. The truth are maps of the noise-free scene that lies where the first frame
shows it.

*rms* is the root mean square error over all bins that have a value still and moved, *ratio* that of the moved hand beside the
still hand's, over all hands, and of the worst hand; the goal is {goal}. *median* is the same of median errors. *covered* is the
share of 95 % intervals that hold the truth, over all bins of all hands; the goal is 93 to 97. The still hand is followed too.

{verdict}
"""


def table(hands: list[dict[tuple[str, str], Errors]]) -> Iterator[str]:
    """Markdown rows of one room."""
    yield (
        "| figure | rms, still, covered % | "
        + " | ".join(f"{how}: ratio (worst), median, covered %" for how in MOVED)
        + " |"
    )
    yield "|---|---|" + "---|" * len(MOVED)
    for figure in FIGURES:
        cells = []
        for how in MOVED:
            runs = [hand[how, figure] for hand in hands]
            one = together(runs)
            median = float(np.median(np.abs(one.moved)) / np.median(np.abs(one.still)))
            worst = max(run.ratio for run in runs)
            cells.append(f"{marked(one.ratio)} ({worst:.2f}), {median:.2f}, {percent(one)}")
        still = together([hand[HELD, figure] for hand in hands])
        yield f"| {figure} | {rms(still.still):.3g}, {percent(still)} | " + " | ".join(cells) + " |"


def percent(errors: Errors) -> str:
    """The share of intervals that hold, bold where it is beyond the goal."""
    covered = 100 * float(errors.covered.mean())
    return f"{covered:.1f}" if COVERED[0] <= round(covered, 1) <= COVERED[1] else f"**{covered:.1f}**"


def together(runs: list[Errors]) -> Errors:
    """All bins of all runs."""
    return Errors(*(np.concatenate([getattr(run, name) for run in runs]) for name in ("still", "moved", "covered")))


def marked(ratio: float) -> str:
    """Bold where the goal is missed."""
    return f"{ratio:.2f}" if ratio <= GOAL else f"**{ratio:.2f}**"


def verdict(found: dict[Room, list[dict[tuple[str, str], Errors]]]) -> str:
    """How many ratios and shares keep their goals, and which do not."""
    every = {
        f"{figure}, {how} ({room.about.lower()})": together([hand[how, figure] for hand in hands])
        for room, hands in found.items()
        for how in (HELD, *MOVED)
        for figure in FIGURES
    }
    moved = {what: one.ratio for what, one in every.items() if f", {HELD} (" not in what}
    far = [f"{what} {ratio:.2f}" for what, ratio in moved.items() if ratio > GOAL]
    off = [f"{what} {percent(one).strip('*')}" for what, one in every.items() if percent(one).startswith("*")]
    return (
        f"Of {len(moved)} ratios {len(moved) - len(far)} keep {GOAL}{'; beyond: ' + '; '.join(far) if far else ''}. "
        f"Of {len(every)} shares {len(every) - len(off)} lie within {COVERED[0]:.0f} to {COVERED[1]:.0f} %"
        f"{'; beyond: ' + '; '.join(off) if off else ''}."
    )


def main() -> None:
    """Run everything, two hands at a time, saying where it is, and write the page."""
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else HANDS
    began, bench = time.monotonic(), Bench.flap()
    found: dict[Room, list[dict[tuple[str, str], Errors]]] = defaultdict(list)
    hands = [(bench, room, seed) for seed in range(1, wanted + 1) for room in ROOMS]
    with ProcessPoolExecutor(2) as pool:
        for (_, room, seed), errors in zip(hands, pool.map(of_hand, hands), strict=True):
            found[room].append(errors)
            sys.stderr.write(f"{time.monotonic() - began:6.0f} s  hand {seed} of {wanted}, {room.about}\n")
    head = HEAD.format(
        date=datetime.now(UTC).date(),
        rate=FRAMES_PER_S,
        seconds=SECONDS,
        hands=wanted,
        goal=GOAL,
        verdict=verdict(found),
    )
    lines = [line for room, hands_ in found.items() for line in ("", f"## {room.about}", "", *table(hands_))]
    RESULTS.write_text(head + "\n".join(lines) + "\n", encoding="utf-8")
    sys.stderr.write(verdict(found) + "\n")


if __name__ == "__main__":
    main()
