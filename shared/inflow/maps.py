"""Maps of inflow: what the curve of every 2 x 2 bin says, by the definitions of DEFINITIONS.md, with uncertainty and class."""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise
from typing import Protocol, Self

import numpy as np
from numpy.typing import NDArray

from shared.errors import Refused
from shared.inflow import maps_reading as reading
from shared.inflow.ambient_carried import AmbientCarried
from shared.inflow.ambient_steps import LightSteps
from shared.inflow.map_values import (
    F32,
    MEASURED,
    NO_RISE,
    PARAMETERS,
    SATURATED,
    UNCERTAIN,
    UNSEEN,
    InflowMaps,
    MapsAbout,
)
from shared.inflow.map_values import NAMES as NAMES
from shared.inflow.maps_first_pass import room
from shared.inflow.maps_kernel import NO_DATA
from shared.inflow.maps_local_cubic import Tables, tables_at
from shared.inflow.maps_place import Followed, PlaceU, ReadAside, count_place, relief2, slots_px2
from shared.inflow.maps_samples import Samples
from shared.inflow.maps_slots import Bins, Slot
from shared.region import Region

F64 = NDArray[np.float64]

_BANDS = 32
_LEAST_SLOTS = 12
_FIRST_SHARE = 0.01
"""Of the bins, whose arrival is taken for the first: a few are wrong."""
_RELIEF_SLOTS = 6
"""From whose mean the tissue's relief is known well enough."""
_LITTLE = 0.01
"""Of a baseline: ambient light that is less, or makes it less unsure, need not be told (design choice, no source)."""
_MOMENT_DOUBT = 0.006
"""Of a slot's length: what slots do to the reference's top beyond its noise, which a mean over many bins hardly has (measured, 60
runs with slots of 3.3 s there)."""


ALIKE_EVERY = 8
"""Of every so manieth bin in a row and column it is found out what an error does that all slots have alike: about as much in those
between, for a sixty-fourth of the time."""
_NOTHING = np.empty((0, 0), np.float32)
_Rows = tuple[int, int]


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


def inflow_maps(
    gatherer: Gathered,
    reference: Region | None,
    injected_at_s: float | None,
    each: Each = map,
    followed: Followed | None = None,
) -> InflowMaps:
    """Read all bins. Times in seconds since the first frame.

    Where the hand was ``followed``, what is unsure of a frame's place is counted. Raises Refused where too little was seen, or the
    reference lies outside the picture.
    """
    gatherer.finish()
    if len(gatherer.slots) < _LEAST_SLOTS:
        raise Refused("too few frames for maps", len(gatherer.slots), "record at least ten seconds with the light on")
    series = _Series.of(gatherer, injected_at_s)
    notes: list[str] = []
    steps = gatherer.light_steps
    against = _read_reference(gatherer, series, reference, steps, notes)
    height, width = gatherer.saturated.shape
    found = np.empty((reading.FOUND, height, width), np.float32)
    found_u, raw = np.empty_like(found), np.empty((height, width), np.uint8)
    classes = np.empty(found.shape, np.uint8)
    is_followed = followed is not None and followed.place_u_px is not None
    some = _Reading.of(gatherer, series, against, steps, followed if is_followed else None)

    def band(rows: _Rows) -> None:
        some.read_into(found, found_u, raw, rows)
        raw[slice(*rows)][gatherer.saturated[slice(*rows)] > 0] = SATURATED

    def units(rows: _Rows) -> None:
        some.count_alike(per_rate2, found_u, rows)
        _in_units(found[:, slice(*rows)], found_u[:, slice(*rows)], against, injected_at_s or 0.0)

    def place(rows: tuple[int, int]) -> None:
        count_place(place_u, found, found_u, dark, rows, read)

    def classify(rows: tuple[int, int]) -> None:
        here = slice(*rows)
        _classify(found[:, here], found_u[:, here], raw[here], classes[:, here])

    bands = _bands(height)
    list(each(band, bands))
    per_rate2 = some.per_rate2(found, each)
    list(each(units, bands))
    baseline_note = ""
    if followed is not None and is_followed:
        arrival_s = found[reading.ARRIVAL] + np.float32(injected_at_s or 0.0)
        before = series.before(arrival_s)
        place_u = PlaceU.of(gatherer.slots, before, series.early, followed)
        if not followed.ambient_off:
            samples = _samples_of(gatherer, steps)
            ambient = AmbientCarried.of(samples, gatherer.slots, before, gatherer.bins)
            few = (reading.LEVEL, slice(None, None, 4), slice(None, None, 4))
            surer = found_u[few].copy()
            ambient.take_off(found[reading.LEVEL], found_u[reading.LEVEL], arrival_s)
            baseline_note = _ambient_note(ambient, found[few], found_u[few], surer)
        dark, read = raw == NO_RISE, ReadAside.of(gatherer.slots, before, arrival_s)
        list(each(place, bands))
        found[reading.LEVEL] -= read.off
    list(each(classify, bands))
    about = MapsAbout(
        str(reference) if reference is not None else "",
        injected_at_s is not None,
        injected_at_s or 0.0,
        sum(slot.frames for slot in gatherer.slots),
        is_followed,
        (*notes, *(followed.notes if followed is not None else ())),
        baseline_note,
    )
    return InflowMaps(found, found_u, classes, about)


