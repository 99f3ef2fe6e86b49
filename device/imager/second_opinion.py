"""Whether the camera sees the ring come and go as commanded: a second opinion on everything between guard and LEDs. Pure.

Ambient infrared changes when it likes, the ring when it is told to. So only the frames close around a change of the command are
compared, in coarse blocks: the difference between them is the ring's, and what a lamp did before or after does not matter.

- The picture brightens with *on* or darkens with *off*: ``agrees``. What the ring adds to this scene is remembered.
- No change, and the frames that should be dark look like the remembered scene with the ring lit: ``lit though dark``.
- *On*, and neither: ``dark though lit``. That is no danger, and normal where nothing glows and the filter is good.
- Anything else (first sight, moved camera, saturated, new exposure): ``unclear``.

What it cannot do: a ring that stays on after the scene has changed much is called ``unclear``, because it might as well be a lamp.
"""

from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shared.frame import Frame
from shared.protocol.light import Seen

Blocks = NDArray[np.float64]

FRAMES = 3
"""Averaged on each side of a change."""
NEAR_CHANGE = 2
"""Frames left out on each side: a rolling shutter reads rows later, and a guard's trip is known a frame late."""
LONGEST_NS = 800_000_000
"""Between the oldest and the newest frame that are compared."""
LEAST_CHANGE = 0.002
"""Of the white level, mean over the blocks; less is no change."""
STAYED = 0.25
"""A change of less than this share of what the ring adds is none."""
ALIKE = 0.3
"""Two scenes are alike when they differ by less than this share of what the ring adds to them."""
SATURATED = 0.95
SAME_LEVEL = 1e-6
_GRID = 8
_SAMPLES = 80  # along each side


@dataclass(frozen=True)
class _Scene:
    """What was seen at the last clear change: blocks without the ring, and what the ring added at ``level``."""

    dark: Blocks
    added: Blocks
    level: float


class SecondOpinion:
    """Looks at every frame; says something else than ``unclear`` once after a change of the light, at most."""

    def __init__(self, white_level: int) -> None:
        self._white = float(white_level)
        self._settings: tuple[float, float] | None = None  # (exposure, gain) of everything remembered
        self._scene: _Scene | None = None
        self._level: float | None = None  # commanded for the frames in ``_frames``
        self._frames: deque[tuple[int, Blocks]] = deque(maxlen=FRAMES + NEAR_CHANGE)
        self._before: tuple[float, list[tuple[int, Blocks]]] | None = None  # waits for frames after the change

    def look(self, frame: Frame, commanded_level: float) -> Seen:
        """Take a frame in; ``commanded_level`` is the mean duty that the guard says was in force during its exposure."""
        if self._settings != (frame.exposure_us, frame.gain):
            self._settings, self._scene = (frame.exposure_us, frame.gain), None
            self._level, self._before = None, None
        if self._level is None or abs(commanded_level - self._level) > SAME_LEVEL:
            self._changed(commanded_level)
        self._frames.append((frame.sensor_time_ns, _blocks(frame)))
        if self._before is None or len(self._frames) < FRAMES + NEAR_CHANGE:
            return "unclear"
        (level_before, before), after = self._before, list(self._frames)[NEAR_CHANGE:]
        self._before = None
        if after[-1][0] - before[0][0] > LONGEST_NS:
            return "unclear"
        return self._judged(level_before, _mean(before), commanded_level, _mean(after))

    def _changed(self, level: float) -> None:
        steady = self._level is not None and len(self._frames) == FRAMES + NEAR_CHANGE
        if steady and self._level is not None:
            self._before = (self._level, list(self._frames)[:FRAMES])
        elif self._before is None or len(self._frames) > NEAR_CHANGE:
            self._before = None  # else: frames of the change itself, half lit; what came before them still counts
        self._level = level
        self._frames.clear()

    def _judged(self, level_before: float, before: Blocks, level_after: float, after: Blocks) -> Seen:
        if (level_before > 0) == (level_after > 0):
            return "unclear"
        on = level_after > 0
        level, lit, dark = (level_after, after, before) if on else (level_before, before, after)
        clear = np.maximum(lit, dark) < SATURATED * self._white
        if clear.mean() < 0.25:
            return "unclear"
        change = float((lit - dark)[clear].mean())
        if change > LEAST_CHANGE * self._white:
            self._scene = _Scene(dark, lit - dark, level)
            return "agrees"
        if self._scene is not None and self._looks_lit(dark, change, level, clear):
            return "lit though dark"
        return "dark though lit" if on else "unclear"

    def _looks_lit(self, blocks: Blocks, change: float, level: float, clear: NDArray[np.bool_]) -> bool:
        """Whether blocks that should be dark are the remembered scene with the ring at some level, at least half the commanded."""
        scene = self._scene
        assert scene is not None
        added = (scene.added * (level / scene.level))[clear]
        more = (blocks - scene.dark)[clear]
        if change > STAYED * float(added.mean()):
            return False
        share = float(more @ added) / float(added @ added)
        return share > 0.5 and float(np.abs(more - share * added).sum()) < ALIKE * share * float(np.abs(added).sum())


def _blocks(frame: Frame) -> Blocks:
    """Means of an 8 x 8 grid over a sparse sample of the pixels, (64,)."""
    height, width = frame.pixels.shape
    sample = frame.pixels[:: max(1, height // _SAMPLES), :: max(1, width // _SAMPLES)]
    rows, columns = sample.shape[0] // _GRID, sample.shape[1] // _GRID
    tiles = sample[: rows * _GRID, : columns * _GRID].reshape(_GRID, rows, _GRID, columns)
    blocks: Blocks = tiles.mean(axis=(1, 3), dtype=np.float64).reshape(-1)
    return blocks


def _mean(frames: list[tuple[int, Blocks]]) -> Blocks:
    mean: Blocks = np.mean([blocks for _, blocks in frames], axis=0)
    return mean
