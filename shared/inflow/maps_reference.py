"""The region that levels are percent of, read from the maps' slots by the same code as every bin."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from shared.errors import Refused
from shared.inflow import maps_reading as reading
from shared.inflow.map_values import MEASURED
from shared.inflow.maps_bins import Against, Gathered, RoomLight, Series
from shared.inflow.maps_first_pass import room
from shared.inflow.maps_kernel import NO_DATA
from shared.region import Region

F64 = NDArray[np.float64]

_MOMENT_DOUBT = 0.006
"""Of a slot's length: what slots do to the reference's top beyond its noise, which a mean over many bins hardly has (measured, 60
runs with slots of 3.3 s there)."""


def read_reference(
    gatherer: Gathered, series: Series, reference: Region | None, lights: Sequence[RoomLight], notes: list[str]
) -> Against:
    """The reference's mean over its bins, without what ``lights`` did to it; where it has no peak, why goes into ``notes``."""
    if reference is None:
        notes.append("no reference: levels and slopes have no percent")
        return Against()
    rows, columns = region_bins(reference, gatherer)
    if gatherer.saturated[rows, columns].mean() > 0.005:
        notes.append("reference saturated: levels and slopes have no percent")
        return Against()
    f = gatherer.bins.inverse_flat[rows, columns].astype(np.float64)
    counts = gatherer.planes[series.order[:, None], rows, columns].astype(np.float64)
    counts[counts == NO_DATA] = np.nan
    values = counts * series.steps[:, None]
    pixels = gatherer.bins.pixels[rows, columns]
    variances = np.maximum(values, 0.0) * f * series.noise[0][:, None] + pixels * f**2 * series.noise[1][:, None]
    mean, variance = values.mean(axis=1), variances.sum(axis=1) / rows.size**2
    where = np.s_[rows.min() : rows.max() + 1, columns.min() : columns.max() + 1]
    inside = np.zeros(gatherer.saturated.shape, np.bool_)
    inside[rows, columns] = True
    for light in lights:
        planes, factors = light.off(where)
        mean = mean - planes[:, inside[where]].mean(axis=1, dtype=np.float64) @ factors
    what, found, found_u = _read_curve(series, mean, variance)
    if what != MEASURED or not found[reading.TOP] > 0:
        notes.append("the reference has no peak: levels and slopes have no percent")
        return Against()
    for doubt in (each for light in lights for each in light.doubts_of_mean(where, inside[where])):
        off = _read_curve(series, mean - doubt, variance)[1] - found
        found_u = np.hypot(found_u, np.where(np.isfinite(off), off, 0.0))
    moment_s = float(found[reading.TOP_TIME])
    slot_s = float(np.interp(moment_s, series.slots[2], series.slots[4]))
    moment_u_s = math.hypot(float(found_u[reading.TOP_TIME]), _MOMENT_DOUBT * slot_s)
    return Against(float(found[reading.TOP]), float(found_u[reading.TOP]), moment_s, moment_u_s)


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


def _read_curve(series: Series, values: F64, variances: F64) -> tuple[int, F64, F64]:
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
        *(*nothing, smooth, np.empty((0, 1, 1), np.float32), np.empty((0, 0))),
        *(series.slots, series.early, tables, anywhere, 0.0),
        *(room(series.slots[4]), rows, 0, 1, found, found_u, np.empty((1, 1), np.uint8)),
    )
    return int(rows.kinds[0]), rows.found[:, 0], rows.found_u[:, 0]
