"""The time course of every 2 x 2 bin in constant memory: a fixed number of time slots, merged two by two when all are full.

Those two neighbours are merged that differ least over the whole picture (Ward 1963, J Am Stat Assoc 58:236, from memory), measured
against shot noise, so that the slots stay short where signal rises and grow long before the dye and after it. DECISION-maps.md
says why.
"""

import math
from collections.abc import Iterable
from dataclasses import InitVar, dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from shared.calibration import Calibration
from shared.errors import Refused
from shared.frame import Frame
from shared.inflow import maps_kernel as kernel
from shared.inflow.ambient_bins import AmbientBins
from shared.inflow.ambient_steps import DarkFrames, LightSteps
from shared.inflow.maps_motion import TOGETHER, MovedBins, MovedFrame, lie_still, places_in_frame, rounding_px
from shared.inflow.maps_samples import Samples
from shared.motion.pose import Motion
from shared.signal import counts_variance

F32 = NDArray[np.float32]

SLOTS = 64
SHORTEST_S = 0.5
LONGEST = 2.7
"""No merged slot is longer than this many times the mean one, so that the washout keeps its points."""
CLIPPED_SHARE = 0.1
"""A bin is saturated when more of its readings within one slot are; below, clipping moves a mean by under 0.05 of its noise."""
SEEN_SHARE = 0.75
"""A bin that fewer of a slot's frames showed counts as unseen: what they say would be of another moment than the slot's, and
noisier than it says."""
BLOCK = 16


@dataclass(frozen=True)
class Slot:
    """Frames of one stretch of time, seconds since the first frame; ``time_s`` is the mean of the middles of their exposures.

    The variance of a bin's mean is ``shot`` x signal / f + (``rest`` + ``common``) x pixels / f^2 with f the sum of the flat over
    the bin's good pixels; ``step`` is the signal that one stored count stands for, ``place`` which plane holds it. ``common`` is
    what the noise of the measured ambient light does, which all frames have alike that show a bin at one spot of the camera;
    ``spots`` says at how many the hand held it. A later slot of that spot shares exp(this one's ``age`` - its own) of it.

    Means over its frames: ``right_px`` and ``down_px``, how far off they were read, because a hand moves by parts of a pixel;
    ``off_px2``, the square of that along both axes; ``moved_right_px`` and ``moved_down_px``, where the hand held the picture's
    middle; ``inverse_output``, 1 over the ring's output.
    """

    start_s: float
    end_s: float
    time_s: float
    frames: int
    shot: float
    rest: float
    step: float
    place: int
    right_px: float = 0.0
    down_px: float = 0.0
    off_px2: float = 0.0
    moved_right_px: float = 0.0
    moved_down_px: float = 0.0
    common: float = 0.0
    spots: int = 1
    age: float = 0.0
    inverse_output: float = 1.0

    @property
    def held(self) -> tuple[float, ...]:
        """The means over frames, as ``held_of`` has them of one."""
        return self.right_px, self.down_px, self.off_px2, self.moved_right_px, self.moved_down_px

    @property
    def at_rest(self) -> bool:
        """Whether every frame lay where the bins do, to the nearest pixel."""
        return (
            self.spots == 1
            and math.hypot(self.moved_right_px + self.right_px, self.moved_down_px + self.down_px) < 1e-6
        )

    def shared_with(self, later: "Slot") -> float:
        """What of ``common`` a later slot has too, where both show a bin at the same spot."""
        return self.common * math.exp(self.age - later.age)

    def joined(self, other: "Slot") -> "Slot":
        """Both as one, in this one's place."""
        frames = self.frames + other.frames
        a, b = self.frames / frames, other.frames / frames
        rest = self.spots == other.spots == 1
        return Slot(
            self.start_s,
            other.end_s,
            a * self.time_s + b * other.time_s,
            frames,
            a * a * self.shot + b * b * other.shot,
            a * a * self.rest + b * b * other.rest,
            max(self.step, other.step),
            self.place,
            a * self.right_px + b * other.right_px,
            a * self.down_px + b * other.down_px,
            a * self.off_px2 + b * other.off_px2,
            a * self.moved_right_px + b * other.moved_right_px,
            a * self.moved_down_px + b * other.moved_down_px,
            a * a * self.common + b * b * other.common + (2 * a * b * self.shared_with(other) if rest else 0.0),
            1 if rest else self.spots + other.spots,
            a * self.age + b * other.age,
            a * self.inverse_output + b * other.inverse_output,
        )


