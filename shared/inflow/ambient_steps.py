"""What steps of the ring's light make of the room's infrared in maps, measured in frames without light between them.

The room's infrared does not go with the ring's output o: what is called signal holds a / o of it, and jumps where o is stepped. A
rate a, counts a millisecond at unit gain, that frames without light tell of every bin, gives the jump: a (1/o - 1/o of the first
frame) is taken off, so that a run without a step stays as it is.
"""

import math
from collections import deque
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from shared.calibration import Calibration
from shared.frame import Counts, Frame
from shared.inflow.maps_motion import MovedBins, MovedFrame, places_in_frame
from shared.inflow.maps_samples import Samples, spacing
from shared.light_steps import EDGE_FRAMES, LONGEST_FROM_STEP_S, SAME_LEVEL
from shared.motion.pose import Motion
from shared.signal import counts_variance

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

PLACE_KEPT_S = 1.0
"""Since the last lit frame whose place is known: later, nobody knows where a frame without light lies."""
_SAMPLED_ROWS = 256
"""Of a frame, at least, whose mean says how the room's light changes."""
_TOLD = 3.0
"""Standard uncertainties: less ambient light than that does not tell how it changes, and counts as steady."""


@dataclass(frozen=True, eq=False)
class LightSteps:
    """``rate`` of ambient light and its standard uncertainty ``rate_u``, (height, width), of which ``factors`` (slots,) times are
    to be taken off the slots; ``place_px`` (2,), where the hand held the picture's middle meanwhile, to the right and down.

    What ``rate`` is off by, it is off by in all slots alike.
    """

    rate: F32
    rate_u: F32
    factors: F64
    place_px: F64

    def off(self, where: tuple[slice, slice]) -> tuple[F32, F64]:
        """As ``RoomLight`` has it, like the following."""
        return self.rate[where][None], self.factors[None]

    def doubts(self, where: tuple[slice, slice]) -> tuple[F32, F64]:
        """Noise alone."""
        return self.rate_u[where][None, None], self.factors[None]

    def unit(self, where: tuple[slice, slice]) -> F32:
        """The noise of the rate."""
        return self.rate_u[where]

    def doubts_of_mean(self, where: tuple[slice, slice], inside: NDArray[np.bool_]) -> list[F64]:
        """The noise of the rate is another one in every bin."""
        own2 = np.square(self.rate_u[where][inside], dtype=np.float64)
        return [math.sqrt(float(own2.sum())) / own2.size * self.factors]

    def off_samples(self, samples: Samples, places: list[int]) -> Samples:
        """The same taken off samples, whose slots lie at ``places``."""
        every = spacing(self.rate.shape)
        some, sums = self.rate[::every, ::every], samples.sums.copy()
        for place, factor in zip(places, self.factors, strict=True):
            sums[place] -= (factor * samples.held[place, :3, None, None] * some).astype(np.float32)
        return Samples(sums, samples.held)


@dataclass(eq=False)
class _Spell:
    """Frames without light between lit ones: middle of the exposure, mean rate and its variance, of those next to lit ones.

    ``used`` of them went into the picture of the rate.
    """

    first: list[tuple[float, float, float]] = field(default_factory=list)
    last: deque[tuple[float, float, float]] = field(default_factory=lambda: deque(maxlen=EDGE_FRAMES))
    used: int = 0
    frames: int = 0

    def add(self, time_s: float, rate: float, variance: float) -> None:
        self.frames += 1
        (self.first if len(self.first) < EDGE_FRAMES else self.last).append((time_s, rate, variance))

    def points(self) -> list[tuple[float, float, float, float]]:
        """Time, rate, its variance, and how many frames of it were used, at the beginning and the end of a long spell."""
        found = []
        for group, used in ((self.first, self.used), (self.last, 0)):
            if group:
                time_s, rate, variance = np.mean(group, axis=0)
                found.append((float(time_s), float(rate), float(variance) / len(group), float(used)))
        return found


