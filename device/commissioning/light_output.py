"""From frames taken at each level, up and down with darkness between, to the output of each level. Pure but for the recording read.

A step's light is the mean of an unsaturated middle region with the ring on, less the mean of the dark before and after it; the
camera is taken as linear. What makes such a measurement worthless is refused with the reason: too bright, too dark, light from
elsewhere that changes, levels that give no more than the one below, a ring that gives less on the way down than on the way up.
"""

import csv
import io
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from shared.calibration import Calibration
from shared.errors import Refused
from shared.frame import Frame
from shared.optics.light_output import LevelOutput, LightOutput
from shared.recording import Recording
from shared.region import Region
from shared.signal import SATURATED_SHARE, Measured

SETTLING_FRAMES = 3
LEAST_FRAMES = 5
SAME_LEVEL = 1e-3

WORST_U = 0.004
"""Relative standard uncertainty of the weakest step: results are to stay within 1 % over a change of level."""

WORST_CHANGE = 0.01
"""Largest change, beside the ring's own light: of the ring during a step, of light from elsewhere during it, and between the
way up and the way down.
"""

ROOM = 0.8
"""Share of the converter's range to be used at full level, in the advice on exposure."""


@dataclass(frozen=True)
class Reading:
    """Mean of the region in one frame, raw counts, and the share of its pixels that are saturated."""

    sequence: int
    sensor_time_ns: int
    level: float
    exposure_us: float
    gain: float
    counts: float
    saturated_share: float


@dataclass(frozen=True)
class Plateau:
    """Settled frames in a row at one level: their mean, its standard uncertainty from their scatter, and the readings."""

    level: float
    counts: float
    u: float
    readings: tuple[Reading, ...]

    @property
    def saturated_share(self) -> float:
        """Of the worst frame."""
        return max(one.saturated_share for one in self.readings)

    @property
    def drift(self) -> Measured:
        """Mean of the later half of the readings less that of the earlier, counts; its u from neighbours, which hardly drift."""
        counts = np.array([one.counts for one in self.readings])
        half = len(counts) // 2
        noise = math.sqrt(float(np.mean(np.diff(counts) ** 2)) / 2)
        return Measured(float(counts[-half:].mean() - counts[:half].mean()), noise * math.sqrt(2 / half))


@dataclass(frozen=True)
class Step:
    """One lit plateau with the darkness taken off; counts and their standard uncertainty."""

    level: float
    counts: float
    u: float


def middle(width: int, height: int) -> Region:
    """The middle third each way."""
    return Region.parse(f"middle:{width // 3},{height // 3},{width // 3},{height // 3}")


def readings(recording: Recording) -> Iterator[Reading]:
    """Every frame of a recording, read in the middle."""
    shape = recording.camera.shape
    region = middle(recording.camera.width, recording.camera.height).indices(shape)
    good = region[~recording.calibration.defects.reshape(-1)[region]]
    for number in range(recording.frames):
        yield reading(recording.frame(number), good, recording.calibration)


def reading(frame: Frame, indices: np.ndarray[tuple[int], np.dtype[np.intp]], calibration: Calibration) -> Reading:
    """Mean over the pixels at flat ``indices`` of one frame."""
    pixels = frame.pixels.reshape(-1)[indices]
    return Reading(
        sequence=frame.sequence,
        sensor_time_ns=frame.sensor_time_ns,
        level=frame.light_level if frame.lit else 0.0,
        exposure_us=frame.exposure_us,
        gain=frame.gain,
        counts=float(pixels.mean(dtype=np.float64)),
        saturated_share=float(np.count_nonzero(pixels >= calibration.saturation_counts)) / len(pixels),
    )


def plateaus(taken: Sequence[Reading]) -> list[Plateau]:
    """Runs of frames at one level, without the first few; frames in which the level changed fall out, being runs of one."""
    changes = [index for index in range(1, len(taken)) if abs(taken[index].level - taken[index - 1].level) > SAME_LEVEL]
    runs = [taken[start:end] for start, end in pairwise([0, *changes, len(taken)])]
    return [_plateau(run[SETTLING_FRAMES:]) for run in runs if len(run) >= SETTLING_FRAMES + LEAST_FRAMES]


def _plateau(run: Sequence[Reading]) -> Plateau:
    counts = np.array([one.counts for one in run])
    level = float(np.mean([one.level for one in run]))
    return Plateau(level, float(counts.mean()), float(counts.std(ddof=1)) / math.sqrt(len(run)), tuple(run))


def steps(found: Sequence[Plateau]) -> list[Step]:
    """Each lit plateau less the darkness about it. Raises Refused with the reason."""
    lit = [number for number, one in enumerate(found) if one.level > 0]
    dark = [number for number, one in enumerate(found) if one.level == 0]
    if not lit or dark != [0, *(number + 1 for number in lit)]:
        raise Refused("the light did not go through its steps with darkness between", len(lit), "measure again")
    _refuse_saturated([found[number] for number in lit], found[0].counts)
    return [_step(found[number - 1], found[number], found[number + 1]) for number in lit]


