"""The check before a case, judged: each line passes or fails against the calibration, with what to do. Pure.

Limits are our own choice unless a source is named; what they guard is a result that moved since commissioning, and a light that
does not obey.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from shared.commissioning.calibration_folder import Kept
from shared.commissioning.dark import mean_level
from shared.commissioning.defects import hot_pixels
from shared.commissioning.stack import Stack, middle
from shared.protocol.commissioning import CheckItem
from shared.protocol.control import LampState
from shared.signal import Measured

DARK_SHARE = 0.005
"""Of the converter's range, by which the dark may have moved."""
NEW_DEFECTS_PER_MEGAPIXEL = 10
LEAKAGE_BETWEEN = (0.5, 1.5)
"""Times the calibrated leakage."""
SEEN = 5.0
"""Standard uncertainties by which the picture must brighten for the light to be seen."""
LIT_WITHIN_S = 1.0
DARK_WITHIN_S = 0.6
"""Longest lease, and what two polls of the state take."""
LEAST_MINUTES = 5.0
OLDEST_DAYS = 180
STORED_SHARE = 0.4
"""Of two bytes a pixel, which a recorded frame takes at most in our measurements."""
EARLIEST = datetime.fromisoformat("2026-01-01T00:00:00+00:00")


@dataclass(frozen=True)
class Trial:
    """What the trial of the trip gave: seconds from asking for light to lit, from withholding to the trip (None: never)."""

    lit_after_s: float | None
    tripped_after_s: float | None
    reason: str
    dark_afterwards: bool


def dark_level(unlit: Stack, kept: Kept, white_level: int) -> CheckItem:
    """Against the dark step's mean, at the same exposure."""
    dark = kept.figures.dark
    if dark is None:
        return CheckItem("dark level", False, "no dark was calibrated: tapetum calibrate dark")
    off, limit = mean_level(unlit) - dark.mean_counts, DARK_SHARE * white_level
    words = f"{off:+.2f} counts from the calibration, at most {limit:.1f}"
    remedy = "" if abs(off) <= limit else ": shut light out and let it warm up; if it stays so, tapetum calibrate dark"
    return CheckItem("dark level", abs(off) <= limit, words + remedy)


def new_defects(unlit: Stack, kept: Kept) -> CheckItem:
    """Hot pixels that the calibration does not know."""
    known, plane = (kept.planes.get(name) for name in ("defects", "dark_counts"))
    if known is None or plane is None:
        return CheckItem("new defects", False, "no defects were calibrated: tapetum calibrate defects")
    found = hot_pixels(unlit.mean - np.asarray(plane, np.float64), unlit.variance) & ~np.asarray(known)
    number = int(found.sum())
    limit = NEW_DEFECTS_PER_MEGAPIXEL + round(NEW_DEFECTS_PER_MEGAPIXEL * found.size / 1e6)
    remedy = "" if number <= limit else ": tapetum calibrate defects"
    return CheckItem("new defects", number <= limit, f"{number} hot pixels, at most {limit}{remedy}")


def brightening(lit: Stack, unlit: Stack, good: NDArray[np.bool_], flat: NDArray[np.floating]) -> Measured:
    """Mean of the middle over the flat, lit less unlit, counts."""
    part = middle(lit.mean.shape)
    used = good[part]
    counts = ((lit.mean - unlit.mean)[part] / flat[part])[used]
    variance = (lit.variance / lit.frames + unlit.variance / unlit.frames)[part][used]
    return Measured(float(counts.mean()), float(np.sqrt(variance.mean() / max(used.sum(), 1))))


def leakage_now(seen: Measured, to_signal: float, kept: Kept) -> CheckItem:
    """Beside the leakage step's, on the same kind of card."""
    before = kept.figures.leakage
    if before is None:
        return CheckItem("leakage", False, "leakage was not calibrated: tapetum calibrate leakage")
    ratio = seen.value * to_signal / before.signal if before.signal > 0 else float("inf")
    low, high = LEAKAGE_BETWEEN
    words = f"{ratio:.2f} times the calibrated, from {low:g} to {high:g}"
    if ratio > high:
        return CheckItem("leakage", False, f"{words}: is the filter loose or cracked, the card free of dye and dry?")
    if ratio < low:
        return CheckItem("leakage", False, f"{words}: is the card in place and the window clean, all LEDs lit?")
    return CheckItem("leakage", True, words)


def light_answers(trial: Trial, seen: Measured) -> CheckItem:
    """Whether the ring came when it was asked for, by the guard's word and by the camera's."""
    if trial.lit_after_s is None or trial.lit_after_s > LIT_WITHIN_S:
        return CheckItem(
            "light answers", False, f"not lit within {LIT_WITHIN_S:g} s: {trial.reason or 'see tapetum status'}"
        )
    if seen.value < SEEN * seen.u:
        words = "the guard says lit, the camera sees nothing: put the card there; if it stays so, do not use it"
        return CheckItem("light answers", False, words)
    return CheckItem("light answers", True, f"lit after {trial.lit_after_s * 1000:.0f} ms, seen by the camera")