@dataclass(frozen=True)
class _Against:
    """The reference: peak and its uncertainty, nan where there is none, and when it is highest."""

    peak: float = math.nan
    peak_u: float = math.nan
    top_s: float = 0.0
    top_s_u: float = 0.0


@dataclass(frozen=True, eq=False)
class _Series:
    """What the slots have in common for all bins; see maps_reading.read_rows."""

    slots: F64
    order: NDArray[np.int64]
    steps: F64
    noise: F64
    early: int

    @classmethod
    def of(cls, gatherer: Gathered, injected_at_s: float | None) -> "_Series":
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
        """How many slots came before the dye was anywhere; ``arrival_s`` (height, width), nan where it is not known."""
        some = arrival_s[::8, ::8]
        known = some[np.isfinite(some)]
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


def _bands(height: int) -> list[_Rows]:
    edges = np.linspace(0, height, min(_BANDS, height) + 1).astype(int)
    return [(int(first), int(last)) for first, last in pairwise(edges)]


def _samples_of(gatherer: Gathered, steps: LightSteps | None) -> Samples:
    samples = gatherer.samples
    return samples if steps is None else steps.off_samples(samples, [slot.place for slot in gatherer.slots])


@dataclass(frozen=True, eq=False)
class _Reading:
    """All that is read of bins, (height, width) each; ``series`` and tables are theirs in common. See maps_reading.read_rows.

    ``factors`` (slots,) times ``rate`` is taken off; no ``factors``, and planes of no size, where the light was not stepped.
    """

    series: "_Series"
    noise: F64
    factors: F64
    tables: Tables
    at_top: Tables
    top_s_u: float
    planes: NDArray[np.int16]
    inverse_flat: F32
    pixels: NDArray[np.uint8]
    rough2: F32
    rate: F32
    rate_u: F32

    @classmethod
    def of(
        cls,
        gatherer: Gathered,
        series: "_Series",
        against: _Against,
        steps: LightSteps | None,
        followed: Followed | None,
    ) -> Self:
        """``followed`` where the hand was."""
        noise, rough2 = series.noise.copy(), np.zeros(gatherer.saturated.shape, np.float32)
        if followed is not None:
            noise[2], rough2 = slots_px2(gatherer.slots, followed), series.relief2(gatherer, against.top_s)
        taken = LightSteps(_NOTHING, _NOTHING, np.empty(0)) if steps is None else steps
        tables, at_top = (series.tables(nodes_s) for nodes_s in (series.nodes_s, np.array([against.top_s])))
        flat, pixels, planes = gatherer.bins.inverse_flat, gatherer.bins.pixels, gatherer.planes
        return cls(
            series,
            noise,
            taken.factors,
            tables,
            at_top,
            against.top_s_u,
            planes,
            flat,
            pixels,
            rough2,
            taken.rate,
            taken.rate_u,
        )

    def read_into(self, found: F32, found_u: F32, kinds: NDArray[np.uint8], rows: _Rows) -> None:
        """Read some rows into ``found``, ``found_u`` (FOUND, height, width) and ``kinds`` (height, width)."""
        series, width = self.series, self.rough2.shape[1]
        reading.read_rows(
            *(self.planes, series.order, series.steps, self.noise, (self.inverse_flat, self.pixels), self.rough2),
            *(self.rate, self.factors, series.slots, series.early, self.tables, self.at_top, self.top_s_u),
            *(room(series.slots[4]), reading.rows_of(width, series.order.size), *rows, found, found_u, kinds),
        )

    def per_rate2(self, found: F32, each: Each) -> F32:
        """Squares of how figures (FOUND, rows, columns) go with the rate that is taken off, at every ``ALIKE_EVERY`` th bin: how
        they differ from ``found`` where it is off by its uncertainty. Mean over neighbours; where a figure is known in none of
        these, its median.
        """
        if not self.factors.size:
            return np.empty((reading.FOUND, 0, 0), np.float32)
        other = self._thinned()
        shape = other.rough2.shape
        values, u = np.empty((2, reading.FOUND, *shape), np.float32)
        list(each(partial(other.read_into, values, u, np.empty(shape, np.uint8)), _bands(shape[0])))
        with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
            squares = np.square((values - found[:, ::ALIKE_EVERY, ::ALIKE_EVERY]) / other.rate_u)
        known = np.isfinite(squares)
        sums, numbers = _box(np.where(known, squares, np.float32(0))), _box(known.astype(np.float32))
        usual = [float(np.median(one[here])) if here.any() else 0.0 for one, here in zip(squares, known, strict=True)]
        return np.where(numbers > 0, sums / np.maximum(numbers, 1), np.array(usual, np.float32)[:, None, None])

    def _thinned(self) -> Self:
        """Every so manieth bin, with a rate that is higher by its uncertainty."""
        cut = np.s_[..., ::ALIKE_EVERY, ::ALIKE_EVERY]
        return replace(
            self,
            planes=np.ascontiguousarray(self.planes[cut]),
            inverse_flat=np.ascontiguousarray(self.inverse_flat[cut]),
            pixels=np.ascontiguousarray(self.pixels[cut]),
            rough2=np.ascontiguousarray(self.rough2[cut]),
            rate=np.ascontiguousarray(self.rate[cut] + self.rate_u[cut]),
            rate_u=np.ascontiguousarray(self.rate_u[cut]),
        )

    def count_alike(self, per_rate2: F32, found_u: F32, rows: _Rows) -> None:
        """Let uncertainties of some rows count that of the rate, which all slots have alike."""
        if not self.factors.size:
            return
        rate2 = np.square(self.rate_u[slice(*rows)])
        y, x = np.arange(*rows) // ALIKE_EVERY, np.arange(rate2.shape[1]) // ALIKE_EVERY
        with np.errstate(invalid="ignore", over="ignore"):
            for u, every in zip(found_u[:, slice(*rows)], per_rate2, strict=True):
                u[:] = np.sqrt(u * u + every[y[:, None], x] * rate2)


