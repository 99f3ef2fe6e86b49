"""Two recordings of the same view: the same regions in both, left-over dye taken out of the second, what differs."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Literal

import numpy as np

from device.analysis import Analysis, Progress, analyse, injection_s, recording_warnings
from device.comparison_cautions import cautions
from device.followed_hand import FollowedHand, followed_curves
from shared.bounded import plain
from shared.compare.change import difference, doubted, estimates, ratio, with_doubts
from shared.compare.late_level import late_percent
from shared.compare.remainder import Remainder, Washout, remainder_of, washout_of, without
from shared.compare.same_view import Alignment, View, alignment
from shared.errors import Refused
from shared.inflow.curves import RegionCurve
from shared.inflow.parameters import Estimate, InflowParameters, inflow_parameters
from shared.inflow.reading import LEAST_FRAMES, Reading, read_curve
from shared.motion.pose import Motion
from shared.recording import Recording
from shared.signal import Measured

Clock = Literal["given", "injection marks", "start times"]
_VIEWS = 4
"""Moments of each recording that are matched with each of the other's."""
_SAME_END_SHARE = 0.1
_LATE_KEY = "relative_percent_at_end"


@dataclass(frozen=True, eq=False)
class Side:
    """One region's figures in one recording; ``late`` is the relative intensity over its last tenth."""

    figures: InflowParameters
    late: Estimate

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

    def as_json(self) -> dict[str, Any]:
        """What ``tapetum compare --json`` prints of a region."""
        pairs = [(key, one, self.second.estimates()[key]) for key, one in self.first.estimates().items()]
        half_life = self.remainder.half_life_s
        return {
            "first": {**plain(self.first.figures), _LATE_KEY: plain(self.first.late)},
            "second": {**plain(self.second.figures), _LATE_KEY: plain(self.second.late)},
            "difference": {key: plain(difference(one, other)) for key, one, other in pairs},
            "ratio": {key: plain(ratio(one, other)) for key, one, other in pairs},
            "remainder": {
                "method": self.remainder.method,
                "half_life_s": None if half_life is None else plain(half_life),
                **self.left_percent,
            },
        }


@dataclass(frozen=True, eq=False)
class Comparison:
    """All of it; ``aligned`` is None where the views were taken for the same unseen. ``shift`` is from the first recording's
    beginning to the second's; ``between_s`` from injection to injection, else from first frame to first frame.
    """

    first: Recording
    second: Recording
    reference: str
    aligned: Alignment | None
    shift: Motion
    between_s: float | None
    between_from: Clock | None
    regions: Mapping[str, RegionChange]
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]
    runs: "Runs"

    def as_json(self) -> dict[str, Any]:
        """The object that ``tapetum compare --json`` prints."""
        scale = self.first.camera.mm_per_px
        found = self.aligned
        return {
            "first": self.first.name,
            "second": self.second.name,
            "aligned": None
            if found is None
            else {
                "shift_px": round(self.shift.shift_px, 2),
                "shift_mm": None if scale is None else round(self.shift.shift_px * scale, 3),
                "rotation_deg": round(self.shift.rotation_deg, 2),
                "confidence": round(found.pose.confidence, 3),
                "likeness": round(found.pose.likeness, 3),
                "pairs_tried": found.tried,
                "pairs_matched": found.locked,
                "pairs_agreeing": found.agreeing,
            },
            "between_s": self.between_s,
            "between_known_from": self.between_from,
            "reference": self.reference,
            "regions": {name: change.as_json() for name, change in self.regions.items()},
            "warnings": list(self.warnings),
            "cautions": list(self.cautions),
        }


