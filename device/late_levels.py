"""Mean signal of a recording's frames as a picture of a view, as curves have it: ambient light off, distance as at first."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from device.followed_hand import FollowedHand
from shared.compare.late_level import LATE_SHARE
from shared.compare.remainder import brighter
from shared.inflow.ambient_told import AmbientFields, AmbientTold
from shared.inflow.map_pictures import grey_beneath
from shared.live_picture import block_any, block_means
from shared.motion.pose import Motion, to_frames
from shared.motion.resample import into_reference
from shared.noise import variance_counts2
from shared.recording import Recording
from shared.review.ambient_beside import AmbientBeside
from shared.signal import DefectSources, Measured, corrected_counts, saturated

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
Bytes = NDArray[np.uint8]

_MOST_FRAMES = 40
"""Of those that lie closer as many are used."""
_FEWEST_BEFORE = 3
_APART = 16
"""Bins from point to point at which it is worked out what the hand carried: it hardly changes between."""


@dataclass(frozen=True, eq=False)
class Level:
    """Mean signal in a view with its variance, (height, width) bins; ``at_s`` is the mean time, ``saturated`` any of its frames.

    ``ways`` (ways, height, width), by the recording they come from: what signal would change by if what all bins have in common
    were off by one standard uncertainty: carried light, and how near the hand came.
    """

    signal: F32
    variance: F32
    ways: Mapping[str, F32]
    saturated: NDArray[np.bool_]
    at_s: float

    def times(self, share: float) -> "Level":
        """So much of it."""
        ways = {name: np.float32(share) * way for name, way in self.ways.items()}
        return replace(
            self, signal=np.float32(share) * self.signal, variance=np.float32(share**2) * self.variance, ways=ways
        )

    def less(self, others: Sequence["Level"]) -> "Level":
        """What is above all of these."""
        signal, variance, ways = self.signal, self.variance, dict(self.ways)
        for other in others:
            signal, variance = signal - other.signal, variance + other.variance
            for name, way in other.ways.items():
                ways[name] = ways.get(name, np.float32(0)) - way
        return replace(self, signal=signal, variance=variance, ways=ways)

    def doubted(self, u: F32) -> "Level":
        """With one more standard uncertainty of each bin."""
        return replace(self, variance=self.variance + np.square(u))

    def magnified(self, magnification: float) -> "Level":
        """The same in the light of a picture in which the tissue is so many times as large."""
        unit = brighter(Measured(1.0, 0.0), magnification)
        return self.times(unit.value).doubted(np.float32(unit.u) * self.signal)


@dataclass(frozen=True, eq=False)
class _Seen:
    """Frames as they lie in the view: their mean, what the hand carried in it; where they show the tissue (frames, 2, 3), the run's
    first light as a multiple of each one's, and by what each one's signal is multiplied to be as from the first distance (frames,).
    """

    mean: Level
    to_frames: F64
    by_light: F64
    by_distance: F64


class Levels:
    """One recording, seen from a view that ``motion`` leads from."""

    def __init__(
        self, recording: Recording, hand: FollowedHand, motion: Callable[[int], Motion | None], name: str
    ) -> None:
        """``hand`` has gone through the whole recording, and curves were made with it; ``name`` is for what is unsure alike."""
        self._recording, self._hand, self._motion, self._name = recording, hand, motion, name
        self._sources = DefectSources.around(recording.calibration.defects)
        table = recording.frame_table
        self.times_s = np.asarray((table.sensor_time_ns - table.sensor_time_ns[0]) / 1e9, np.float64)
        self._by_distance = hand.nearing.factors(self.times_s)
        is_lit = np.asarray(table.lit & (table.light_level > 0))
        self._ambient = AmbientBeside(recording, self.times_s, is_lit)
        self._lit = np.flatnonzero(is_lit & ~self._ambient.left_out)

    def before(self, until_s: float) -> Sequence[int]:
        """Frames before anything of this run's dye can be in them."""
        return self._spread(self._lit[self.times_s[self._lit] < until_s])

    def late(self) -> Level:
        """Over the last tenth."""
        count = max(int(self._lit.size * LATE_SHARE), 1)
        found = self.mean(self._spread(self._lit[-count:]))
        assert found is not None
        return found

    def grey(self) -> Bytes:
        """The last lit frame, in the common view."""
        number = int(self._lit[-1])
        grey = grey_beneath(self._recording.frame(number), self._recording.calibration)
        motion = self._motion(number) or Motion()
        half = replace(motion, dx_px=motion.dx_px / 2, dy_px=motion.dy_px / 2)
        seen = into_reference(grey.astype(np.float32), half, np.empty(grey.shape, np.float32))
        return np.asarray(np.nan_to_num(seen), np.uint8)

    def mean(self, numbers: Sequence[int]) -> Level | None:
        """Mean of frames in the view; None where the place of none is known."""
        seen, carried = self._seen(numbers), self._hand.carried
        if seen is None or carried is None:
            return None if seen is None else seen.mean
        told, fields = carried.told, carried.told.fields
        off = self._carried(seen, told, fields)
        ways = np.array([self._carried(seen, told, fields.plus(doubt)) - off for doubt in told.doubts])
        others = {**seen.mean.ways, f"{self._name}, carried": ways}
        return replace(seen.mean, signal=seen.mean.signal - off, ways=others)

    def _carried(self, seen: _Seen, told: AmbientTold, fields: AmbientFields) -> F32:
        """What light of such ``fields`` adds to the mean signal of frames, because they do not lie as the view does."""
        before, (rows, columns) = self._before_dye, seen.mean.signal.shape
        down, across = (np.unique(np.r_[0:side:_APART, side - 1]) for side in (rows, columns))
        y_px, x_px = (2.0 * each.ravel() + 0.5 for each in np.meshgrid(down, across, indexing="ij"))
        points_px = np.stack([x_px, y_px], axis=1)
        with_signal, even = told.added(fields, points_px, seen.to_frames)
        if self._to_dark is not None:
            # steps of the light were taken off as tissue lay in frames without
            dark_signal, dark_even = (each.mean(axis=0) for each in told.added(fields, points_px, self._to_dark))
            stepped = (seen.by_light - 1.0)[:, None]
            with_signal = seen.by_light[:, None] * with_signal - stepped * dark_signal
            even = seen.by_light[:, None] * even - stepped * dark_even
        weights = seen.by_distance / seen.by_distance.size
        early = told.added(fields, points_px, before.to_frames)[0].mean(axis=0)
        of_signal, of_even = weights @ with_signal / (1.0 + early), weights @ even

        def between(points: F64) -> F32:
            found = _between(down, rows) @ points.reshape(down.size, across.size) @ _between(across, columns).T
            return np.asarray(found, np.float32)

        return between(of_signal) * before.mean.signal + between(of_even)

    @cached_property
    def _before_dye(self) -> _Seen:
        """Frames that tell of ambient light; the first whose place is known where dye is in all."""
        until_s = np.inf if self._hand.carried is None else self._hand.carried.until_s
        early = self.before(until_s)
        found = self._seen(early) if len(early) >= _FEWEST_BEFORE else None
        if found is None:
            placed = (number for number in map(int, self._lit) if self._motion(number) is not None)
            found = self._seen(list(islice(placed, _FEWEST_BEFORE)))
        assert found is not None
        return found

    @cached_property
    def _to_dark(self) -> F64 | None:
        """Where tissue lay in frames without light, (frames, 2, 3), as in the lit ones before them; None where none are used."""
        if self._ambient.way != "steps":
            return None
        lit_before = np.searchsorted(self._lit, self._ambient.dark) - 1
        motions = [self._motion(int(self._lit[at])) for at in lit_before if at >= 0]
        placed = [motion for motion in motions if motion is not None]
        return self._places(placed) if placed else None

    def _places(self, motions: Sequence[Motion]) -> F64:
        numbers = [(each.dx_px, each.dy_px, each.rotation_deg, each.magnification) for each in motions]
        return to_frames(np.array(numbers).reshape(-1, 4), self._recording.camera.shape)

    def _seen(self, numbers: Sequence[int]) -> _Seen | None:
        calibration, shape = self._recording.calibration, self._recording.camera.shape
        total, spread, in_common = np.zeros(shape), np.zeros(shape), np.zeros(shape)
        clipped = np.zeros(shape, np.bool_)
        seen, taken, motions = np.empty(shape, np.float32), [], []
        for number in numbers:
            motion, frame = self._motion(number), self._recording.frame(number)
            if motion is None:
                continue
            factor = self._by_distance[number] * calibration.counts_to_signal(
                frame.exposure_us, frame.gain, frame.light_level
            )
            counts = corrected_counts(frame.pixels, calibration, self._sources)
            noise = variance_counts2(
                counts * calibration.flat,
                calibration.counts_per_electron * frame.gain,
                calibration.read_noise_electrons,
            )
            if self._ambient.is_off(number):
                ambient, variance = self._ambient.counts(number, calibration, reduced=False)
                ambient /= calibration.flat
                self._sources.replace(ambient)
                counts -= ambient
                in_common += variance * np.square(factor / calibration.flat)
            total += into_reference((counts * factor).astype(np.float32), motion, seen)
            spread += _noise_of_bin(motion) * into_reference(
                (noise * np.square(factor / calibration.flat)).astype(np.float32), motion, seen
            )
            clipped |= into_reference(saturated(frame.pixels, calibration).astype(np.float32), motion, seen) > 0
            taken.append(number)
            motions.append(motion)
        if not taken:
            return None
        count, by_distance = len(taken), self._by_distance[taken]
        signal = _narrowed(block_means(total / count).astype(np.float32), motions)
        nearer = np.float32(self._hand.nearing.doubts(by_distance).mean()) * signal
        level = Level(
            signal,
            block_means(spread / count**2 + in_common / (2.0 * count)).astype(np.float32),
            {f"{self._name}, nearer": nearer[None]} if nearer.any() else {},
            block_any(clipped),
            float(np.mean(self.times_s[taken])),
        )
        by_light = np.array([self._ambient.inverse_output(number) for number in taken])
        return _Seen(level, self._places(motions), by_light, by_distance)

    def _spread(self, numbers: NDArray[np.intp]) -> Sequence[int]:
        if numbers.size <= _MOST_FRAMES:
            return [int(number) for number in numbers]
        return [int(numbers[at]) for at in np.linspace(0, numbers.size - 1, _MOST_FRAMES).round().astype(int)]