def _box(planes: F32) -> F32:
    """Sums over 3 x 3 neighbours."""
    wide = np.pad(planes, ((0, 0), (1, 1), (1, 1)))
    rows = wide[:, :-2] + wide[:, 1:-1] + wide[:, 2:]
    return np.asarray(rows[:, :, :-2] + rows[:, :, 1:-1] + rows[:, :, 2:])


def _read_reference(
    gatherer: Gathered, series: _Series, reference: Region | None, steps: LightSteps | None, notes: list[str]
) -> _Against:
    """The reference's mean over its bins, read by the same code as every bin."""
    if reference is None:
        notes.append("no reference: levels and slopes have no percent")
        return _Against()
    rows, columns = region_bins(reference, gatherer)
    if gatherer.saturated[rows, columns].mean() > 0.005:
        notes.append("reference saturated: levels and slopes have no percent")
        return _Against()
    f = gatherer.bins.inverse_flat[rows, columns].astype(np.float64)
    counts = gatherer.planes[series.order[:, None], rows, columns].astype(np.float64)
    counts[counts == NO_DATA] = np.nan
    values = counts * series.steps[:, None]
    pixels = gatherer.bins.pixels[rows, columns]
    variances = np.maximum(values, 0.0) * f * series.noise[0][:, None] + pixels * f**2 * series.noise[1][:, None]
    mean, variance = values.mean(axis=1), variances.sum(axis=1) / rows.size**2
    if steps is not None:
        mean = mean - steps.factors * float(steps.rate[rows, columns].mean(dtype=np.float64))
    what, found, found_u = _read_curve(series, mean, variance)
    if what != MEASURED or not found[reading.TOP] > 0:
        notes.append("the reference has no peak: levels and slopes have no percent")
        return _Against()
    if steps is not None:
        rate_u = math.sqrt(float(np.square(steps.rate_u[rows, columns], dtype=np.float64).sum())) / rows.size
        off = _read_curve(series, mean - steps.factors * rate_u, variance)[1] - found
        found_u = np.hypot(found_u, np.where(np.isfinite(off), off, 0.0))
    moment_s = float(found[reading.TOP_TIME])
    slot_s = float(np.interp(moment_s, series.slots[2], series.slots[4]))
    moment_u_s = math.hypot(float(found_u[reading.TOP_TIME]), _MOMENT_DOUBT * slot_s)
    return _Against(float(found[reading.TOP]), float(found_u[reading.TOP]), moment_s, moment_u_s)