def compare(
    first: Recording,
    second: Recording,
    reference: str | None = None,
    regions: Sequence[str] = (),
    between_s: float | None = None,
    same_view: bool = False,
    on_progress: Progress = lambda _: None,
    seen_at: Mapping[str, float] | None = None,
) -> Comparison:
    """Compare ``second`` with ``first``, which came before it.

    ``reference``, ``regions`` and ``seen_at`` are as for ``analyse``, in the first one's pixels. ``between_s`` is the time from
    injection to injection, where clocks do not tell it. ``same_view`` takes a pixel for the same place in both without looking.
    Raises Refused where the two do not show the same, differ in size, or ``analyse`` would.
    """
    if first.camera.shape != second.camera.shape:
        raise Refused(
            "the two recordings differ in picture size", second.camera.shape, f"the first has {first.camera.shape}"
        )
    if not (first.frames and second.frames):
        raise Refused("a recording holds no frames", f"{first.name} or {second.name}", "choose another recording")
    offset_s, clock = _offset_s(first, second, between_s)
    before = analyse(first, reference, regions, lambda share: on_progress(0.5 * share), seen_at=seen_at)
    hands = before.hand or FollowedHand(first), FollowedHand(second)
    aligned = None if same_view else _aligned(first, second, hands)
    pose = Motion() if aligned is None else aligned.pose
    places = {curve.region: pose.back().then(hands[0].place(curve.region)) for curve in before.curves.values()}
    if aligned is None:  # pixels are taken as they are, so from view to view at the beginning
        places = {region: hands[1].place_at(0.0) for region in places}
    curves = followed_curves(hands[1], list(places), lambda share: on_progress(0.5 + 0.5 * share), places)
    if curves[before.reference.name].times_s.size < LEAST_FRAMES:
        raise Refused("too few lit frames to read a curve", second.name, f"record at least {LEAST_FRAMES}")
    run = _SecondRun(before, second, hands[1], curves, offset_s)
    shift = hands[0].place_at(0.0).back().then(pose).then(hands[1].place_at(0.0))
    return Comparison(
        first,
        second,
        before.reference.name,
        aligned,
        shift if aligned is not None else Motion(),
        run.between_s(),
        clock,
        {name: run.change(name) for name in curves},
        (*_prefixed(first, before.warnings), *_prefixed(second, run.warnings()), *_doubts(aligned, run)),
        cautions(first, second, shift if aligned is not None else None),
        Runs(
            before,
            run.clean[before.reference.name],
            _before(run.readings[before.reference.name]),
            run.remainders[before.reference.name],
            _ViewToView(hands, aligned),
            offset_s,
            run.mark_s,
        ),
    )


@dataclass(frozen=True, eq=False)
class _ViewToView:
    """Motion from the view at the first recording's beginning to frames of either."""

    hands: tuple[FollowedHand, FollowedHand]
    aligned: Alignment | None

    def to_first(self, number: int) -> Motion | None:
        """To a frame of the first recording; None where its place is not known."""
        motion = self.hands[0].motion(number)
        return None if motion is None else self.hands[0].place_at(0.0).back().then(motion)

    def to_second(self, number: int) -> Motion | None:
        """To a frame of the second."""
        motion = self.hands[1].motion(number)
        if motion is None:
            return None
        if self.aligned is None:
            return self.hands[1].place_at(0.0).back().then(motion)
        return self.hands[0].place_at(0.0).back().then(self.aligned.pose).then(motion)


@dataclass(frozen=True, eq=False)
class Runs:
    """What pictures of both runs are made of: the first one's analysis, the second's reference without left-over dye and its level
    before the dye, what was left there, the way from view to view, and the clocks as in ``compare``.
    """

    before: Analysis
    clean_reference: RegionCurve
    second_before: Measured | None
    remainder: Remainder
    views: _ViewToView
    offset_s: float | None
    mark_s: float | None


class _SecondRun:
    """The second recording read, with what was left of the first one's dye taken out."""

    def __init__(
        self,
        before: Analysis,
        second: Recording,
        hand: FollowedHand,
        curves: Mapping[str, RegionCurve],
        offset_s: float | None,
    ) -> None:
        self.before, self.hand, self.curves, self.offset_s = before, hand, curves, offset_s
        self.recording, self.reference = second, before.reference.name
        self.injected_at_s = injection_s(second)
        self.is_new = _is_new_injection(before.recording, second)
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
        before = self.before
        hand = before.hand
        figures = inflow_parameters(before.readings[name], before.readings[self.reference], before.injected_at_s or 0.0)
        first = figures if hand is None else hand.judged(figures, name, self.reference)
        levels = [_before(before.readings[each]) for each in (name, self.reference)]
        late = late_percent(before.curves[name], before.curves[self.reference], *levels)
        return RegionChange(Side(first, late), self._side(name), self.remainders[name], self._left_percent(name))

    def between_s(self) -> float | None:
        """From injection to injection where both are marked, else from first frame to first frame."""
        if self.offset_s is None:
            return None
        first_s = self.before.injected_at_s
        if first_s is None or self.injected_at_s is None or not self.is_new:
            return round(self.offset_s, 3)
        return round(self.offset_s + self.injected_at_s - first_s, 3)

    def warnings(self) -> tuple[str, ...]:
        """What must be said of the second recording."""
        return (*self.hand.warnings(), *recording_warnings(self.recording, self.injected_at_s))

    def late_warnings(self) -> tuple[str, ...]:
        """Whether the two recordings end at different moments of their runs."""
        first_s, second_s = self.before.injected_at_s, self.mark_s
        if first_s is None or second_s is None:
            return ()
        ends_s = self.before.recording.duration_s - first_s, self.recording.duration_s - second_s
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
        readings = self.before.readings
        general = readings[self.reference].half_life_s
        fallback = None if general is None else Measured(general.value, general.u)
        return washout_of(self.before.curves[name], readings[name], fallback)

    def _until_s(self, raw: Reading) -> float:
        """Until when nothing of the second dye can be in the picture: its injection, else two uncertainties before it arrives."""
        if self.mark_s is not None and self.mark_s > 0:
            return self.mark_s
        return 0.0 if raw.arrival_s is None else raw.arrival_s.value - 2.0 * raw.arrival_s.u

    def _read(self, curve: RegionCurve) -> Reading:
        return read_curve(curve, self.mark_s)

    def _side(self, name: str) -> Side:
        """A region's figures in the second run, with what the remainder's uncertainty does to them."""
        found, varied = self._side_with(name, {}), []
        for moved in dict.fromkeys((name, self.reference)):
            for other in self.remainders[moved].variations():
                varied.append(self._side_with(name, {moved: without(self.curves[moved], other)}))
        figures = _flagged(with_doubts(found.figures, [each.figures for each in varied]), self.remainders[name])
        late = doubted(found.late, [each.late for each in varied])
        return Side(self.hand.judged(figures, name, self.reference), late)

    def _side_with(self, name: str, instead: Mapping[str, RegionCurve]) -> Side:
        """The same without any doubt about the remainder, from other curves for some regions."""
        curves = [instead.get(each, self.clean[each]) for each in (name, self.reference)]
        readings = [
            self._read(instead[each]) if each in instead else self.readings[each] for each in (name, self.reference)
        ]
        region, reference = readings[0], readings[0] if name == self.reference else readings[1]
        before = [_before(self.before.readings[each]) for each in (name, self.reference)]
        own = [_before(reading) or level for reading, level in zip(readings, before, strict=True)]
        late = late_percent(curves[0], curves[0] if name == self.reference else curves[1], *own)
        return Side(inflow_parameters(region, reference, self.mark_s or 0.0), late)

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


