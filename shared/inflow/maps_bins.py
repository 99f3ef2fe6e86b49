"""All bins of a run, and how they are read: what they have in common, what ambient light did to them, what is unsure alike."""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise
from typing import Protocol, Self

import numpy as np
from numpy.typing import NDArray

from shared.inflow import maps_reading as reading
from shared.inflow.ambient_steps import LightSteps
from shared.inflow.fall_off import Where
from shared.inflow.maps_first_pass import room
from shared.inflow.maps_kernel import NO_DATA
from shared.inflow.maps_local_cubic import Tables, tables_at
from shared.inflow.maps_place import Followed, relief2, slots_px2
from shared.inflow.maps_samples import Samples
from shared.inflow.maps_slots import Bins, Slot

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

FEW_EVERY = 8
"""Every so manieth bin in a row and column is read by itself where few will do: to find when the dye comes, and what an error does
that all slots have alike, which is about as much in those between. A sixty-fourth of the time."""
_BANDS = 32
_FEW_BANDS = 8
"""Of rows that are read together, of all bins and of few: each costs a little by itself."""
_FIRST_SHARE = 0.01
"""Of the bins, whose arrival is taken for the first: a few are wrong."""
_RELIEF_SLOTS = 6
"""From whose mean the tissue's relief is known well enough."""
MOST_WAYS = 4
"""In which a light may be off, that readings of few bins tell apart: these are read once, with all ways by turns."""
Rows = tuple[int, int]


class Gathered(Protocol):
    """What is read: a gatherer of this process, or what one of another handed over."""

    @property
    def slots(self) -> list[Slot]:
        """Finished, in order of time."""
        ...

    @property
    def planes(self) -> NDArray[np.int16]:
        """(places, height, width)."""
        ...

    @property
    def saturated(self) -> NDArray[np.uint8]:
        """Not 0 where a bin ever was."""
        ...

    @property
    def bins(self) -> Bins:
        """What the calibration says of them."""
        ...

    @property
    def samples(self) -> Samples:
        """Some bins of the frames that the hand has moved."""
        ...

    @property
    def light_steps(self) -> LightSteps | None:
        """What is to be taken off the slots because the light was stepped; None where that is nothing or not known."""
        ...

    @property
    def camera_shape(self) -> tuple[int, int]:
        """Of the frames, in pixels."""
        ...

    def finish(self) -> None:
        """Let ``slots`` hold every frame."""
        ...


Each = Callable[[Callable[[tuple[int, int]], None], Iterable[tuple[int, int]]], Iterable[None]]
"""``map``, or one that works on several bands of rows at once."""


class RoomLight(Protocol):
    """What the room's light did to slots: the sum of planes (parts, rows, columns) times factors (parts, slots), which is taken off
    before they are read. What is unsure of it is alike in all slots: sums of that kind, each of which might be in it too, once over
    or not, ``MOST_WAYS`` at most; figures change by them as ``unit`` (rows, columns) says from bin to bin.
    """

    def off(self, where: Where) -> tuple[F32, F64]:
        """Planes and factors of what is taken off."""
        ...

    def doubts(self, where: Where) -> tuple[F32, F64]:
        """Planes (ways, parts, rows, columns) and factors of one standard uncertainty in each way in which it may be off."""
        ...

    def unit(self, where: Where) -> F32:
        """By how much more a doubt does in one bin than in another."""
        ...

    def doubts_of_mean(self, where: Where, inside: NDArray[np.bool_]) -> Sequence[F64]:
        """The doubts of the mean over the bins ``inside`` (rows, columns), (slots,) each."""
        ...


@dataclass(frozen=True)
class Against:
    """The reference: peak and its uncertainty, nan where there is none, and when it is highest."""

    peak: float = math.nan
    peak_u: float = math.nan
    top_s: float = 0.0
    top_s_u: float = 0.0


