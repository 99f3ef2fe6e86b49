"""Finding the exposure at which a target reaches a wanted share of the converter's range, while recording."""

from pathlib import Path

import numpy as np

from device.commissioning.bench import Bench
from device.commissioning.takes import longest, takes
from shared.errors import Refused
from shared.frame import Counts
from shared.recording import Recording

LOOK_FRAMES = 8
TRIES = 8
CLOSE = 0.15
CAPPED = 0.01
"""Of the range, at the longest exposure: darker than any target that is lit."""
READ_TRIES = 100
BLOCK = 4


def aimed_exposure_us(bench: Bench, path: Path, share: float, gain: float = 1.0) -> float:
    """Exposure for ``share`` of the range above dark at the brightest place of the picture, or the longest there is.

    ``path`` is the recording that runs. Raises Refused where even the longest or the shortest exposure is far off.
    """
    return _aimed(bench, path, share, gain)[0]


def saturating_exposure_us(bench: Bench, path: Path, share: float) -> float:
    """Exposure at which the brightest place would just saturate, reckoned from what it reaches where ``share`` was aimed at.

    Raises Refused as aiming does.
    """
    exposure_us, reached = _aimed(bench, path, share, gain=1.0)
    return exposure_us / reached


def _aimed(bench: Bench, path: Path, share: float, gain: float) -> tuple[float, float]:
    """Exposure, and the share of the range that was reached with it."""
    exposure_us = bench.state.camera.exposure_us
    for _ in range(TRIES):
        exposure_us = bench.expose(exposure_us, gain)
        bench.frames(LOOK_FRAMES, lit=True)
        reached, longest_us = _reached(bench, path, exposure_us)
        bench.dark()
        if reached is not None and (abs(reached / share - 1) < CLOSE or exposure_us >= 0.999 * longest_us > 0):
            if reached > 0.4 * share:
                return exposure_us, reached
            raise Refused(
                "the target is too dark",
                f"{max(reached, 0.0):.0%} of the converter's range at the longest exposure",
                "take the cap off the lens, and see that the ring lights the target"
                if reached < CAPPED
                else "go nearer, or take a brighter target",
            )
        factor = 0.25 if reached is None else share / max(reached, 0.02)
        exposure_us = min(max(exposure_us * factor, 20.0), longest_us)
    raise Refused("no fitting exposure was found", f"{exposure_us:.0f} us", "is the target still, and lit by the ring?")


def _reached(bench: Bench, path: Path, exposure_us: float) -> tuple[float | None, float]:
    """Share of the range that the newest lit frame reaches (None: saturated), and the longest exposure."""
    for _ in range(READ_TRIES):
        with Recording.open(path) as recording:
            lit = [one for one in takes(recording) if one.lit and one.exposure_us == exposure_us]
            if lit:
                camera, calibration = recording.camera, recording.calibration
                brightest = _brightest(recording.pixels(longest(lit, lit=True).numbers[-1]))
                if brightest >= calibration.saturation_counts:
                    return None, camera.frame_interval_us
                above = brightest - camera.black_level
                return above / (calibration.saturation_counts - camera.black_level), camera.frame_interval_us
        bench.pause(0.05)
    raise Refused("the recording does not grow", str(path), "see tapetum status")


def _brightest(pixels: Counts) -> float:
    """Highest median of 4 x 4 pixels: a small bright place counts, a hot pixel does not."""
    rows, columns = (size // BLOCK for size in pixels.shape)
    blocks = pixels[: rows * BLOCK, : columns * BLOCK].reshape(rows, BLOCK, columns, BLOCK)
    return float(np.median(blocks.transpose(0, 2, 1, 3).reshape(rows, columns, -1), axis=2).max())