def _read_curve(series: _Series, values: F64, variances: F64) -> tuple[int, F64, F64]:
    """Class, figures and uncertainties of one curve, by the loops that read bins: with no slot to unpack they take it as it is.

    What reads a single row would do, but its code takes 7 MB beside that of the loops.
    """
    rows = reading.rows_of(1, values.size)
    rows.values[0, : values.size], rows.variances[0, : values.size] = values, variances
    seen = np.full((1, 1), np.isfinite(values).all(), np.float32), np.ones((1, 1), np.uint8)
    nothing = np.empty((0, 1, 1), np.int16), np.empty(0, np.int64), np.empty(0), np.empty((5, 0)), seen
    smooth = np.zeros((1, 1), np.float32)
    tables, anywhere = series.tables(series.nodes_s), series.tables(series.slots[2, -1:])
    found, found_u = np.empty((2, reading.FOUND, 1, 1), np.float32)
    reading.read_rows(
        *(*nothing, smooth, _NOTHING, np.empty(0), series.slots, series.early, tables, anywhere, 0.0),
        *(room(series.slots[4]), rows, 0, 1, found, found_u, np.empty((1, 1), np.uint8)),
    )
    return int(rows.kinds[0]), rows.found[:, 0], rows.found_u[:, 0]


def region_bins(region: Region, gatherer: Gathered) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Rows and columns of the bins with good pixels of which a region covers at least half; raises Refused where there is none."""
    shape = gatherer.camera_shape
    rows, columns = np.unravel_index(region.indices(shape), shape)
    height, width = gatherer.saturated.shape
    covered = np.zeros((height + 1, width + 1), np.intp)
    np.add.at(covered, (rows // 2, columns // 2), 1)
    inside = (covered[:height, :width] >= 2) & (gatherer.bins.inverse_flat > 0)
    if not inside.any():
        raise Refused("the region covers no bin of the maps", str(region), "choose one of at least 2 x 2 pixels")
    y, x = np.nonzero(inside)
    return y, x


def _ambient_note(ambient: AmbientCarried, level: F32, level_u: F32, surer_u: F32) -> str:
    """What the baselines ``level`` are told to hold of ambient light; that it cannot be told, where that leaves them less sure than
    ``surer_u`` was; else nothing. All (height, width).

    At least so much: the flat holds the lens's fall-off too, which darkens ambient light as it does the ring's.
    """
    if ambient.share > max(1.96 * ambient.share_u, _LITTLE):
        percent, u = 100.0 * ambient.share, max(100.0 * ambient.share_u, 1.0)
        return (
            f"the room's light is at least {percent:.0f} ± {u:.0f} % of the signal before the dye, as the hand's motion tells; "
            "only what that motion changed is taken off"
        )
    known = (level > 0) & np.isfinite(level_u)
    added2 = np.maximum(np.square(level_u[known]) - np.square(surer_u[known]), 0.0) / np.square(level[known])
    if added2.size and float(np.quantile(added2, 0.98)) > _LITTLE**2:
        return (
            "how much of the signal before the dye is the room's light cannot be told: its uncertainty allows for that"
        )
    return ""


def _in_units(found: F32, found_u: F32, against: _Against, since_s: float) -> None:
    """From what was read to the maps' units, in place."""
    peak, peak_u = np.float32(against.peak), np.float32(against.peak_u)
    for row in (reading.TOP, reading.AT_REFERENCE, reading.STEEPEST):
        value, u = found[row], found_u[row]
        u[:] = 100 * np.hypot(u, value / peak * peak_u) / peak
        value[:] = 100 * value / peak
    found[reading.ARRIVAL] -= np.float32(since_s)


def _classify(values: F32, u: F32, raw: NDArray[np.uint8], classes: NDArray[np.uint8]) -> None:
    """A class for each parameter and bin; what is not measured becomes nan."""
    for k, parameter in enumerate(PARAMETERS):
        wide = u[k] > parameter.most_u(values[k])
        unknown = ~(np.isfinite(values[k]) & np.isfinite(u[k]))
        classes[k] = np.where(unknown | wide, UNCERTAIN, MEASURED)
        no_rise = raw == NO_RISE
        if k in (0, 2):  # baseline, and the level at a given moment, need no rise
            no_rise = no_rise & unknown
        for one, where in ((NO_RISE, no_rise), (SATURATED, raw == SATURATED), (UNSEEN, raw == UNSEEN)):
            classes[k][where] = one
        values[k][classes[k] != MEASURED] = np.nan
        u[k][classes[k] != MEASURED] = np.nan