@dataclass(frozen=True, eq=False)
class Series:
    """What the slots have in common for all bins; see maps_reading.read_rows."""

    slots: F64
    order: NDArray[np.int64]
    steps: F64
    noise: F64
    early: int

    @classmethod
    def of(cls, gatherer: Gathered, injected_at_s: float | None) -> Self:
        """Of a finished gatherer."""
        slots = gatherer.slots
        lengths_s = [(s.end_s - s.start_s) * s.frames / max(s.frames - 1, 1) for s in slots]
        rows = [
            (s.start_s, s.end_s, s.time_s, s.frames, length_s) for s, length_s in zip(slots, lengths_s, strict=True)
        ]
        table = np.array(rows, np.float64).T.copy()
        before = int((table[1] < (injected_at_s or 0.0)).sum())
        if before == 0 or table[3, :before].sum() < 3:
            before = 1 + int((np.cumsum(table[3]) < max(3.0, 0.02 * table[3].sum())).sum())
        ages = np.array([s.age for s in slots])
        noise = np.zeros((5, len(slots)))
        noise[0] = [s.shot for s in slots]
        noise[1] = [s.rest + s.common for s in slots]
        noise[3] = [s.common if s.spots == 1 else 0.0 for s in slots]
        noise[4] = np.exp(-np.diff(ages, prepend=ages[0]))
        return cls(table, np.array([s.place for s in slots]), np.array([s.step for s in slots]), noise, before)

    @property
    def nodes_s(self) -> F64:
        """Slots' times and the moments half-way between them."""
        times_s = self.slots[2]
        nodes_s = np.empty(2 * times_s.size - 1)
        nodes_s[::2], nodes_s[1::2] = times_s, 0.5 * (times_s[1:] + times_s[:-1])
        return nodes_s

    def before(self, arrival_s: F32) -> int:
        """How many slots came before the dye was anywhere; ``arrival_s`` (height, width) of bins, nan where it is not known."""
        known = arrival_s[np.isfinite(arrival_s)]
        first_s = float(np.quantile(known, _FIRST_SHARE)) if known.size else 0.0
        return max(int((self.slots[1] < first_s).sum()), self.early)

    def relief2(self, gatherer: Gathered, near_s: float) -> F32:
        """The tissue's relief, from the mean of the slots that are nearest to a moment."""
        nearest = np.argsort(np.abs(self.slots[2] - near_s))[:_RELIEF_SLOTS]
        share = self.slots[3, nearest] / self.slots[3, nearest].sum()
        picture = np.zeros(gatherer.saturated.shape, np.float32)
        for k, part in zip(nearest, share, strict=True):
            stored = gatherer.planes[self.order[k]]
            picture += np.where(stored == NO_DATA, np.float32(np.nan), stored * np.float32(part * self.steps[k]))
        f, pixels = gatherer.bins.inverse_flat, gatherer.bins.pixels
        shot, rest = (self.noise[:2, nearest] @ share**2).astype(np.float32)
        return relief2(picture, np.maximum(picture, 0) * f * shot + pixels * f * f * rest)

    def tables(self, nodes_s: F64) -> Tables:
        """Local cubics at ``nodes_s``."""
        narrowest_s = 2.0 * float(np.quantile(np.diff(self.slots[2]), 0.25))
        return tables_at(nodes_s, self.slots, narrowest_s)


