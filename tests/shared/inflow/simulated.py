"""Inflow curves with known figures, drawn as a camera would: electrons are Poisson, read noise and rounding are normal.

Invented tissues: only the mathematics of the curve matters. The truth is the closed form of the noise-free curve.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from shared.inflow.curves import RegionCurve
from shared.inflow.gamma_variate import GammaVariate
from shared.inflow.parameters import InflowParameters, inflow_parameters
from shared.inflow.reading import read_curve
from shared.noise import QUANTISATION_COUNTS2, variance_counts2
from shared.region import Region
from shared.scene.dye import tissue_curve

COUNTS_PER_ELECTRON, READ_NOISE_E, PEAK_ELECTRONS = 0.1, 3.0, 20.0
OTHER_NOISE_E2 = READ_NOISE_E**2 + QUANTISATION_COUNTS2 / COUNTS_PER_ELECTRON**2
BACKGROUND = 0.15
"""What is there before the dye, as a share of the peak above it."""


@dataclass(frozen=True)
class Tissue:
    """Dye arrives at ``arrival_s``, peaks ``alpha * beta_s`` later, and is cleared with ``half_life_s``."""

    arrival_s: float = 12.0
    alpha: float = 3.0
    beta_s: float = 5.0
    half_life_s: float = 45.0
    recirculation: float = 0.6
    level: float = 0.4

    def at(self, times_s: np.ndarray) -> np.ndarray:
        since_s = times_s - self.arrival_s
        return self.level * tissue_curve(since_s, self.alpha, self.beta_s, self.half_life_s, self.recirculation)

    @property
    def first_pass(self) -> GammaVariate:
        return GammaVariate(self.arrival_s, self.alpha, self.alpha * self.beta_s, self.level)


REFERENCE = Tissue(arrival_s=10.0, alpha=2.6, beta_s=4.5, level=1.0)
SKIN = Tissue()
QUICK = Tissue(beta_s=1.5)
SLOW = Tissue(arrival_s=16.0, alpha=2.5, beta_s=8.0)


@dataclass(frozen=True)
class Run:
    """A recording.

    ``signal_to_noise`` is the peak above the background over one standard uncertainty of one frame of the region's curve at the
    peak; the reference's is ``reference_advantage`` times that. Frames in ``gap_s`` are missing; at ``dimmed_at_s`` the light falls
    to half.
    """

    tissue: Tissue = SKIN
    frames_per_s: float = 30.0
    signal_to_noise: float = 20.0
    seconds: float = 120.0
    gap_s: tuple[float, float] | None = None
    dimmed_at_s: float | None = None
    reference_advantage: float = 2.0

    @property
    def times_s(self) -> np.ndarray:
        times = np.arange(0.0, self.seconds, 1.0 / self.frames_per_s)
        return times if self.gap_s is None else times[(times < self.gap_s[0]) | (times > self.gap_s[1])]

    def light(self, times_s: np.ndarray) -> np.ndarray:
        """Light output, relative to full level."""
        return np.ones_like(times_s) if self.dimmed_at_s is None else np.where(times_s < self.dimmed_at_s, 1.0, 0.5)

    def sigma(self, times_s: np.ndarray) -> np.ndarray:
        """True standard uncertainty of one frame of the region's curve."""
        clean, light = self.tissue.at(times_s) / self.tissue.level + BACKGROUND, self.light(times_s)
        electrons = PEAK_ELECTRONS * clean * light
        return np.asarray(
            self.tissue.level
            * np.sqrt((electrons + OTHER_NOISE_E2) / self.pixels(self.signal_to_noise))
            / (PEAK_ELECTRONS * light)
        )

    @staticmethod
    def pixels(signal_to_noise: float) -> float:
        """How many pixels a region must have for its mean to have that signal to noise."""
        return signal_to_noise**2 * (PEAK_ELECTRONS * (1 + BACKGROUND) + OTHER_NOISE_E2) / PEAK_ELECTRONS**2

    def draw(self, tissue: Tissue, signal_to_noise: float, rng: np.random.Generator, name: str = "tip") -> RegionCurve:
        """One noisy curve of a tissue, its uncertainty worked out from its own counts as the device does."""
        times, pixels = self.times_s, self.pixels(signal_to_noise)
        light, clean = self.light(times), tissue.at(times) / tissue.level + BACKGROUND
        electrons = rng.poisson(pixels * PEAK_ELECTRONS * clean * light) / pixels
        electrons = electrons + rng.normal(0.0, np.sqrt(OTHER_NOISE_E2 / pixels), times.size)
        counts = COUNTS_PER_ELECTRON * electrons
        u = np.sqrt(variance_counts2(counts, COUNTS_PER_ELECTRON, READ_NOISE_E) / pixels)
        to_signal = tissue.level / (COUNTS_PER_ELECTRON * PEAK_ELECTRONS * light)
        region = Region(name, "rectangle", (1, 1, 5, 5))
        return RegionCurve(region, times, counts * to_signal, u * to_signal, np.zeros(times.size, np.bool_))

    def truth(self) -> dict[str, float]:
        """Figures of the noise-free curve, by the names of ``InflowParameters``."""
        pass_, level = self.tissue.first_pass, 100.0 * self.tissue.level
        tenth_s, half_s, ninetieth_s = (pass_.crossing_s(share) for share in (0.1, 0.5, 0.9))
        fine = np.linspace(0.0, self.times_s[-1], 200_001)
        return {
            "peak_relative_percent": level,
            "relative_percent_at_reference_peak": 100.0
            * float(self.tissue.at(np.array([REFERENCE.first_pass.peak_s]))[0]),
            "arrival_s": pass_.onset_s,
            "tenth_of_peak_s": tenth_s,
            "peak_s": pass_.peak_s,
            "half_rise_s": half_s - pass_.onset_s,
            "time_to_peak_s": pass_.rise_s,
            "half_rise_over_time_to_peak": (half_s - pass_.onset_s) / pass_.rise_s,
            "ingress_slope_percent_per_s": 100.0 * pass_.slope_at(pass_.steepest_s),
            "mean_ingress_slope_percent_per_s": 0.8 * level / (ninetieth_s - tenth_s),
            "washout_half_life_s": self.tissue.half_life_s,
            "area_percent_s": 100.0 * float(np.trapezoid(self.tissue.at(fine), fine)),
            "baseline_counts_per_ms": BACKGROUND * self.tissue.level,
        }

    def repeats(self, number: int, seed: int = 0) -> Iterator[InflowParameters]:
        """Figures of ``number`` fresh recordings."""
        for repeat in range(number):
            rng = np.random.default_rng([seed, repeat])
            reference = self.draw(REFERENCE, self.reference_advantage * self.signal_to_noise, rng, "base")
            region = self.draw(self.tissue, self.signal_to_noise, rng)
            yield inflow_parameters(read_curve(region, None), read_curve(reference, None), 0.0)