def _aligned(first: Recording, second: Recording, hands: tuple[FollowedHand, FollowedHand]) -> Alignment:
    views = [_views(one, hand) for one, hand in zip((first, second), hands, strict=True)]
    found = alignment(views[0], views[1], first.calibration, second.calibration)
    if not found.is_found:
        raise Refused(
            "the two recordings do not show the same, or nothing that can be recognised",
            f"{first.name} and {second.name}, confidence {found.pose.confidence:.2f}",
            "choose two of the same view, or say --same-view if a pixel is the same place in both",
        )
    return found


def _views(recording: Recording, hand: FollowedHand) -> list[View]:
    """Frames spread over a recording, as far as they are lit and their place is known."""
    found = []
    for number in np.unique(np.linspace(0, recording.frames - 1, _VIEWS).round().astype(int)):
        frame = recording.frame(int(number))
        motion = hand.motion(int(number))
        if frame.lit and frame.light_level > 0 and motion is not None:
            found.append(View(frame.pixels, motion))
    return found


def _offset_s(first: Recording, second: Recording, between_s: float | None) -> tuple[float | None, Clock | None]:
    """From the first recording's first frame to the second's: given, by an injection both know of, or by when they began."""
    marks = [injection_s(one) for one in (first, second)]
    if between_s is not None:
        offset_s = between_s + (marks[0] or 0.0) - (marks[1] or 0.0)
        return _after(offset_s, second), "given"
    firsts_ns = [int(one.frame_table.sensor_time_ns[0]) for one in (first, second)]
    if {mark.time_ns for mark in first.injections} & {mark.time_ns for mark in second.injections}:
        return _after((firsts_ns[1] - firsts_ns[0]) / 1e9, second), "injection marks"
    if not (first.started_at and second.started_at):
        return None, None
    began = [datetime.fromisoformat(one.started_at) for one in (first, second)]
    return _after((began[1] - began[0]).total_seconds(), second), "start times"


def _after(offset_s: float, second: Recording) -> float:
    if offset_s < 0:
        raise Refused("the second recording began before the first", second.name, "name the earlier one first")
    return offset_s


def _is_new_injection(first: Recording, second: Recording) -> bool:
    """Whether the second recording's injection is another one than the first's."""
    return second.injected_at_ns is not None and second.injected_at_ns not in {
        mark.time_ns for mark in first.injections
    }


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


def _prefixed(recording: Recording, lines: Sequence[str]) -> tuple[str, ...]:
    return tuple(f"{recording.name}: {line}" for line in lines)


def _doubts(aligned: Alignment | None, run: _SecondRun) -> tuple[str, ...]:
    found = []
    if aligned is None:
        found.append("the views were not matched: a pixel is taken for the same place in both")
    else:
        found.extend(aligned.doubts)
    if not run.has_injection:
        found.append(f"{run.recording.name}: no second injection: compare the relative intensity at the end")
    else:
        found.extend(run.late_warnings())
    if run.has_injection and run.offset_s is None:
        found.append("the time between the two is not known: nothing is predicted; --minutes-between states it")
    return tuple(found)