def light_trips(trial: Trial) -> CheckItem:
    """Whether the guard went dark and stayed dark when frames stopped counting, on purpose."""
    after_s = trial.tripped_after_s
    if trial.lit_after_s is None:
        return CheckItem("light trips", False, "not tried: the light did not come")
    if after_s is None:
        return CheckItem("light trips", False, "THE GUARD DID NOT TRIP: do not use it; take the ring's power away")
    words = f"dark {after_s * 1000:.0f} ms after the last lease was asked back ({trial.reason})"
    if not trial.dark_afterwards:
        return CheckItem("light trips", False, "THE CAMERA SEES LIGHT AFTER THE TRIP: take the ring's power away")
    if after_s > DARK_WITHIN_S:
        return CheckItem("light trips", False, f"{words}, at most {DARK_WITHIN_S * 1000:.0f}: do not use it")
    return CheckItem("light trips", True, words)


def minutes_left(free_mb: float, least_free_mb: float, width: int, height: int, rate_hz: float) -> float:
    """Minutes of recording that fit before it ends by itself, with ``least_free_mb`` left."""
    return max(free_mb - least_free_mb, 0.0) / (width * height * 2e-6 * STORED_SHARE * max(rate_hz, 1.0) * 60)


def room(free_mb: float, least_free_mb: float, width: int, height: int, rate_hz: float) -> CheckItem:
    """Whether a recording of some minutes fits."""
    minutes = minutes_left(free_mb, least_free_mb, width, height, rate_hz)
    remedy = "" if minutes >= LEAST_MINUTES else ": export and delete old recordings"
    words = f"room for about {minutes:.0f} minutes, at least {LEAST_MINUTES:g}"
    return CheckItem("storage", minutes >= LEAST_MINUTES, words + remedy)


def light_conditions(light: LampState) -> tuple[CheckItem, CheckItem]:
    """The supply by itself, and everything else that the guard needs but the operator's wish."""
    supply = next((one for one in light.conditions if one.name == "supply"), None)
    if supply is None:
        first = CheckItem("supply", False, "the light guard does not say: see tapetum status")
    elif supply.state == "absent":
        first = CheckItem("supply", True, "no sensor is fitted: look at the battery yourself")
    else:
        value = "" if supply.value is None else f"{supply.value:.2f} {supply.unit}"
        first = CheckItem("supply", supply.state == "holds", supply.sentence or value or "no alarm")
    others = [one for one in light.conditions if one.name not in ("supply", "operator wants light", "level sane")]
    missing = next((one for one in others if one.state == "missing"), None)
    words = missing.sentence if missing else f"{len(others)} of the light guard's hold, or have no sensor"
    return first, CheckItem("light conditions", missing is None and bool(others), words)


def clock(now: datetime, known: Sequence[datetime]) -> CheckItem:
    """Not before anything that already happened, nor far ahead of it."""
    latest = max(known, default=EARLIEST)
    words = f"{now:%Y-%m-%d %H:%M} UTC"
    if now < max(latest, EARLIEST) - timedelta(minutes=1):
        return CheckItem("clock", False, f"{words} is before {latest:%Y-%m-%d %H:%M}, which already was: set the clock")
    if now > EARLIEST + timedelta(days=365 * 40):
        return CheckItem("clock", False, f"{words} is far ahead: set the clock")
    return CheckItem("clock", True, words)


def calibration_age(kept: Kept, in_force: str, light_measured_at: str, now: datetime, levels: int) -> CheckItem:
    """Whether a whole calibration is in force, and how old its oldest step is; a ring of one level needs no light output."""
    if kept.figures.missing:
        return CheckItem("calibration", False, f"lacks {', '.join(kept.figures.missing)}: tapetum calibrate all")
    if in_force != kept.figures.made_at:
        return CheckItem(
            "calibration", False, f"{kept.figures.made_at} is newer than that in force: restart the device"
        )
    if not light_measured_at and levels > 1:
        return CheckItem("calibration", False, "light output is assumed linear: tapetum calibrate light")
    dates = [one.made_at for one in kept.figures.taken] + ([light_measured_at] if light_measured_at else [])
    days = (now - min(datetime.fromisoformat(one) for one in dates)).days
    remedy = "" if days <= OLDEST_DAYS else ": tapetum calibrate all"
    words = f"oldest step {days} days old, at most {OLDEST_DAYS}"
    return CheckItem("calibration", days <= OLDEST_DAYS, words + remedy)
