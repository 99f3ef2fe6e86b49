"""The gain step: the photon transfer curve, exposure by exposure, lit and dark."""

import csv
import io
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from device.commissioning.aim import saturating_exposure_us
from device.commissioning.bench import Bench
from device.commissioning.cases import case_of
from device.commissioning.flat_step import AIM, EVEN_TARGET, need
from device.commissioning.step import Reading
from device.commissioning.takes import Take, evidence, pairs, stack, takes
from shared.commissioning.calibration_folder import Kept
from shared.commissioning.curve import TRANSFER
from shared.commissioning.gain import gain
from shared.commissioning.photon_transfer import Exposed, pair_variance
from shared.commissioning.stack import Stack, middle
from shared.commissioning.step_name import StepName
from shared.errors import Refused
from shared.protocol.control import Target
from shared.recording import Recording

SHARES = (0.06, 0.18, 0.3, 0.42, 0.54, 0.65, 0.8, 0.9, 0.94, 0.98, 1.02, 1.15)
"""Of the exposure at which the brightest part saturates: even where K is fitted, close where saturation sets in, which is the
exposure of greatest variance among these, so that full well is known no better than they are apart."""
POINT_FRAMES = 4
HALF_FRAMES = 16
SETTLING = 6


class GainStep:
    """K, read noise, full well, linearity, DSNU and PRNU."""

    name: StepName = "gain"
    target: Target = "dye card"
    guide = f"Gain: counts an electron and noise, from frames at rising exposures (EMVA 1288).\n\n{EVEN_TARGET}"

    def check(self, kept: Kept) -> None:
        """Defects would count as pixels that differ."""
        need(kept, "dark", "defects")

    def walk(self, bench: Bench, recordings: Path) -> str:
        """Dark and lit frames at each exposure of a ramp, more of them at half of saturation."""
        levels = bench.state.light_levels
        with bench.recording(case_of(self.name)) as (name,):
            bench.at_level(levels[-1], levels)
            saturating_us = saturating_exposure_us(bench, recordings / f"{name}.zarr", AIM)
            longest_us = 1e6 / max(bench.state.camera.rate_hz, 0.5) * 0.98
            self._expose(bench, 0.5 * saturating_us, HALF_FRAMES)
            for share in SHARES:
                exposure_us = share * saturating_us
                if exposure_us <= longest_us:
                    self._expose(bench, exposure_us, POINT_FRAMES)
        return name

    def _expose(self, bench: Bench, exposure_us: float, frames: int) -> None:
        exposure_us = bench.expose(exposure_us)
        bench.say(f"exposure {exposure_us / 1000:.2f} ms")
        bench.frames(frames + SETTLING, lit=False)
        bench.frames(frames + SETTLING, lit=True)
        bench.dark()

    def read(self, recording: Recording, kept: Kept) -> Reading:
        """A point of the curve for each exposure that has both lit and dark frames."""
        found = takes(recording)
        best = {lit: _best(found, lit) for lit in (True, False)}
        both = sorted(best[True].keys() & best[False].keys())
        if not both:
            raise Refused("no exposure has lit and dark frames", remedy="measure again")
        good = ~np.asarray(kept.planes["defects"])
        points = [_point(recording, best[True][us], best[False][us], good[middle(good.shape)]) for us in both]
        half = max(both, key=lambda us: min(len(best[lit][us].numbers) for lit in best))
        unlit, lit = (stack(recording, best[is_lit][half]) for is_lit in (False, True))
        figures = gain(points, capped(kept), unlit, lit, good, recording.camera.white_level, lit.gain)
        return Reading(figures, {}, {"gain.csv": evidence(recording, found), TRANSFER: _curve(points)})


def capped(kept: Kept) -> Stack:
    """What the dark step kept, as the stack it was."""
    assert kept.figures.dark is not None
    mean, variance = (np.asarray(kept.planes[name], np.float64) for name in ("dark_counts", "dark_variance"))
    found = kept.figures.dark
    return Stack(mean, variance, (found.mean_counts,) * found.frames, found.exposure_us, found.gain)


def _best(found: Sequence[Take], lit: bool) -> dict[float, Take]:
    """Longest run of at least two frames at each exposure."""
    chosen: dict[float, Take] = {}
    for one in found:
        longer = one.exposure_us not in chosen or len(one.numbers) > len(chosen[one.exposure_us].numbers)
        if one.lit == lit and len(one.numbers) >= 2 and longer:
            chosen[one.exposure_us] = one
    return chosen


def _point(recording: Recording, lit: Take, dark: Take, good: NDArray[np.bool_]) -> Exposed:
    """Of the ``good`` pixels of the middle: no picture is made of the others, and they would make the rest look noisier.

    Our own choice: whether EMVA 1288 leaves defects out of a data sheet is not known here.
    """
    values = [
        (
            float(np.mean([frame.mean() for pair in taken for frame in pair])),
            np.mean([pair_variance(*p) for p in taken]),
        )
        for taken in ([(a[good], b[good]) for a, b in pairs(recording, one)] for one in (lit, dark))
    ]
    (mean, variance), (dark_mean, dark_variance) = values
    return Exposed(lit.exposure_us, mean, float(variance), dark_mean, float(dark_variance))


def _curve(points: Sequence[Exposed]) -> bytes:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["exposure_us", "mean_counts", "variance_counts2", "dark_mean_counts", "dark_variance_counts2"])
    for one in points:
        writer.writerow([one.exposure_us, one.mean, one.variance, one.dark_mean, one.dark_variance])
    return text.getvalue().encode()
