"""Both runs of a comparison as pictures of their ends, in one view, and their difference, each bin with its uncertainty.

What is shown is what ``relative_percent_at_end`` says of a region: relative intensity over the last tenth of a run, above what was
there before the dye, with left-over dye taken out of the second run.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from device.comparison import Comparison, Runs
from device.late_levels import Level, Levels
from shared.compare.change import SAME_PLACE
from shared.compare.late_level import LATE_SHARE, late_place_u, late_signal
from shared.inflow.map_values import MEASURED, SATURATED, UNCERTAIN, UNSEEN
from shared.inflow.maps_place import add_place_u
from shared.live_picture import block_any
from shared.relative import ZERO
from shared.settings import PictureSettings
from shared.signal import Measured

F32 = NDArray[np.float32]
Bytes = NDArray[np.uint8]

WIDEST_U_PERCENT = PictureSettings().widest_u_percent
"""One standard uncertainty above this many points reads "uncertain", as in the live picture unless that is set otherwise."""
_RELIEF_LEFT = 0.02
"""Of a second difference, and what is usual: by how much relief is off that was read between pixels, and put right for what that
widens (measured: 0.015 to 0.02, scenes of 1 mm a pixel)."""
_MODEL_SHARE = 0.05
"""Doubt about what was left that is no noise, as for regions (shared.compare.remainder)."""


@dataclass(frozen=True, eq=False)
class PercentPicture:
    """(height, width) of 2x2 bins: percent of the reference, its standard uncertainty (nan where not seen), class, grey beneath;
    ``place_u`` is what of the uncertainty is the place's.
    """

    percent: F32
    u: F32
    place_u: F32
    classes: Bytes
    grey: Bytes


@dataclass(frozen=True, eq=False)
class LatePictures:
    """Both runs' ends and second minus first, in points; the difference's grey is the first one's."""

    first: PercentPicture
    second: PercentPicture
    difference: PercentPicture


def late_pictures(compared: Comparison) -> LatePictures | None:
    """None where nothing can be a percentage: a reference is saturated at an end, or no brighter than before the dye."""
    runs = compared.runs
    reference = compared.reference
    ends = late_signal(runs.before.curves[reference]), late_signal(runs.clean_reference)
    baseline = runs.before.readings[reference].baseline
    before = ZERO if baseline is None else Measured(baseline.value, baseline.u)
    if ends[0] is None or ends[1] is None:
        return None
    befores = before, runs.second_before or ZERO
    curves = runs.before.curves[reference], runs.clean_reference
    # what else is unsure of the reference is so in bins beside it: see Level.ways
    above = [
        Measured(end.value - low.value, math.hypot(end.u, low.u, *late_place_u(curve)[:2]))
        for end, low, curve in zip((ends[0], ends[1]), befores, curves, strict=True)
    ]
    if min(level.value for level in above) <= 0:
        return None
    hands = runs.views.hands
    one = Levels(compared.first, hands[0], runs.views.to_first, "first")
    other = Levels(compared.second, hands[1], runs.views.to_second, "second")
    inside = _bins_of_reference(runs, compared.first.camera.shape)
    base = one.mean(one.before(_first_until_s(runs)))
    first_end = one.late()
    second_end = other.late()
    place_u_px = runs.views.place_u_px()
    first = _percent(first_end, (base,), above[0], inside, one.grey(), place_u_px[0])
    then = None if base is None else base.magnified(runs.magnification)
    left = _left(runs, one, other, then, first_end.magnified(runs.magnification))
    second = _percent(second_end, (then, left), above[1], inside, other.grey(), place_u_px[1])
    return LatePictures(first, second, _difference(first, second))


def _first_until_s(runs: Runs) -> float:
    """Until when nothing of the first dye can be in the picture."""
    marked = runs.before.injected_at_s
    if marked is not None and marked > 0:
        return marked
    arrival = runs.before.readings[runs.before.reference.name].arrival_s
    return 0.0 if arrival is None else arrival.value - 2.0 * arrival.u