def held_of(motion: Motion | None) -> NDArray[np.float64]:
    """What ``Slot.held`` is the mean of; a frame without a motion lies where the bins do."""
    if motion is None:
        return np.zeros(5)
    right, down = rounding_px(motion)
    return np.array((right, down, right * right + down * down, motion.dx_px, motion.dy_px))


@dataclass(eq=False)
class _Filling:
    """What is known of the slot that frames go into."""

    first_s: float
    last_s: float
    times_s: float = 0.0
    frames: int = 0
    gain_factor: float = 0.0
    constant: float = 0.0
    common: float = 0.0
    """Variance that the mean of the frames keeps, because they share its cause, where all show a bin at one spot of the camera."""
    spots: set[tuple[int, int]] = field(default_factory=set)
    age: float = 0.0
    inverse_output: float = 0.0
    held: NDArray[np.float64] = field(default_factory=lambda: np.zeros(5))


@dataclass(frozen=True, eq=False)
class Bins:
    """What the calibration says of the 2 x 2 bins, (height, width) each.

    ``inverse_flat`` is 1 over the sum of the flat over good pixels, 0 where there is none; ``dark`` the sum of the dark counts.
    """

    dark: F32
    inverse_flat: F32
    pixels: NDArray[np.uint8]

    @classmethod
    def of(cls, calibration: Calibration) -> "Bins":
        """An odd last row or column is left out."""
        good = ~calibration.defects
        flat = _binned(np.where(good, calibration.flat, np.float32(0)))
        inverse = np.divide(1.0, flat, out=np.zeros_like(flat), where=flat > 0)
        return cls(
            _binned(np.where(good, calibration.dark_counts, np.float32(0))), inverse, _binned(good).astype(np.uint8)
        )


