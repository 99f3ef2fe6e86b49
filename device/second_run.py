"""The second of two recordings read: the first one's regions in it, with what was left of the first one's dye taken out."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

from device.analysis import Analysis, injection_s, recording_warnings
from device.followed_hand import FollowedHand
from shared.bounded import plain
from shared.compare.change import difference, doubted, estimates, ratio, shared_by_place
from shared.compare.late_level import late_percent
from shared.compare.remainder import Remainder, Washout, brighter, remainder_of, washout_of, without
from shared.inflow.ambient_doubt import curves_in_other_light
from shared.inflow.curves import RegionCurve
from shared.inflow.parameters import Estimate, InflowParameters, inflow_parameters
from shared.inflow.place_doubt import AT_ONE_MOMENT, curves_beside, place_steps
from shared.inflow.reading import Reading, read_curve
from shared.recording import Recording
from shared.signal import Measured

_SAME_END_SHARE = 0.1
_LATE_KEY = "relative_percent_at_end"
Beside = tuple[RegionCurve, Reading]


@dataclass(frozen=True, eq=False)
class Side:
    """One region's figures in one recording; ``late`` is the relative intensity over its last tenth. ``shared`` is what changes in
    each by what is unsure and alike in another recording: how late a peak's moment is, then an unsure place.
    """

    figures: InflowParameters
    late: Estimate
    shared: Mapping[str, tuple[float, ...]] = field(default_factory=dict)

    def doubted(self, later: "Side", beside: Sequence["Side"], varied: Sequence["Side"] = ()) -> "Side":
        """The same, its uncertainties with what the place changes (read ``beside`` it) and each other input that is ``varied``.

        What a ``later`` peak changes is in them already.
        """
        known, places, others = self.estimates(), *([each.estimates() for each in some] for some in (beside, varied))
        by_place = {key: place_steps(key, estimate, [each[key] for each in places]) for key, estimate in known.items()}
        found = {
            key: doubted(estimate, (*by_place[key], *_steps(estimate, [each[key] for each in others])))
            for key, estimate in known.items()
        }
        late, of_figures = found.pop(_LATE_KEY), dict[str, Any](found)
        at_peak = later.estimates()
        shared = {
            key: (*(_steps(estimate, [at_peak[key]]) or [0.0]), *_of_place(key, by_place[key]))
            for key, estimate in known.items()
        }
        return Side(replace(self.figures, **of_figures), late, shared)

    def estimates(self) -> dict[str, Estimate]:
        """All that is compared, by name."""
        return {**estimates(self.figures), _LATE_KEY: self.late}


@dataclass(frozen=True, eq=False)
class RegionChange:
    """One region in both recordings. ``left_percent`` is what was left at the second's injection, in percent of its reference's
    peak: as used, predicted (with its 95 % interval) and observed.
    """

    first: Side
    second: Side
    remainder: Remainder
    left_percent: Mapping[str, Any]

    def compared(self) -> dict[str, tuple[Estimate, Estimate, Estimate, Estimate]]:
        """Each figure in the first recording and in the second, their difference and their ratio, by name."""
        second, found = self.second.estimates(), {}
        for key, one in self.first.estimates().items():
            shared = shared_by_place(self.first.shared.get(key, ()), self.second.shared.get(key, ()))
            pair = one, second[key]
            found[key] = *pair, difference(*pair, shared), ratio(*pair, shared)
        return found

    def as_json(self) -> dict[str, Any]:
        """What ``tapetum compare --json`` prints of a region."""
        compared = self.compared()
        half_life = self.remainder.half_life_s
        return {
            "first": {**plain(self.first.figures), _LATE_KEY: plain(self.first.late)},
            "second": {**plain(self.second.figures), _LATE_KEY: plain(self.second.late)},
            "difference": {key: plain(each[2]) for key, each in compared.items()},
            "ratio": {key: plain(each[3]) for key, each in compared.items()},
            "remainder": {
                "method": self.remainder.method,
                "half_life_s": None if half_life is None else plain(half_life),
                **self.left_percent,
            },
        }


class SecondRun:
    """The second recording read, with what was left of the first one's dye taken out."""

    def __init__(
        self,
        first: Analysis,
        second: Recording,
        hand: FollowedHand,
        curves: Mapping[str, RegionCurve],
        offset_s: float | None,
        magnification: float,
    ) -> None:
        self.first, self.hand, self.curves, self.offset_s = first, hand, curves, offset_s
        self.recording, self.reference, self.magnification = second, first.reference.name, magnification
        self.injected_at_s = injection_s(second)
        self.is_new = _is_new_injection(first.recording, second)
        # an old mark from before the first frame does not date what rises here
        own = self.is_new or (self.injected_at_s or 0.0) >= 0
        self.mark_s = self.injected_at_s if own else None
        raw = read_curve(curves[self.reference], self.mark_s)
        self.has_injection = self.is_new or (self.mark_s is None and raw.peak is not None)
        self.remainders = {name: self._remainder(name, raw) for name in curves}
        self.clean = {name: without(curve, self.remainders[name]) for name, curve in curves.items()}
        self.readings = {name: self._read(curve) for name, curve in self.clean.items()}

    def change(self, name: str) -> RegionChange:
        """A region in both recordings."""
        return RegionChange(self._first_side(name), self._side(name), self.remainders[name], self._left_percent(name))

    def before(self, name: str) -> Measured | None:
        """What was there before the second dye: as seen then, else before any dye in the first recording, in this one's light."""
        own, first = (_before(readings[name]) for readings in (self.readings, self.first.readings))
        return own if own is not None or first is None else brighter(first, self.magnification)

    def between_s(self) -> float | None:
        """From injection to injection where both are marked, else from first frame to first frame."""
        if self.offset_s is None:
            return None
        first_s = self.first.injected_at_s
        if first_s is None or self.injected_at_s is None or not self.is_new:
            return round(self.offset_s, 3)
        return round(self.offset_s + self.injected_at_s - first_s, 3)

    def warnings(self) -> tuple[str, ...]:
        """What must be said of the second recording."""
        return (*self.hand.warnings(), *recording_warnings(self.recording, self.injected_at_s))

    def late_warnings(self) -> tuple[str, ...]:
        """Whether the two recordings end at different moments of their runs."""
        first_s, second_s = self.first.injected_at_s, self.mark_s
        if first_s is None or second_s is None:
            return ()
        ends_s = self.first.recording.duration_s - first_s, self.recording.duration_s - second_s
        if abs(ends_s[1] - ends_s[0]) <= _SAME_END_SHARE * max(ends_s):
            return ()
        return (
            f"the recordings end {ends_s[0]:.0f} and {ends_s[1]:.0f} s after their injections: percentages at the end, areas and "
            "washout are of different moments",
        )

    # ---- pieces -------------------------------------------------------------------------------------------------------

    def _remainder(self, name: str, raw: Reading) -> Remainder:
        if not self.has_injection:
            return Remainder("no second injection")
        return remainder_of(self._washout(name), self.curves[name], self._until_s(raw), self.offset_s)

    def _washout(self, name: str) -> Washout:
        readings = self.first.readings
        general = readings[self.reference].half_life_s
        fallback = None if general is None else Measured(general.value, general.u)
        return washout_of(self.first.curves[name], readings[name], fallback).magnified(self.magnification)

    def _until_s(self, raw: Reading) -> float:
        """Until when nothing of the second dye can be in the picture: its injection, else two uncertainties before it arrives."""
        if self.mark_s is not None and self.mark_s > 0:
            return self.mark_s
        return 0.0 if raw.arrival_s is None else raw.arrival_s.value - 2.0 * raw.arrival_s.u

    def _read(self, curve: RegionCurve) -> Reading:
        return read_curve(curve, self.mark_s)

    @cached_property
    def _first_beside(self) -> dict[str, list[Beside]]:
        """Each region beside its place in the first run, curve and reading."""
        since_s, curves = self.first.injected_at_s, self.first.curves
        return {
            name: [(one, read_curve(one, since_s)) for one in curves_beside(curve)] for name, curve in curves.items()
        }

    @cached_property
    def _second_beside(self) -> dict[str, list[Beside]]:
        return {name: [(one, self._read(one)) for one in curves_beside(curve)] for name, curve in self.clean.items()}

    def _first_side(self, name: str) -> Side:
        """A region's figures in the first run."""
        hand, since_s = self.first.hand, self.first.injected_at_s

        def read_first(curve: RegionCurve) -> Reading:
            return read_curve(curve, since_s)

        found = self._first_side_with(name, {}).doubted(
            self._first_side_with(name, {}, later=True),
            [self._first_side_with(name, beside) for beside in self._together(name, self._first_beside)],
            [self._first_side_with(name, each) for each in self._in_other_light(name, self.first.curves, read_first)],
        )
        return found if hand is None else self._judged(found, found.figures, name, hand)

    def _first_side_with(self, name: str, instead: Mapping[str, Beside], later: bool = False) -> Side:
        curves, readings = _instead(self.first.curves, self.first.readings, instead)
        readings = _later(readings) if later else readings
        return self._figures(name, curves, readings, lambda each: None, self.first.injected_at_s)

    def _side(self, name: str) -> Side:
        """A region's figures in the second run, with what the uncertainties of place and remainder do to them."""
        beside = [self._side_with(name, each) for each in self._together(name, self._second_beside)]
        varied = [self._side_with(name, each) for each in self._in_other_light(name, self.clean, self._read)]
        for moved in dict.fromkeys((name, self.reference)):
            for other in self.remainders[moved].variations():
                curve = without(self.curves[moved], other)
                varied.append(self._side_with(name, {moved: (curve, self._read(curve))}))
        found = self._side_with(name, {}).doubted(self._side_with(name, {}, later=True), beside, varied)
        return self._judged(found, _flagged(found.figures, self.remainders[name]), name, self.hand)

    def _judged(self, side: Side, figures: InflowParameters, name: str, hand: FollowedHand) -> Side:
        """No level at the end either where ``hand`` gives no figures: the last frames of what is left of a curve are no end."""
        late = Estimate() if hand.lost(name, self.reference) else side.late
        return replace(side, figures=hand.judged(figures, name, self.reference), late=late)

    def _side_with(self, name: str, instead: Mapping[str, Beside], later: bool = False) -> Side:
        """The same without any doubt about place or remainder, from other curves for some regions, or with later peaks."""
        curves, readings = _instead(self.clean, self.readings, instead)
        readings = _later(readings) if later else readings
        return self._figures(name, curves, readings, self.before, self.mark_s)

    def _figures(
        self,
        name: str,
        curves: Mapping[str, RegionCurve],
        readings: Mapping[str, Reading],
        otherwise: Callable[[str], Measured | None],
        since_s: float | None,
    ) -> Side:
        """``otherwise`` gives the level before the dye of a region that was not seen then."""
        region, reference = name, self.reference
        before, reference_before = (_before(readings[each]) or otherwise(each) for each in (region, reference))
        late = late_percent(curves[region], curves[reference], before, reference_before)
        return Side(inflow_parameters(readings[region], readings[reference], since_s or 0.0), late)

    def _together(self, name: str, beside: Mapping[str, Sequence[Beside]]) -> Iterator[Mapping[str, Beside]]:
        """Region and reference off to the right together, then down; nothing where they stand still."""
        places = tuple(dict.fromkeys((name, self.reference)))
        for moved in zip(*(beside[each] for each in places), strict=False):
            yield dict(zip(places, moved, strict=True))

    def _in_other_light(
        self, name: str, curves: Mapping[str, RegionCurve], read: Callable[[RegionCurve], Reading]
    ) -> Iterator[Mapping[str, Beside]]:
        """Region or reference in each other light it might have been in; nothing where the ring was not stepped."""
        for moved in dict.fromkeys((name, self.reference)):
            for curve in curves_in_other_light(curves[moved]):
                yield {moved: (curve, read(curve))}

    def _left_percent(self, name: str) -> dict[str, Any]:
        """What was left at the second injection, in percent of the second run's reference peak."""
        found, peak = self.remainders[name], self.readings[self.reference].peak
        known: dict[str, Any] = dict.fromkeys(
            ("left_percent", "predicted_percent", "predicted_95_percent", "observed_percent")
        )
        if peak is None or found.half_life_s is None:
            return known
        at_s = self.mark_s or 0.0
        percent = 100.0 / peak.value * 2.0 ** (-at_s / found.half_life_s.value)
        for key, level in (("left", found.left), ("predicted", found.predicted), ("observed", found.observed)):
            if level is not None:
                known[f"{key}_percent"] = {"value": percent * level.value, "u": percent * level.u}
        if found.low is not None and found.high is not None:
            known["predicted_95_percent"] = [percent * found.low, percent * found.high]
        return known