def _refuse_saturated(lit: Sequence[Plateau], dark_counts: float) -> None:
    weakest, full = (choose(lit, key=lambda one: one.level) for choose in (min, max))
    for one in lit:
        if one.saturated_share > SATURATED_SHARE:
            promised = (weakest.counts - dark_counts) * full.level / weakest.level
            fits_us = ROOM * full.readings[0].exposure_us * (full.counts - dark_counts) / promised
            raise Refused(
                f"the target saturates at level {one.level:.0%}",
                f"{one.saturated_share:.1%} of the pixels",
                f"set the exposure to {fits_us:.0f} us or less, or go farther away",
            )


def _step(before: Plateau, lit: Plateau, after: Plateau) -> Step:
    dark, u_dark = (before.counts + after.counts) / 2, math.hypot(before.u, after.u) / 2
    counts, u = lit.counts - dark, math.hypot(lit.u, u_dark)
    if counts <= 0 or u / counts > WORST_U:
        raise Refused(
            f"too dark at level {lit.level:.0%}",
            f"{counts:.2f} ± {u:.2f} counts",
            "take a brighter target, go nearer, or expose longer",
        )
    drift = lit.drift
    if abs(drift.value) > WORST_CHANGE * counts + 3 * drift.u:
        raise Refused(
            f"output still changes at level {lit.level:.0%}",
            f"by {drift.value / counts:+.1%} while it was looked at",
            "keep the target still; if it stays so, the ring heats too fast: mend its heat path",
        )
    change = after.counts - before.counts
    if abs(change) > WORST_CHANGE * counts + 3 * math.hypot(before.u, after.u):
        raise Refused(
            f"light from elsewhere changed during level {lit.level:.0%}",
            f"by {change / counts:.1%} of the ring's",
            "darken the room, or switch lamps that flicker off",
        )
    return Step(lit.level, counts, u)


def levels(taken: Sequence[Step]) -> tuple[LevelOutput, ...]:
    """Output of each level from steps that went up and down again, levels rising. Raises Refused with the reason."""
    number = len(taken) // 2
    up, down = taken[:number], tuple(reversed(taken[number:]))
    same = all(abs(one.level - other.level) < SAME_LEVEL for one, other in zip(up, down, strict=False))
    if len(taken) % 2 or number < 2 or not same or any(b.level <= a.level for a, b in pairwise(up)):
        raise Refused(
            "the light did not go up and down the same levels", [f"{one.level:.2f}" for one in taken], "measure again"
        )
    for one, other in zip(up, down, strict=True):
        change = (other.counts - one.counts) / one.counts
        if abs(change) > WORST_CHANGE + 2 * math.hypot(one.u, other.u) / one.counts:
            raise Refused(
                f"level {one.level:.0%} gave another output on the way down than on the way up",
                f"{change:+.1%}",
                "keep the target still and let the ring cool; if it stays so, mend its heat path",
            )
    full = (up[-1].counts + down[-1].counts) / 2 / up[-1].level
    found = tuple(_level(one, other, full) for one, other in zip(up, down, strict=True))
    for low, high in pairwise(found):
        if high.output - low.output <= 2 * math.hypot(low.u, high.u):
            raise Refused(
                f"level {high.level:.0%} gives no more light than {low.level:.0%}",
                f"{high.output:.3f} after {low.output:.3f}",
                "the driver or its supply is at its limit: look at hardware/, or leave that level out of light.levels",
            )
    return found


def _level(up: Step, down: Step, full: float) -> LevelOutput:
    """Mean of both ways; its u joins the scatter with half the difference between the ways, taken as evenly likely (GUM 4.3.7)."""
    scatter = math.hypot(up.u, down.u) / 2
    ways = abs(up.counts - down.counts) / 2 / math.sqrt(3)
    output = (up.counts + down.counts) / 2 / full
    return LevelOutput(
        round((up.level + down.level) / 2, 6), output, math.hypot(scatter, ways) / full, up.counts, down.counts
    )


def measured(recording: Recording, made_at: str, ring: str) -> tuple[LightOutput, str]:
    """The measurement a recording holds, and its readings as CSV. Raises Refused with the reason why it is worth nothing."""
    taken = list(readings(recording))
    settings = {(one.exposure_us, one.gain) for one in taken}
    if len(settings) != 1:
        raise Refused("exposure or gain changed while measuring", len(settings), "measure again")
    found = plateaus(taken)
    (exposure_us, gain) = settings.pop()
    result = LightOutput(
        made_at=made_at,
        ring=ring,
        camera=recording.camera.model,
        exposure_us=exposure_us,
        gain=gain,
        region=str(middle(recording.camera.width, recording.camera.height)),
        recording=recording.name,
        levels=levels(steps(found)),
    )
    return result, evidence(taken, found)


def evidence(taken: Sequence[Reading], found: Sequence[Plateau]) -> str:
    """CSV, a line a frame; ``used`` says whether it was settled."""
    used = {one.sequence for plateau in found for one in plateau.readings}
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(
        ["sequence", "sensor_time_ns", "level", "exposure_us", "gain", "mean_counts", "saturated_share", "used"]
    )
    for one in taken:
        row = (one.sequence, one.sensor_time_ns, one.level, one.exposure_us, one.gain, one.counts, one.saturated_share)
        writer.writerow([*row, int(one.sequence in used)])
    return text.getvalue()
