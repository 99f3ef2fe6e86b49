"""Whether the hand came nearer during a recording: by how much larger its pictures show the tissue than the first one did.

Registration finds where tissue lies, and takes it to stay as large. Here two pictures some seconds apart, laid on each other, are
asked what is left over: least squares for strength, shift, rotation and size at once (Lucas & Kanade 1981), as registration does
for the first three. Pictures follow one another like a chain, so that the dye has changed each but little since the one before.
"""

import math
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import shared.motion.resample
from shared.calibration import Calibration
from shared.frame import Counts
from shared.inflow.curves import RegionCurve
from shared.lanes import borrowed, compiler
from shared.motion.pose import Motion
from shared.motion.reduced import LEAST_SIDE, Reducer
from shared.motion.refinement import noise_u_texels
from shared.motion.resample import sample_row, seen_columns

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

compiled = compiler(Path(__file__), Path(shared.motion.resample.__file__), reorder=True)

SURE = 0.02
"""A change of size below this share is taken for none: signal changes by twice as much."""
_DRIFT = 5e-5
"""By how much more a link a long chain may be off: measured on the ready scenes at full size, 0.9 to 3.7e-5 a link."""
EVERY_S = 2.0
"""Between links of the chain."""
_BY_CHANCE = 3.0
"""And by how many standard uncertainties from noise: a small picture with one faint patch tells size to two hundredths only
(measured; 1.1 to 1.6 times what is worked out, which takes texture to be everywhere)."""
_STEPS = 4
_STEP_SHARE = 0.65
"""Part of each step that is taken: see shared.motion.refinement."""
_LEAST_LIKENESS = 0.3
_PATIENCE_S = 10.0
"""After so long without a link the chain begins anew, as large as it was."""
_LARGEST_STEP = 0.05
"""Of size, from link to link."""
_DOUBT = 0.5
"""Share of a correction that is its standard uncertainty: see shared.compare.remainder.brighter."""


@dataclass(frozen=True, eq=False)
class Look:
    """What a link keeps of a picture: its texture, whose texels are ``texel_px`` pixels wide, the motion from the reference view to
    it, and when it was taken.
    """

    texture: F32
    texel_px: float
    place: Motion
    time_s: float


@dataclass(eq=False)
class Nearing:
    """Takes pictures of a recording with their places, in order, and keeps how large each showed the tissue."""

    calibration: Calibration
    reducer: Reducer | None = None
    """Of the calibration, lent so that making one takes no time; made here where it is not, none for small pictures."""
    times_s: list[float] = field(default_factory=list)
    sizes: list[float] = field(default_factory=list)
    untold_s: float = 0.0
    """For how long pictures were too little alike to tell."""
    _variance: float = 0.0
    """Of the chain's last size, from noise."""
    _last: Look | None = field(init=False, default=None)
    _looked_s: float = field(init=False, default=-math.inf)

    def __post_init__(self) -> None:
        if self.reducer is None and min(self.calibration.camera.shape) >= LEAST_SIDE:
            self.reducer = Reducer(self.calibration)

    def is_due(self, time_s: float) -> bool:
        """Whether a picture at ``time_s`` would be a new link."""
        return self.reducer is not None and time_s - self._looked_s >= EVERY_S

    def take(self, pixels: Counts, place: Motion, time_s: float) -> None:
        """A raw (height, width) uint16 picture with light, and the motion from the reference view to it."""
        self.join(self.look(pixels, place, time_s))

    def look(self, pixels: Counts, place: Motion, time_s: float) -> Look:
        """The first half of ``take``, a small part of its time; the rest may be another thread's."""
        assert self.reducer is not None
        self._looked_s = time_s
        made = self.reducer.texture(pixels)
        return Look(made.coarse, made.block_px * made.coarse_step, place, time_s)

    def join(self, look: Look) -> None:
        """The second half: make it the chain's next link."""
        size, last = 1.0, self._last
        if last is not None:
            motion = last.place.back().then(look.place)
            grown = (
                _size(last.texture, look.texture, motion, look.texel_px),
                _size(look.texture, last.texture, motion.back(), look.texel_px),
            )
            if grown[0] is not None and grown[1] is not None:
                # what errs alike both ways, interpolation and uneven noise, would grow from link to link
                size = self.sizes[-1] * math.sqrt(grown[0].size / grown[1].size)
                self._variance += max(grown[0].u, grown[1].u) ** 2
            elif look.time_s - last.time_s < _PATIENCE_S:
                return
            else:
                size = self.sizes[-1]
                self.untold_s += look.time_s - last.time_s
        self.times_s.append(look.time_s)
        self.sizes.append(size)
        self._last = look

    @property
    def largest(self) -> tuple[float, float]:
        """The size that differs most from the first, and when, seconds; (1, 0) where nothing was found."""
        found = ((size, at_s) for size, at_s in zip(self.sizes, self.times_s, strict=True))
        return max(found, key=lambda each: abs(each[0] - 1.0), default=(1.0, 0.0))

    @property
    def is_sure(self) -> bool:
        """Whether the distance changed by more than what may be an error."""
        by_chance = _BY_CHANCE * math.sqrt(self._variance)
        return abs(self.largest[0] - 1.0) >= SURE + _DRIFT * len(self.sizes) + by_chance

    def warnings(self) -> tuple[str, ...]:
        """What must be said of it."""
        untold = (
            (
                f"for {self.untold_s:.0f} s it cannot be told whether the hand came nearer or moved away: curves take the distance "
                "to have stayed",
            )
            if self.untold_s
            else ()
        )
        if not self.is_sure:
            return untold
        size, at_s = self.largest
        percent = 100.0 * abs(size**2 - 1.0)
        if size > 1.0:
            return (
                *untold,
                f"the hand came nearer: at {at_s:.0f} s tissue is {size:.2f} times as large as at first, and about {percent:.0f} % "
                "brighter for that; curves and figures allow for it, with doubt, maps do not; percent at one moment hold",
            )
        return (
            *untold,
            f"the hand moved away: at {at_s:.0f} s tissue is {size:.2f} times as large as at first, and about {percent:.0f} % "
            "darker for that; curves and figures allow for it, with doubt, maps do not; percent at one moment hold",
        )

    def factors(self, times_s: F64) -> F64:
        """By what signal at these times is multiplied to be as from the distance at first."""
        return np.interp(times_s, self.times_s, self.sizes) ** -2.0 if self.is_sure else np.ones(times_s.size)

    def doubts(self, factors: F64) -> F64:
        """One standard uncertainty of what such factors make of it, as a share."""
        return np.asarray(_DOUBT * (1.0 - factors))

    def taken_out(self, curve: RegionCurve) -> RegionCurve:
        """A curve as from the distance at first; what is unsure of that is one more row of ``by_place``.

        Size goes as one over the distance and a ring's irradiance as one over its square, as ``brighter`` has it.
        """
        if not self.is_sure or curve.by_place is None:
            return curve
        factor = self.factors(curve.times_s)
        signal = curve.signal * factor
        nearer = self.doubts(factor) * signal
        by_place = np.vstack([curve.by_place * factor, nearer])
        by_ambient = None if curve.by_ambient is None else curve.by_ambient * factor
        return replace(curve, signal=signal, signal_u=curve.signal_u * factor, by_place=by_place, by_ambient=by_ambient)


