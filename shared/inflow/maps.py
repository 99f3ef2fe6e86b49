"""Maps of inflow: what the curve of every 2 x 2 bin says, by the definitions of DEFINITIONS.md, with uncertainty and class."""

import numpy as np
from numpy.typing import NDArray

from shared.errors import Refused
from shared.inflow import maps_reading as reading
from shared.inflow.ambient_carried import AmbientCarried
from shared.inflow.ambient_told import LITTLE
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
from shared.inflow.maps_bins import (
    FEW_EVERY,
    Against,
    Each,
    Gathered,
    Reading,
    RoomLight,
    Rows,
    Series,
    bands,
    count_alike,
)
from shared.inflow.maps_place import Followed, PlaceU, ReadAside, count_place
from shared.inflow.maps_reference import read_reference
from shared.region import Region

_LEAST_SLOTS = 12


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
    series = Series.of(gatherer, injected_at_s)
    notes: list[str] = []
    is_followed = followed is not None and followed.place_u_px is not None
    steps = gatherer.light_steps
    lights: list[RoomLight] = [] if steps is None else [steps]
    carried = None
    if followed is not None and is_followed and not followed.ambient_off:
        carried = _carried(gatherer, series, lights, each)
    if carried is not None:
        lights.append(carried)
    against = read_reference(gatherer, series, reference, lights, notes)
    height, width = gatherer.saturated.shape
    found = np.empty((reading.FOUND, height, width), np.float32)
    found_u, raw = np.empty_like(found), np.empty((height, width), np.uint8)
    classes = np.empty(found.shape, np.uint8)
    some = Reading.of(gatherer, series, against, lights, followed if is_followed else None)

    def band(rows: Rows) -> None:
        some.read_into(found, found_u, raw, rows)
        raw[slice(*rows)][gatherer.saturated[slice(*rows)] > 0] = SATURATED

    def units(rows: Rows) -> None:
        for light, per_unit2 in doubts:
            count_alike(light, per_unit2, found_u, rows)
        _in_units(found[:, slice(*rows)], found_u[:, slice(*rows)], against, injected_at_s or 0.0)

    def place(rows: Rows) -> None:
        count_place(place_u, found, found_u, dark, rows, read)

    def classify(rows: Rows) -> None:
        here = slice(*rows)
        _classify(found[:, here], found_u[:, here], raw[here], classes[:, here])

    every = bands(height)
    list(each(band, every))
    doubts = [(light, some.per_unit2(light, found, each)) for light in lights]
    baseline_note = ""
    if carried is not None:
        level, surer_u = (each_of[reading.LEVEL, ::FEW_EVERY, ::FEW_EVERY] for each_of in (found, found_u))
        is_wide = _is_wide(level, np.sqrt(surer_u**2 + doubts[-1][1][reading.LEVEL]), surer_u)
        baseline_note = carried.told.note(is_wide)
    list(each(units, every))
    if followed is not None and is_followed:
        arrival_s = found[reading.ARRIVAL] + np.float32(injected_at_s or 0.0)
        before = series.before(arrival_s[::FEW_EVERY, ::FEW_EVERY])
        place_u = PlaceU.of(gatherer.slots, before, series.early, followed)
        dark, read = raw == NO_RISE, ReadAside.of(gatherer.slots, before, arrival_s)
        list(each(place, every))
        found[reading.LEVEL] -= read.off
    list(each(classify, every))
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


# ---- pieces ---------------------------------------------------------------------------------------------------------------


def _carried(gatherer: Gathered, series: Series, lights: list[RoomLight], each: Each) -> AmbientCarried | None:
    """The ambient light that the hand carried, as the slots before the dye tell; None where it rested."""
    if all(slot.at_rest for slot in gatherer.slots):
        return None
    few = Reading.of(gatherer, series, Against(), lights, None).few()
    return AmbientCarried.of(gatherer, series.before(few.found(each)[reading.ARRIVAL]))


def _is_wide(level: F32, level_u: F32, surer_u: F32) -> bool:
    """Whether baselines ``level`` are much less sure than ``surer_u``, (height, width) each."""
    known = (level > 0) & np.isfinite(level_u)
    added2 = np.maximum(np.square(level_u[known]) - np.square(surer_u[known]), 0.0) / np.square(level[known])
    return bool(added2.size) and float(np.quantile(added2, 0.98)) > LITTLE**2


def _in_units(found: F32, found_u: F32, against: Against, since_s: float) -> None:
    """From what was read to the maps' units, in place."""
    peak, peak_u = np.float32(against.peak), np.float32(against.peak_u)
    for row in (reading.TOP, reading.AT_REFERENCE, reading.STEEPEST):
        value, u = found[row], found_u[row]
        u[:] = 100 * np.hypot(u, value / peak * peak_u) / peak
        value[:] = 100 * value / peak
    found[reading.ARRIVAL] -= np.float32(since_s)


def _beside(values: F32) -> F32:
    """What bins beside each show, (rows, columns), the middle one of three, of those that are known; where none is, its own.

    By its own value, one that noise made large would be allowed to be unsurer, and those that are shown would be too large.
    """
    wide = np.pad(values, ((0, 0), (2, 2)), mode="reflect")
    left, right, farther = wide[:, 1:-3], wide[:, 3:-1], wide[:, 4:]
    middle = np.fmax(np.fmin(left, right), np.fmin(np.fmax(left, right), farther))
    return np.where(np.isnan(middle), values, middle)


def _classify(values: F32, u: F32, raw: NDArray[np.uint8], classes: NDArray[np.uint8]) -> None:
    """A class for each parameter and bin; what is not measured becomes nan."""
    for k, parameter in enumerate(PARAMETERS):
        wide = u[k] > parameter.most_u(_beside(values[k]) if parameter.widest_share else values[k])
        unknown = ~(np.isfinite(values[k]) & np.isfinite(u[k]))
        classes[k] = np.where(unknown | wide, UNCERTAIN, MEASURED)
        no_rise = raw == NO_RISE
        if k in (0, 2):  # baseline, and the level at a given moment, need no rise
            no_rise = no_rise & unknown
        for one, where in ((NO_RISE, no_rise), (SATURATED, raw == SATURATED), (UNSEEN, raw == UNSEEN)):
            classes[k][where] = one
        values[k][classes[k] != MEASURED] = np.nan
        u[k][classes[k] != MEASURED] = np.nan