class DarkFrames:
    """Sees all frames that are gathered; sums those without light in the view whose bins are kept, 6 bytes a bin."""

    def __init__(self, calibration: Calibration, shape: tuple[int, int]) -> None:
        """``shape``, (height, width) of bins."""
        self._calibration = calibration
        self.sums, self.seen = np.zeros(shape, np.float32), np.zeros(shape, np.uint16)
        self._every = max(calibration.camera.height // _SAMPLED_ROWS, 1)
        defects = calibration.defects[:: self._every]
        self._defects = np.nonzero(defects)
        self._pixels = defects.size - self._defects[0].size
        self._dark = float(calibration.dark_counts[:: self._every].sum(where=~defects, dtype=np.float64))
        self._spells: list[_Spell] = []
        self._spell: _Spell | None = None
        self._level, self._first_inverse = 0.0, 0.0
        self._motion: Motion | None = None
        self._lit_s, self._dark_s = -math.inf, -math.inf
        self._steps, self._unmeasured = 0, list[float]()
        self._used, self._gain_factor, self._constant, self._place2 = 0, 0.0, 0.0, 0.0
        self._held_px = np.zeros(2)

    def lit(self, time_s: float, level: float, motion: Motion | None) -> None:
        """A frame under light is gathered: middle of its exposure, the ring's level, where the hand held it."""
        if level != self._level:
            if self._level == 0.0:
                self._first_inverse = 1.0 / self._calibration.output_at(level)
            elif abs(level - self._level) > SAME_LEVEL * max(level, self._level):
                self._steps += 1
                if self._dark_s < self._lit_s - LONGEST_FROM_STEP_S:
                    self._unmeasured.append(time_s)
            self._level = level
        if self._spell is not None:
            self._count_place(self._spell, motion)
            self._spell = None
        self._motion, self._lit_s = motion, time_s

    def take(self, frame: Frame, time_s: float, bins: MovedBins, clipped: NDArray[np.uint16]) -> bool:
        """Take in a frame without light; it lies as the last lit one did. Before any, it tells nothing of bins.

        Returns whether a bin that it tells of is saturated, which ``clipped`` (height, width) counts.
        """
        self._dark_s = time_s
        self._unmeasured = [since_s for since_s in self._unmeasured if time_s - since_s > LONGEST_FROM_STEP_S]
        if self._spell is None:
            self._spell = _Spell()
            self._spells.append(self._spell)
        factor = 1000.0 / (frame.exposure_us * frame.gain)
        counts = self._mean_counts(frame.pixels)
        variance = float(counts_variance(max(counts, 0.0), frame.gain, self._calibration)) / self._pixels
        self._spell.add(time_s, counts * factor, variance * factor * factor)
        if self._spell.frames > EDGE_FRAMES or time_s - self._lit_s > PLACE_KEPT_S:
            return False
        self._spell.used += 1
        self._used += 1
        self._gain_factor += frame.gain * factor
        self._constant += float(counts_variance(0.0, frame.gain, self._calibration)) * factor * factor
        motion = self._motion or Motion()
        self._held_px += motion.dx_px, motion.dy_px
        places = places_in_frame(motion, self._calibration.camera.shape)
        return bins.add([MovedFrame(frame.pixels, places, factor)], self.sums, self.seen, clipped)

    def _mean_counts(self, pixels: Counts) -> float:
        some = pixels[:: self._every]
        total = int(some.sum(dtype=np.uint64)) - int(some[self._defects].sum(dtype=np.uint64))
        return (total - self._dark) / self._pixels

    def _count_place(self, spell: _Spell, motion: Motion | None) -> None:
        """The hand moved during a spell: evenly, as far as is known, while its frames are taken to lie where it began."""
        before, after = self._motion or Motion(), motion or Motion()
        moved_px = np.array((after.dx_px - before.dx_px, after.dy_px - before.dy_px))
        passed = np.arange(1, spell.used + 1) / (spell.frames + 1)
        # half of it along each axis
        self._place2 += float(np.square(passed).sum()) * float(moved_px @ moved_px) / 2.0
        self._held_px += float(passed.sum()) * moved_px

    @property
    def note(self) -> str:
        """What must be said of it; empty where the light was not stepped."""
        if not self._steps:
            return ""
        if self._is_measured:
            return (
                "the light was stepped; the room's own infrared, which does not go with it, was measured at each step, and what "
                "steps made of it is taken off"
            )
        return (
            "the light was stepped, and the room's own infrared was not measured: it does not go with the light, so that "
            "curves jump by what it adds where the light was stepped; keep one level, or set picture.unlit_every"
        )

    @property
    def _is_measured(self) -> bool:
        return bool(self._used) and not self._unmeasured

    def steps(
        self, times_s: F64, inverse_outputs: F64, inverse_flat: F32, pixels: NDArray[np.uint8]
    ) -> LightSteps | None:
        """What is to be taken off slots of mean times and means of 1 / output, (slots,); None where that is nothing or not known.

        ``inverse_flat`` and ``pixels`` (height, width) as in ``Bins``.
        """
        if not self._steps or not self._is_measured:
            return None
        n, seen = self._used, self.seen > 0
        times = np.maximum(self.seen, 1).astype(np.float32)
        rate = self.sums / times
        shot = np.float32(self._calibration.counts_per_electron * self._gain_factor / n)
        rest = np.float32(self._constant / n)
        variance = (np.maximum(rate, 0) * inverse_flat * shot + pixels * inverse_flat**2 * rest) / times
        if seen.any():
            # what no such frame showed is like the rest
            rate[~seen], variance[~seen] = rate[seen].mean(), rate[seen].var()
        changed, changed_u = self._changed(times_s)
        of_place = _gradient2(rate, variance) * np.float32(self._place2 / n) if self._place2 else np.float32(0)
        variance += of_place + rate * rate * np.float32(changed_u * changed_u)
        factors = (inverse_outputs - self._first_inverse) * changed
        return LightSteps(rate, np.sqrt(variance), factors, self._held_px / n)

    def _changed(self, times_s: F64) -> tuple[F64, float]:
        """How many times as bright the room is at ``times_s`` as in the picture of the rate, and how unsure that is at most.

        Linear between dark spells, constant beyond.
        """
        dark_s, rates, variances, used = np.array([point for spell in self._spells for point in spell.points()]).T
        weights = used / used.sum()
        mean, mean_u = float(weights @ rates), math.sqrt(float(weights**2 @ variances))
        if dark_s.size == 1 or mean < _TOLD * mean_u:
            return np.ones(times_s.size), 0.0
        shares = np.stack([np.interp(times_s, dark_s, one) for one in np.eye(dark_s.size)], axis=1)
        changed = np.maximum(shares @ rates / mean, 0.0)
        off2 = np.square(shares - changed[:, None] * weights) @ variances / mean**2
        return changed, math.sqrt(float(off2.max()))


def _gradient2(plane: F32, variance: F32) -> F32:
    """Squared change a pixel of a plane of bins, (height, width), without what its noise of ``variance`` makes of it.

    Over means of 3 x 3 bins: of single ones noise would be most of it.
    """
    wide = np.pad(plane, 2, mode="edge")
    rows = wide[:-2] + wide[1:-1] + wide[2:]
    means = (rows[:, :-2] + rows[:, 1:-1] + rows[:, 2:]) / np.float32(9)
    down, right = means[2:, 1:-1] - means[:-2, 1:-1], means[1:-1, 2:] - means[1:-1, :-2]
    # from a mean to the next but one it is 4 pixels, and 12 of their bins differ along each axis
    noise2 = variance * np.float32(2 * 12 / 81)
    return np.asarray(np.maximum(down * down + right * right - noise2, 0) / np.float32(16))