def defects_of(calibration: Calibration) -> NDArray[np.int32]:
    """Rows and columns, (n, 2), of the defects that lie in a bin."""
    height, width = calibration.camera.shape
    rows, columns = np.nonzero(calibration.defects[: height // 2 * 2, : width // 2 * 2])
    return np.stack([rows, columns], 1).astype(np.int32)


@dataclass(eq=False)
class MapGatherer:
    """Takes frames one by one. ``slots`` are those that are finished, in order of time; ``planes`` (slots, height, width) int16.

    With ``known_bins`` and ``known_moved``, those of the calibration, making one takes no longer than asking for memory, and no
    frame longer than another. ``ambient_off``: unlit frames among those taken in measure the ambient light, which is taken off;
    frames of which it is not known are left out. Its noise counts as if the light were even over the picture. Without
    ``ambient_off`` they measure what steps of the light make of it, ``light_steps``, which reading takes off.
    """

    calibration: Calibration
    number: int = SLOTS
    known_bins: InitVar[Bins | None] = None
    known_moved: InitVar[MovedBins | None] = None
    ambient_off: InitVar[bool] = False
    bins: Bins = field(init=False)
    planes: NDArray[np.int16] = field(init=False)
    saturated: NDArray[np.uint8] = field(init=False)
    samples: Samples = field(init=False)
    slots: list[Slot] = field(init=False, default_factory=list)
    first_ns: int | None = None

    def __post_init__(self, known_bins: Bins | None, known_moved: MovedBins | None, ambient_off: bool) -> None:
        self.bins = known_bins or Bins.of(self.calibration)
        shape = self.bins.dark.shape
        if min(shape) < 1 or self.number < 8:
            raise Refused("maps need 2 x 2 pixels and 8 slots", (shape, self.number))
        self.planes = np.empty((self.number + 1, *shape), np.int16)
        self.saturated = np.zeros(shape, np.uint8)
        self.samples = Samples.of(self.number + 1, shape)
        self._sums, self._clipped = np.zeros(shape, np.uint32), np.zeros(shape, np.uint16)
        self._signal, self._seen = np.zeros(shape, np.float32), np.zeros(shape, np.uint16)
        rows, columns = (np.diff([*range(0, side, BLOCK), side]) for side in shape)
        self._inside, self._known = np.outer(rows, columns), np.zeros((rows.size, columns.size), np.int64)
        self._blocks = np.zeros((self.number + 1, rows.size, columns.size), np.float32)
        self._free = list(range(self.number + 1))
        self._losses: list[float] = []
        self._defects = defects_of(self.calibration)
        self._filling: _Filling | None = None
        self._pending = 0
        self._factor = 0.0
        self._any_clipped = False
        self._known_moved = known_moved
        self._moved: MovedBins | None = None
        self._waiting: list[MovedFrame] = []
        self._ambient = AmbientBins(self.calibration, self.bins.dark, self.bins.pixels) if ambient_off else None
        self._dark_frames = None if ambient_off else DarkFrames(self.calibration, shape)
        self._dark = self.bins.dark.copy() if ambient_off else self.bins.dark
        self._ambient_for: tuple[float, float] | None = None
        self._unlit, self._unknown = 0, 0

    @property
    def notes(self) -> tuple[str, ...]:
        """What must be said of ambient light."""
        if self._dark_frames is not None:
            return (self._dark_frames.note,) if self._dark_frames.note else ()
        found = []
        if self._unlit:
            found.append(f"ambient light was measured in {self._unlit} frames without light, and is taken off")
        if self._unknown:
            found.append(
                f"{self._unknown} frames are missing from the maps: the room's light was not measured in the 3 s before them, so "
                "that it cannot be taken off"
            )
        return tuple(found)

    @property
    def camera_shape(self) -> tuple[int, int]:
        """Of the frames, in pixels."""
        return self.calibration.camera.shape

    @property
    def light_steps(self) -> LightSteps | None:
        """What is to be taken off the slots because the light was stepped; None where that is nothing or not known."""
        if self._dark_frames is None:
            return None
        times_s, inverse = np.array([(slot.time_s, slot.inverse_output) for slot in self.slots]).reshape(-1, 2).T
        return self._dark_frames.steps(times_s, inverse, self.bins.inverse_flat, self.bins.pixels)

    @property
    def bytes_a_bin(self) -> float:
        """Memory for each bin, of everything kept here."""
        arrays = (
            *(self.planes, self.saturated, self._sums, self._clipped, self._signal, self._seen, self._blocks),
            *(self.samples.sums, self.samples.held),
        )
        bins = (self.bins.dark, self.bins.inverse_flat, self.bins.pixels)
        unlit = 0 if self._dark_frames is None else self._dark_frames.sums.nbytes + self._dark_frames.seen.nbytes
        return (sum(array.nbytes for array in (*arrays, *bins)) + unlit) / self.saturated.size

    def add(self, frame: Frame, motion: Motion | None = None) -> None:
        """Take one frame in; one without light counts for nothing but the ambient light.

        ``motion`` is from the view whose bins are kept to the frame; without it the frame shows that view.
        """
        self.add_together(((frame, motion),))

    def add_together(self, frames: Iterable[tuple[Frame, Motion | None]]) -> None:
        """Take frames in one after the other, each with its motion: the same as ``add``, in less time for each."""
        for frame, motion in frames:
            self._take(frame, motion)
        self._add_moved()

    def _take(self, frame: Frame, motion: Motion | None) -> None:
        if self.first_ns is None:
            self.first_ns = frame.sensor_time_ns
        level = frame.light_level if frame.lit else 0.0
        time_s = (frame.sensor_time_ns - self.first_ns) / 1e9 - frame.exposure_us / 2e6
        if level <= 0:
            self._take_unlit(frame, time_s)
            return
        if self.calibration.output_at(level) <= 0:
            return
        if self._ambient is not None and not self._ambient.is_known(time_s):
            self._unknown += 1
            return
        factor = self.calibration.counts_to_signal(frame.exposure_us, frame.gain, level)
        if self._dark_frames is not None:
            self._dark_frames.lit(time_s, level, motion)
        self._into_slot(time_s)
        self._suit_ambient(frame)
        places = None if motion is None else places_in_frame(motion, self.camera_shape)
        if places is None or lie_still(places, self.saturated.shape):
            self._sum(frame, factor)
        else:
            self._waiting.append(MovedFrame(frame.pixels, places, factor))
            if len(self._waiting) == TOGETHER:
                self._add_moved()
        self._count(frame, time_s, factor, motion)

    def _count(self, frame: Frame, time_s: float, factor: float, motion: Motion | None) -> None:
        """Note a frame's time, its noise, and how the hand held it."""
        filling = self._filling
        assert filling is not None
        filling.last_s = time_s
        filling.times_s += time_s
        filling.frames += 1
        filling.gain_factor += frame.gain * factor
        filling.inverse_output += factor * frame.exposure_us * frame.gain / 1000.0
        filling.held += held_of(motion)
        filling.spots.add((0, 0) if motion is None else (round(motion.dx_px), round(motion.dy_px)))
        ambient = self._ambient.pixel_counts(frame.exposure_us, frame.gain) if self._ambient is not None else 0.0
        filling.constant += float(counts_variance(ambient, frame.gain, self.calibration)) * factor * factor
        if self._ambient is not None:
            filling.common += self._ambient.variance_counts2(frame.exposure_us, frame.gain) * factor * factor
            filling.age += self._ambient.age

    def _take_unlit(self, frame: Frame, time_s: float) -> None:
        if self._ambient is not None:
            self._unlit += 1
            self._correct()
            self._ambient.take(frame, time_s, pairs(frame.pixels), self._defects)
            self._ambient_for = None
        elif self._dark_frames is not None:
            self._any_clipped |= self._dark_frames.take(frame, time_s, self._bins_moved(), self._clipped)

    def _suit_ambient(self, frame: Frame) -> None:
        """Bring what is taken off to the exposure and gain of the frame; the sums of those before go by what held for them."""
        wanted = frame.exposure_us, frame.gain
        if self._ambient is not None and self._ambient_for != wanted:
            self._add_moved()
            self._correct()
            self._ambient.dark_into(*wanted, self._dark)
            self._ambient_for = wanted
            if self._moved is not None:
                self._moved.suit(self._dark - self.bins.dark)

    def _sum(self, frame: Frame, factor: float) -> None:
        """Add a frame that lies where the bins do to the sums of raw counts."""
        if factor != self._factor:
            self._correct()
            self._factor = factor
        limit = np.uint32(self.calibration.saturation_counts)
        self._any_clipped |= kernel.add_frame(pairs(frame.pixels), self._defects, limit, self._sums, self._clipped)
        self._pending += 1

    def _add_moved(self) -> None:
        """Add the frames that wait, which the hand has moved, to the sums of signal."""
        if not self._waiting:
            return
        moved = self._bins_moved()
        self._any_clipped |= moved.add(self._waiting, self._signal, self._seen, self._clipped)
        self.samples.add(moved, self._waiting, self.saturated.shape)
        self._waiting.clear()

    def _bins_moved(self) -> MovedBins:
        if self._moved is None:
            known = self._known_moved
            self._moved = MovedBins(self.calibration, self._defects) if known is None else known.anew()
            if self._ambient is not None:
                self._moved.suit(self._dark - self.bins.dark)
        return self._moved

    def finish(self) -> None:
        """Close the slot that is being filled, so that ``slots`` hold every frame; more frames may follow."""
        filling = self._filling
        if filling is None or not filling.frames:
            return
        self._add_moved()
        self._correct()
        if self._any_clipped:
            least = np.uint16(max(CLIPPED_SHARE * 4 * filling.frames, 1))
            kernel.mark_clipped(self._clipped, least, self.saturated)
            self._any_clipped = False
        place = self._free.pop()
        n, blocks = filling.frames, self._blocks[place]
        least = np.uint16(max(math.ceil(SEEN_SHARE * n), 1))
        step = kernel.store_slot(self._signal, self._seen, least, self.planes[place], blocks, self._known, BLOCK)
        self.samples.close(place)
        # what a moved frame does not show is no dark tissue; nan where nothing was seen
        with np.errstate(invalid="ignore", divide="ignore"):
            blocks *= self._inside / self._known / BLOCK**2
        shot = self.calibration.counts_per_electron * filling.gain_factor / n**2
        rest, spots = filling.constant / n**2, len(filling.spots)
        common = filling.common / (n * spots)
        held = (filling.held / n).tolist()
        self.slots.append(
            Slot(
                *(filling.first_s, filling.last_s, filling.times_s / n, n, shot, rest, float(step), place),
                *(*held, common, spots, filling.age / n, filling.inverse_output / n),
            )
        )
        if len(self.slots) > 1:
            self._losses.append(self._loss(len(self.slots) - 2))
        self._filling = None
        if not self._free:
            self._merge()

    def _into_slot(self, time_s: float) -> None:
        if self._filling is not None and time_s >= self._filling.first_s + SHORTEST_S:
            self.finish()
        if self._filling is None:
            self._filling = _Filling(time_s, time_s)

    def _correct(self) -> None:
        if self._pending:
            bins = self.bins
            kernel.correct_sums(
                self._sums, self._dark, bins.inverse_flat, self._pending, self._factor, self._signal, self._seen
            )
            self._pending = 0

    def _merge(self) -> None:
        """Make one of the two neighbours that differ least, and so free a place."""
        longest_s = LONGEST / self.number * (self.slots[-1].end_s - self.slots[0].start_s)
        longest_s = max(longest_s, 2.5 * SHORTEST_S)
        too_long = [after.end_s - before.start_s > longest_s for before, after in pairwise(self.slots)]
        at = min(range(len(self._losses)), key=lambda at: self._losses[at] + (1e30 if too_long[at] else 0.0))
        one, other = self.slots[at], self.slots[at + 1]
        joined = one.joined(other)
        weight = one.frames / joined.frames
        kernel.merge_slots(
            self.planes[one.place], self.planes[other.place], weight, one.step / joined.step, other.step / joined.step
        )
        self.samples.join(one.place, other.place)
        self._blocks[one.place] = weight * self._blocks[one.place] + (1.0 - weight) * self._blocks[other.place]
        self.slots[at : at + 2] = [joined]
        self._free.append(other.place)
        del self._losses[at]
        for beside in (at - 1, at):
            if 0 <= beside < len(self._losses):
                self._losses[beside] = self._loss(beside)

    def _loss(self, at: int) -> float:
        """What merging a slot with the next would lose: growth of the squares within, over what shot noise makes of them."""
        one, other = self.slots[at], self.slots[at + 1]
        a, b = self._blocks[one.place], self._blocks[other.place]
        apart = float(np.nansum((a - b) ** 2 / (np.maximum(a + b, 0.0) + 1.0)))
        return one.frames * other.frames / (one.frames + other.frames) * apart


def pairs(pixels: NDArray[np.uint16]) -> NDArray[np.uint32]:
    """Two pixels a word; an odd last row or column is left out."""
    height, width = (side // 2 for side in pixels.shape)
    even = np.ascontiguousarray(pixels[: 2 * height, : 2 * width])
    return even.view(np.uint32)


def _binned(plane: NDArray[np.generic]) -> F32:
    height, width = (side // 2 for side in plane.shape)
    inside = plane[: 2 * height, : 2 * width].astype(np.float32)
    return np.asarray(inside.reshape(height, 2, width, 2).sum(axis=(1, 3)))