def _noise_of_bin(motion: Motion) -> float:
    """Variance of the mean of 2 x 2 pixels that lie between those of a frame, beside a pixel's: neighbours share some of these."""
    off = np.array((motion.dx_px, motion.dy_px)) % 1.0
    return float(np.prod((1.0 - off + off**2) / 2.0))


def _narrowed(signal: F32, motions: Sequence[Motion]) -> F32:
    """Signal of bins that were read between pixels, put right for how much wider that makes all.

    By straight lines between pixels at f and 1 - f, a point is widened by f (1 - f) square pixels, which adds an eighth of that of
    the second difference of bins.
    """
    off = np.array([(motion.dx_px, motion.dy_px) for motion in motions]) % 1.0
    right, down = ((off * (1.0 - off)).mean(axis=0) / 8.0).astype(np.float32)
    added = np.zeros_like(signal)
    added[:, 1:-1] += right * (signal[:, 2:] - 2.0 * signal[:, 1:-1] + signal[:, :-2])
    added[1:-1] += down * (signal[2:] - 2.0 * signal[1:-1] + signal[:-2])
    return signal - np.nan_to_num(added)


def _between(points: NDArray[np.intp], size: int) -> F64:
    """Weights (size, points) of straight lines through values at points."""
    return np.stack([np.interp(np.arange(size), points, each) for each in np.eye(points.size)], axis=1)
