"""Ambient light where the ring's level was stepped, and no unlit frames follow it all the time.

Signal is counts over the ring's output o, and the room's light does not come from the ring: it adds a / o, more when dimmed,
so that a baseline of one level would not hold at another. Each step is written with the ring dark for a whole frame
(device/imager/unlit_frames.py), which measures a. What is taken off is a (1/o - 1/o_first): every frame is then as it would be at
the level the run began with, whose ambient light goes with the baseline. A run of one level stays as it was seen.
"""

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]

SAME_LEVEL = 0.02
"""Levels of a ring that differ by less than this share are one."""

LONGEST_FROM_STEP_S = 3.0
"""A dark frame farther from a step does not tell what light the step was taken in."""

EDGE_FRAMES = 8
"""Of a longer darkness, so many frames beside lit ones tell the ambient light there; others may have seen another room."""


def steps(levels: F64) -> NDArray[np.intp]:
    """Numbers of the lit frames, (steps,), with another level than the lit frame before; ``levels`` (frames,), 0 where unlit."""
    lit = np.flatnonzero(levels > 0)
    before, after = levels[lit[:-1]], levels[lit[1:]]
    return lit[1:][np.abs(after - before) > SAME_LEVEL * np.maximum(before, after)]


def are_measured(times_s: F64, levels: F64) -> bool:
    """Whether there are steps, each with an unlit frame near it; ``times_s`` and ``levels`` (frames,) without half lit ones."""
    stepped = steps(levels)
    dark_s = times_s[levels <= 0]
    if not stepped.size or not dark_s.size:
        return False
    lit = np.flatnonzero(levels > 0)
    before_s = times_s[lit[np.searchsorted(lit, stepped) - 1]]
    # the first unlit frame that is not too early is not too late either
    first = np.searchsorted(dark_s, before_s - LONGEST_FROM_STEP_S)
    found_s = np.append(dark_s, np.inf)[first]
    return bool((found_s <= times_s[stepped] + LONGEST_FROM_STEP_S).all())


def dark_together(levels: F64) -> list[NDArray[np.intp]]:
    """Numbers of the unlit frames that are averaged, one array for each moment at which they tell the ambient light."""
    found = []
    edges = np.flatnonzero(np.diff(levels > 0)) + 1
    for spell in np.split(np.arange(levels.size), edges):
        if not spell.size or levels[spell[0]] > 0:
            continue
        if spell.size < 2 * EDGE_FRAMES:
            found.append(spell)
            continue
        if spell[0] > 0:
            found.append(spell[:EDGE_FRAMES])
        if spell[-1] < levels.size - 1:
            found.append(spell[-EDGE_FRAMES:])
    return found


Outputs = TypeVar("Outputs", float, F64)


def against_first(outputs: Outputs, first: float) -> Outputs:
    """What a rate of ambient light is multiplied by to be taken off signals taken under ``outputs``, the run's first being
    ``first``.
    """
    return 1.0 / outputs - 1.0 / first


@dataclass(frozen=True, eq=False)
class RatesAtSteps:
    """A region's ambient light at some moments: ``times_s``, rising, ``rates`` and ``rates_u`` (moments,), counts a millisecond."""

    times_s: F64
    rates: F64
    rates_u: F64

    @classmethod
    def of(cls, dark_s: F64, rates: F64, rates_u: F64, times_s: F64, levels: F64) -> "RatesAtSteps":
        """From a region's unlit frames (n,); ``times_s`` and ``levels`` (frames,) of the whole run. A moment whose frames do not
        show the region is left out.
        """
        found = []
        for together in dark_together(levels):
            here = np.isin(dark_s, times_s[together])
            if number := np.count_nonzero(here):
                u = float(np.linalg.norm(rates_u[here])) / number
                found.append((float(dark_s[here].mean()), float(rates[here].mean()), u))
        return cls(*np.array(found, np.float64).reshape(-1, 3).T)

    def shares(self, times_s: F64) -> F64:
        """Of each moment in the ambient light of frames, (moments, frames): linear between them, the nearest one's beyond."""
        return np.array([np.interp(times_s, self.times_s, one) for one in np.eye(self.times_s.size)])
