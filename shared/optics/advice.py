"""What to change, found by trying: each family of changes is worked out in full, and ranked by what it gains.

The gain is that of ``worth`` in the worst place of the picture: 3 means as good a picture in a third of the exposure, as far as
shot noise goes. Leakage that moves with the hand is not averaged away, so leakage and signal are said beside it.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from shared.optics.chain import Chain, chain
from shared.optics.change import FAMILIES, Candidate
from shared.optics.focus_change import FocusChange, focus_change
from shared.optics.parts_file import Parts

_WORTH_SAYING = 1.05
_AS_GOOD = 0.98


@dataclass(frozen=True)
class Advice:
    """One change by itself, with what it does in the corner and in the worst place; factors are after / before."""

    change: str
    gain: float
    corner_leakage_share_before: float
    corner_leakage_share_after: float
    corner_signal_factor: float
    corner_signal_to_leakage_before: float | None
    corner_signal_to_leakage_after: float | None
    cost: str

    @property
    def line(self) -> str:
        """As a sentence."""
        sentence = f"{self.change}: {_leakage(self)}, signal there {_times(self.corner_signal_factor)}; gains {self.gain:.3g} times"
        return f"{sentence} ({self.cost})" if self.cost else sentence


@dataclass(frozen=True)
class Tolerance:
    """What becomes of the corner when a part is not quite what its data sheet's typical figure says."""

    what: str
    corner_leakage_share: float
    corner_signal_to_leakage: float | None
    worth_factor: float | None


def advise(parts: Parts, now: Chain) -> tuple[Advice, ...]:
    """The best change of every family that gains at least 5 %, most gain first; each tried alone."""
    found = [advice for family in FAMILIES if (advice := _best(parts, now, tuple(family(parts)))) is not None]
    return tuple(sorted(found, key=lambda advice: -advice.gain))


def _best(parts: Parts, now: Chain, candidates: tuple[Candidate, ...]) -> Advice | None:
    """The mildest candidate that is worth saying and within 2 % of the family's best."""
    if not candidates or now.worth <= 0:
        return None
    tried = [
        (candidate, after, _gain(candidate, after, now))
        for candidate in candidates
        for after in [chain(candidate.parts)]
    ]
    most = max(gain for _, _, gain in tried)
    if most < _WORTH_SAYING:
        return None
    candidate, after, gain = next(trial for trial in tried if trial[2] >= max(_AS_GOOD * most, _WORTH_SAYING))
    before_corner, after_corner = now.position("corner"), after.position("corner")
    costs = (candidate.cost, _refocus(focus_change(parts), focus_change(candidate.parts)))
    return Advice(
        change=candidate.words,
        gain=gain,
        corner_leakage_share_before=before_corner.leakage_share,
        corner_leakage_share_after=after_corner.leakage_share,
        corner_signal_factor=candidate.light_factor
        * after_corner.signal_per_million
        / before_corner.signal_per_million,
        corner_signal_to_leakage_before=before_corner.signal_to_leakage,
        corner_signal_to_leakage_after=after_corner.signal_to_leakage,
        cost="; ".join(cost for cost in costs if cost),
    )


def tolerances(parts: Parts, now: Chain) -> tuple[Tolerance, ...]:
    """The same parts with an LED 5 nm longer, a filter 3 nm short, and edges 5 nm soft, each alone; what the tables do not cover
    is left out.
    """
    led, own = parts.led, parts.emission_filter
    edges = {edge: getattr(own, edge) for edge in ("cut_on_nm", "cut_off_nm")}
    trials: list[tuple[str, str, Any]] = []
    if led.centre_nm is not None:
        trials.append(("LED 5 nm longer (sorting, warmth)", "led", replace(led, centre_nm=led.centre_nm + 5)))
    if not own.tabled:
        short = replace(own, **{edge: nm - 3 for edge, nm in edges.items() if nm is not None})
        trials.append(("emission filter 3 nm short", "emission_filter", short))
    if not own.tabled and own.edge_nm < 5:
        trials.append(("emission filter's edges 5 nm soft", "emission_filter", replace(own, edge_nm=5.0)))
    return tuple(found for what, section, part in trials for found in _tolerance(parts, now, what, section, part))


def _tolerance(parts: Parts, now: Chain, what: str, section: str, part: Any) -> Iterator[Tolerance]:
    try:
        after = chain(replace(parts, **{section: part}))
    except ValueError:
        return
    corner = after.position("corner")
    factor = after.worth / now.worth if now.worth > 0 else None
    yield Tolerance(what, corner.leakage_share, corner.signal_to_leakage, factor)


def _refocus(before: FocusChange, after: FocusChange) -> str:
    moved_mm = after.image_shift_mm - before.image_shift_mm
    return f"focus moves by {moved_mm:+.2f} mm" if abs(moved_mm) > after.tolerance_mm else ""


def _leakage(advice: Advice) -> str:
    before, after = advice.corner_leakage_share_before, advice.corner_leakage_share_after
    if abs(after - before) <= 0.02 * before:
        return f"leakage at the corner stays {before:.1e}"
    return f"leakage at the corner {'falls' if after < before else 'rises'} from {before:.1e} to {after:.1e}"


def _times(factor: float) -> str:
    return "unchanged" if abs(factor - 1) < 0.01 else f"x {factor:.2f}"


def _gain(candidate: Candidate, after: Chain, now: Chain) -> float:
    return candidate.light_factor * after.worth / now.worth