@dataclass(frozen=True)
class _Grown:
    """How many times as large one picture shows what another does, and the standard uncertainty that noise leaves."""

    size: float
    u: float


def _size(earlier: F32, later: F32, motion: Motion, texel_px: float) -> _Grown | None:
    """How many times as large ``later`` shows what ``earlier`` does; None where the two are not alike."""
    here = Motion(motion.dx_px / texel_px, motion.dy_px / texel_px, motion.rotation_deg)
    likeness, parts, sums = 0.0, np.empty((6, earlier.shape[1])), np.empty((6, 6))
    for _ in range(_STEPS):
        if _add_up(earlier, later, here.to_frame(earlier.shape), parts, sums) < LEAST_SIDE**2:
            return None
        a, dx, dy, turn, growth = np.linalg.lstsq(sums[:5, :5], sums[:5, 5], rcond=None)[0]
        if not a > 0:
            return None
        likeness = float(sums[0, 5] / math.sqrt(sums[0, 0] * sums[5, 5]))
        share = -_STEP_SHARE / a
        step = Motion(share * dx, share * dy, math.degrees(share * turn), magnification=1.0 + share * growth)
        here = step.then(here)
    if likeness < _LEAST_LIKENESS or abs(here.magnification - 1.0) > _LARGEST_STEP:
        return None
    # a texel at a distance r from the middle tells size to its own place's uncertainty over r
    return _Grown(
        here.magnification, noise_u_texels(likeness, earlier.size) / math.hypot(*earlier.shape) * math.sqrt(12)
    )


@compiled
def _add_up(earlier: F32, later: F32, to_later: F64, parts: F64, sums: F64) -> int:
    """Products, (6, 6), of what strength, a shift to the right and down, a turn and growth change in ``earlier`` with each other
    and with what ``later`` shows where ``to_later`` puts each texel; returns how many texels both show. ``parts`` (6, columns) is
    room for a row.
    """
    rows, columns = earlier.shape
    seen, texels = np.empty(columns, np.float32), 0
    # without owners: rows cut out of them would cost a reference count each
    earlier, later, parts = borrowed(earlier), borrowed(later), borrowed(parts)
    across, down = to_later[0, 0], to_later[1, 0]
    sums[:] = 0.0
    for row in range(1, rows - 1):
        x0, y0 = to_later[0, 1] * row + to_later[0, 2], to_later[1, 1] * row + to_later[1, 2]
        begin, end = seen_columns(x0, y0, across, down, rows, columns, 1, columns - 1)
        sample_row(later, x0, y0, across, down, begin, end, seen)
        size = max(end - begin, 0)
        texels += size
        above, below, shown = earlier[row - 1, begin:end], earlier[row + 1, begin:end], seen[begin:end]
        before, here, after = earlier[row, begin - 1 :], earlier[row, begin:], earlier[row, begin + 1 :]
        left, y = begin - 0.5 * (columns - 1), row - 0.5 * (rows - 1)
        for k in range(size):
            by_x, by_y, x = 0.5 * (after[k] - before[k]), 0.5 * (below[k] - above[k]), left + k
            parts[0, k], parts[1, k], parts[2, k], parts[5, k] = here[k], by_x, by_y, shown[k]
            parts[3, k], parts[4, k] = x * by_y - y * by_x, x * by_x + y * by_y
        for i in range(6):
            for j in range(i + 1):
                sums[i, j] += _product(parts[i, :size], parts[j, :size])
    for i in range(6):
        for j in range(i):
            sums[j, i] = sums[i, j]
    return texels


@compiled
def _product(one: F64, other: F64) -> float:
    total = 0.0
    for k in range(one.size):
        total += one[k] * other[k]
    return total