def _of_place(key: str, steps: Sequence[float]) -> tuple[float, ...]:
    """To the right and down, and where moments count how it goes over; how near the hand is differs from recording to recording."""
    return (*steps[:2], *(() if key in AT_ONE_MOMENT else steps[-1:]))


def _is_new_injection(first: Recording, second: Recording) -> bool:
    """Whether the second recording's injection is another one than the first's."""
    return second.injected_at_ns is not None and second.injected_at_ns not in {
        mark.time_ns for mark in first.injections
    }


def _instead(
    curves: Mapping[str, RegionCurve], readings: Mapping[str, Reading], other: Mapping[str, Beside]
) -> tuple[dict[str, RegionCurve], dict[str, Reading]]:
    """Curves and readings, some of them replaced."""
    return (
        {**curves, **{name: curve for name, (curve, _) in other.items()}},
        {**readings, **{name: reading for name, (_, reading) in other.items()}},
    )


def _later(readings: Mapping[str, Reading]) -> dict[str, Reading]:
    return {name: reading.later() for name, reading in readings.items()}


def _steps(estimate: Estimate, moved: Sequence[Estimate]) -> list[float]:
    """From a figure to what it is when inputs are moved; what that makes unknowable counts for nothing."""
    value = estimate.value
    return [] if value is None else [each.value - value for each in moved if each.value is not None]


def _before(reading: Reading) -> Measured | None:
    return None if reading.baseline is None else Measured(reading.baseline.value, reading.baseline.u)


def _flagged(figures: InflowParameters, found: Remainder) -> InflowParameters:
    said = {
        "prediction": "left-over dye predicted only: nothing was recorded before the second injection",
        "observation": "left-over dye observed only: when the first recording was made is not known",
        "baseline alone": "left-over dye unknown, its fall not taken out: the washout of the first injection was not seen",
    }
    flag = said.get(found.method)
    if found.contradicts:
        flag = "left-over dye is not what the first washout predicts: distance, light or the tissue changed"
    return figures if flag is None else replace(figures, flags=(*figures.flags, flag))
