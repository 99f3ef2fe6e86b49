"""What a step's recording holds: runs of settled frames that are alike in exposure, gain and light."""

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from shared.commissioning.stack import Stack, middle
from shared.errors import Refused
from shared.frame import Counts
from shared.recording import Recording

SETTLING_FRAMES = 3
SAME_LEVEL = 1e-3
LONGEST_BREAK = 2


@dataclass(frozen=True)
class Take:
    """Frame ``numbers`` of a recording, all alike; ``level`` 0 is dark."""

    exposure_us: float
    gain: float
    level: float
    numbers: tuple[int, ...]

    @property
    def lit(self) -> bool:
        """Whether the ring was on."""
        return self.level > 0


def takes(recording: Recording) -> list[Take]:
    """Every run without its first frames, in order; frames in which something changed fall out.

    A run that goes on after a frame or two of something else (unlit frames may be let in between, to measure ambient light) is one.
    """
    table = recording.frame_table
    level = np.where(table.lit, table.light_level, 0.0)
    changed = (np.diff(table.exposure_us) != 0) | (np.diff(table.gain) != 0) | (np.abs(np.diff(level)) > SAME_LEVEL)
    ends = [0, *(int(index) + 1 for index in np.flatnonzero(changed)), recording.frames]
    runs = [range(begin + SETTLING_FRAMES, end) for begin, end in pairwise(ends)]
    found: list[Take] = []
    for run in runs:
        if not len(run):
            continue
        exposure_us, gain = float(table.exposure_us[run[0]]), float(table.gain[run[0]])
        new = Take(exposure_us, gain, float(level[run].mean()), tuple(run))
        if found and _goes_on(found[-1], new):
            new = replace(found[-1], numbers=(*found.pop().numbers, *new.numbers))
        found.append(new)
    return found


def _goes_on(before: Take, after: Take) -> bool:
    alike = (before.exposure_us, before.gain) == (after.exposure_us, after.gain)
    between = after.numbers[0] - before.numbers[-1] - 1 - SETTLING_FRAMES
    return alike and abs(before.level - after.level) <= SAME_LEVEL and between <= LONGEST_BREAK


def longest(found: Sequence[Take], lit: bool, exposure_us: float | None = None) -> Take:
    """The run with most frames, lit or dark, of one exposure if it is named; raises Refused where there is none."""
    fitting = [one for one in found if one.lit == lit and exposure_us in (None, one.exposure_us)]
    if not fitting:
        raise Refused(f"no settled {'lit' if lit else 'dark'} frames were recorded", exposure_us, "measure again")
    return max(fitting, key=lambda one: len(one.numbers))


def stack(recording: Recording, take: Take) -> Stack:
    """Mean and variance of its frames; raises Refused where they are too few."""
    frames = (recording.pixels(number) for number in take.numbers)
    return Stack.of(frames, exposure_us=take.exposure_us, gain=take.gain, level=take.level)


def pairs(recording: Recording, take: Take) -> list[tuple[Counts, Counts]]:
    """Its frames two by two, the middle of the picture only; raises Refused where there are not two."""
    if len(take.numbers) < 2:
        raise Refused("too few frames of one exposure", len(take.numbers), "at least two: measure again")
    part = middle(recording.camera.shape)
    frames = [recording.pixels(number)[part] for number in take.numbers[: len(take.numbers) // 2 * 2]]
    return list(zip(frames[0::2], frames[1::2], strict=True))


def evidence(recording: Recording, found: Sequence[Take]) -> bytes:
    """CSV, a line a frame, mean of the middle; ``used`` says whether it was settled."""
    used = {number for take in found for number in take.numbers}
    part = middle(recording.camera.shape)
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["sequence", "sensor_time_ns", "level", "exposure_us", "gain", "mean_counts", "used"])
    for number in range(recording.frames):
        frame = recording.frame(number)
        level = frame.light_level if frame.lit else 0.0
        mean = round(float(frame.pixels[part].mean()), 4)
        row = (frame.sequence, frame.sensor_time_ns, level, frame.exposure_us, frame.gain, mean, int(number in used))
        writer.writerow(row)
    return text.getvalue().encode()