def _left(runs: Runs, one: Levels, other: Levels, base: Level | None, first_end: Level) -> Level | None:
    """What was left of the first dye, as it is at the second run's end, above ``base``; None where nothing is taken out."""
    found = runs.remainder
    at_s = float(np.mean(other.times_s[-max(int(other.times_s.size * LATE_SHARE), 1) :]))
    if found.method == "no second injection":
        return None
    early = other.mean(other.before(runs.mark_s)) if runs.mark_s is not None and runs.mark_s > 0 else None
    if found.half_life_s is None or found.left is None:
        return None if early is None else _less(early, base, 1.0)
    half_life_s = found.half_life_s.value
    if early is not None:
        return _less(early, base, 2.0 ** (-(at_s - early.at_s) / half_life_s))
    if runs.offset_s is None:
        return None
    gap_s = runs.offset_s + at_s - first_end.at_s
    return _less(first_end, base, 2.0 ** (-gap_s / half_life_s))


def _less(level: Level, base: Level | None, share: float) -> Level:
    """A share of what lies above ``base``, with the doubt that one half-life for the whole picture brings."""
    above = (level if base is None else level.less([base])).times(share)
    return above.doubted(_MODEL_SHARE * above.signal)


def _bins_of_reference(runs: Runs, shape: tuple[int, int]) -> NDArray[np.bool_]:
    """Bins of the common view that hold any of the reference."""
    hand, region = runs.views.hands[0], runs.before.reference
    found = np.zeros(shape, np.bool_)
    found.flat[hand.as_seen_at(region, 0.0).indices(shape)] = True
    return block_any(found)


def _percent(
    end: Level,
    taken_off: Sequence[Level | None],
    reference: Measured,
    inside: NDArray[np.bool_],
    grey: Bytes,
    place_u_px: float,
) -> PercentPicture:
    """Percent of the reference's height, first-order propagation (JCGM 100:2008, GUM, 5.1.2), an unsure place counted; what all
    bins have in common the reference has, whose bins are ``inside``, too.
    """
    above = end.less([level for level in taken_off if level is not None])
    share = above.signal / reference.value
    variance = above.variance + np.square(share * reference.u)
    for way in above.ways.values():
        of_reference = way[:, inside]
        seen = np.isfinite(of_reference).all(axis=0)
        if seen.any():
            in_common = of_reference[:, seen].mean(axis=1)[:, None, None]
            variance = variance + np.square(way - share * in_common).sum(axis=0)
    percent = np.asarray(100.0 * share, np.float32)
    u = np.asarray(100.0 * np.sqrt(variance) / reference.value, np.float32)
    own = u.copy()
    if place_u_px > 0:
        add_place_u(percent, u, 0, percent.shape[0], place_u_px / 2.0, relief_share=_RELIEF_LEFT)
    return _classed(percent, u, np.sqrt(np.maximum(u * u - own * own, 0.0)), end.saturated, grey)


def _difference(first: PercentPicture, second: PercentPicture) -> PercentPicture:
    """What both have alike of an unsure place counts once, as for regions."""
    clipped = (first.classes == SATURATED) | (second.classes == SATURATED)
    alike = np.float32(2.0 * SAME_PLACE) * first.place_u * second.place_u
    u = np.sqrt(np.square(first.u) + np.square(second.u) - alike)
    place_u = np.sqrt(np.square(first.place_u) + np.square(second.place_u) - alike)
    return _classed(second.percent - first.percent, u, place_u, clipped, first.grey)


def _classed(percent: F32, u: F32, place_u: F32, clipped: NDArray[np.bool_], grey: Bytes) -> PercentPicture:
    classes = np.full(percent.shape, MEASURED, np.uint8)
    classes[u > WIDEST_U_PERCENT] = UNCERTAIN
    classes[clipped] = SATURATED
    classes[~np.isfinite(percent)] = UNSEEN
    return PercentPicture(percent.astype(np.float32), u.astype(np.float32), place_u.astype(np.float32), classes, grey)