@dataclass(frozen=True, eq=False)
class Agreement:
    """Of one figure over many repeats: ``errors`` and standard uncertainties of those that were given."""

    truth: float
    repeats: int
    errors: np.ndarray
    u: np.ndarray

    @property
    def given(self) -> int:
        return self.errors.size

    @property
    def bias(self) -> float:
        return float(self.errors.mean())

    @property
    def rms(self) -> float:
        return float(np.sqrt(np.square(self.errors).mean()))

    def share_within(self, goal: float) -> float:
        """Share of the errors that are at most ``goal``."""
        return float((np.abs(self.errors) <= goal).mean())

    @property
    def covered(self) -> int:
        """How many intervals of 1.96 u hold the truth."""
        return int((np.abs(self.errors) <= 1.96 * self.u).sum())

    @property
    def coverage(self) -> float:
        return self.covered / self.given if self.given else float("nan")


def agreements(run: Run, number: int, seed: int = 0) -> dict[str, Agreement]:
    """How far each figure of ``number`` repeats lies from the truth, and how often its 95 % interval holds it."""
    truth = run.truth()
    found: dict[str, list[tuple[float, float]]] = {name: [] for name in truth}
    for figures in run.repeats(number, seed):
        for name, values in found.items():
            estimate = getattr(figures, name)
            if estimate.value is not None:
                values.append((estimate.value - truth[name], estimate.u))
    return {name: Agreement(truth[name], number, *np.array(values).reshape(-1, 2).T) for name, values in found.items()}