@dataclass(frozen=True, eq=False)
class Reading:
    """All that is read of bins, (height, width) each; ``series`` and tables are theirs in common. See maps_reading.read_rows.

    What ``lights`` did to them is taken off, and what is unsure of one of them too. ``every`` how manieth bin of the picture these
    are.
    """

    series: Series
    noise: F64
    tables: Tables
    at_top: Tables
    top_s_u: float
    planes: NDArray[np.int16]
    inverse_flat: F32
    pixels: NDArray[np.uint8]
    rough2: F32
    lights: tuple[RoomLight, ...]
    unsure: RoomLight | None = None
    every: int = 1

    @classmethod
    def of(
        cls,
        gatherer: Gathered,
        series: Series,
        against: Against,
        lights: Sequence[RoomLight],
        followed: Followed | None,
    ) -> Self:
        """All of them. ``followed`` where the hand was."""
        noise, rough2 = series.noise.copy(), np.zeros(gatherer.saturated.shape, np.float32)
        if followed is not None:
            noise[2], rough2 = slots_px2(gatherer.slots, followed), series.relief2(gatherer, against.top_s)
        tables, at_top = (series.tables(nodes_s) for nodes_s in (series.nodes_s, np.array([against.top_s])))
        bins, planes = (gatherer.bins.inverse_flat, gatherer.bins.pixels), gatherer.planes
        return cls(series, noise, tables, at_top, against.top_s_u, planes, *bins, rough2, tuple(lights))

    def few(self, unsure: RoomLight | None = None) -> Self:
        """Every ``FEW_EVERY`` th bin of a row and column, as it would be if doubts of a light that is ``unsure`` were right."""
        cut = np.s_[..., ::FEW_EVERY, ::FEW_EVERY]
        return replace(
            self,
            planes=np.ascontiguousarray(self.planes[cut]),
            inverse_flat=np.ascontiguousarray(self.inverse_flat[cut]),
            pixels=np.ascontiguousarray(self.pixels[cut]),
            rough2=np.ascontiguousarray(self.rough2[cut]),
            unsure=unsure,
            every=FEW_EVERY,
        )

    def found(self, each: Each) -> F32:
        """What is found in all of them, (FOUND, height, width)."""
        shape = self.rough2.shape
        values, u = np.empty((2, reading.FOUND, *shape), np.float32)
        list(each(partial(self.read_into, values, u, np.empty(shape, np.uint8)), bands(shape[0], _FEW_BANDS)))
        return np.asarray(values)

    def read_into(self, found: F32, found_u: F32, kinds: NDArray[np.uint8], rows: Rows) -> None:
        """Read some rows into ``found``, ``found_u`` (FOUND, height, width) and ``kinds`` (height, width)."""
        series, width = self.series, self.rough2.shape[1]
        reading.read_rows(
            *(self.planes, series.order, series.steps, self.noise, (self.inverse_flat, self.pixels), self.rough2),
            *(*self._light(rows), series.slots, series.early, self.tables, self.at_top, self.top_s_u),
            *(room(series.slots[4]), reading.rows_of(width, series.order.size), *rows, found, found_u, kinds),
        )

    def _light(self, rows: Rows) -> tuple[F32, F64]:
        """Planes (parts, rows, width) and factors (parts, slots) of all that is taken off some rows."""
        where = np.s_[rows[0] * self.every : rows[1] * self.every : self.every, :: self.every]
        parts = [light.off(where) for light in self.lights]
        if self.unsure is not None:
            planes, factors = self.unsure.doubts(where)
            parts.append((_by_turns(planes, rows[0]), factors))
        if not parts:
            return np.empty((0, 1, 1), np.float32), np.empty((0, 0))
        return np.concatenate([planes for planes, _ in parts]), np.concatenate([factors for _, factors in parts])

    def per_unit2(self, light: RoomLight, found: F32, each: Each) -> F32:
        """Squares of how figures (FOUND, rows, columns) go with what is unsure of a light, for its unit, at every ``FEW_EVERY`` th
        bin: how they differ from ``found`` where that is taken off too. Mean over neighbours, in which all ways add up; where a
        figure is known in none of these, its median.
        """
        few = np.s_[::FEW_EVERY, ::FEW_EVERY]
        other = self.few(light).found(each)
        with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
            squares = np.square((other - found[:, *few]) / light.unit(few))
        known = np.isfinite(squares)
        sums, numbers = _around(np.where(known, squares, np.float32(0))), _around(known.astype(np.float32))
        usual = [float(np.median(one[here])) if here.any() else 0.0 for one, here in zip(squares, known, strict=True)]
        return np.where(numbers > 0, sums / np.maximum(numbers, 1), np.array(usual, np.float32)[:, None, None])


def count_alike(light: RoomLight, per_unit2: F32, found_u: F32, rows: Rows) -> None:
    """Let uncertainties ``found_u`` (FOUND, height, width) of some rows count the doubt of a light, which all slots have alike."""
    unit2 = np.square(light.unit(np.s_[slice(*rows), :]))
    y, x = np.arange(*rows) // FEW_EVERY, np.arange(unit2.shape[1]) // FEW_EVERY
    with np.errstate(invalid="ignore", over="ignore"):
        for u, every in zip(found_u[:, slice(*rows)], per_unit2, strict=True):
            u[:] = np.sqrt(u * u + every[y[:, None], x] * unit2)


def bands(height: int, number: int = _BANDS) -> list[Rows]:
    """Rows, first and one beyond the last, that are read together."""
    edges = np.linspace(0, height, min(number, height) + 1).astype(int)
    return [(int(first), int(last)) for first, last in pairwise(edges)]


def _by_turns(planes: F32, first: int) -> F32:
    """A sum (parts, rows, columns) in place of (ways, parts, rows, columns), whose rows begin with row ``first``.

    In any four bins of a square each two of the ways have the same sign twice and the other one twice: in the mean of the squares
    what they make together falls out, and their own squares are left. A single way is there with either sign.
    """
    ways, _, height, width = planes.shape
    y, x = np.ogrid[first : first + height, :width]
    signs = [(-1.0) ** (y * (way % 2) + x * (way // 2)) for way in reversed(range(MOST_WAYS))][:ways]
    return np.asarray(sum(sign * each for sign, each in zip(signs, planes, strict=True)), np.float32)


def _around(planes: F32) -> F32:
    """Weighted sums over 3 x 3 neighbours, in which even rows and columns count as much as odd ones, at edges too."""
    wide = np.pad(planes, ((0, 0), (1, 1), (1, 1)), mode="reflect")
    rows = wide[:, :-2] + 2 * wide[:, 1:-1] + wide[:, 2:]
    return np.asarray(rows[:, :, :-2] + 2 * rows[:, :, 1:-1] + rows[:, :, 2:])
