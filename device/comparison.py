"""Two recordings of the same view: the same regions in both, left-over dye taken out of the second, what differs."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Literal

import numpy as np

from device.analysis import Analysis, Progress, analyse, injection_s
from device.comparison_cautions import cautions
from device.followed_hand import FollowedHand, followed_curves
from device.second_run import RegionChange, SecondRun
from shared.compare.remainder import Remainder
from shared.compare.same_view import Alignment, View, alignment
from shared.errors import Refused
from shared.inflow.curves import RegionCurve
from shared.inflow.reading import LEAST_FRAMES
from shared.motion.pose import Motion
from shared.recording import Recording
from shared.signal import Measured

Clock = Literal["given", "injection marks", "start times"]
_VIEWS = 4
"""Moments of each recording that are matched with each of the other's."""


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
                "magnification": round(self.shift.magnification, 4),
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
        (high, wide), (tall, broad) = first.camera.shape, second.camera.shape
        raise Refused(
            "the two recordings differ in picture size",
            f"{first.name} has {wide} x {high} pixels and {second.name} has {broad} x {tall}",
            "choose two made with one camera at one size (camera.width, camera.height)",
        )
    if not (first.frames and second.frames):
        raise Refused("a recording holds no frames", f"{first.name} or {second.name}", "choose another recording")
    offset_s, clock = _offset_s(first, second, between_s)
    before = analyse(first, reference, regions, lambda share: on_progress(0.5 * share), seen_at=seen_at)
    hands = before.hand or FollowedHand(first), FollowedHand(second)
    aligned = None if same_view else _aligned(first, second, hands)
    # all frames of the second are placed by it, whatever is wrong with it
    pose = Motion() if aligned is None else replace(aligned.pose, own_px=0.0)
    places = {curve.region: pose.back().then(hands[0].place(curve.region)) for curve in before.curves.values()}
    if aligned is None:  # pixels are taken as they are, so from view to view at the beginning
        places = {region: hands[1].place_at(0.0) for region in places}
    curves = followed_curves(hands[1], list(places), lambda share: on_progress(0.5 + 0.5 * share), places)
    if curves[before.reference.name].times_s.size < LEAST_FRAMES:
        raise Refused("too few lit frames to read a curve", second.name, f"record at least {LEAST_FRAMES}")
    run = SecondRun(before, second, hands[1], curves, offset_s, pose.magnification)
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
            run.before(before.reference.name),
            run.remainders[before.reference.name],
            _ViewToView(hands, aligned),
            offset_s,
            run.mark_s,
            pose.magnification,
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

    def place_u_px(self) -> tuple[float, float]:
        """Standard uncertainty of the tissue's place in that view along each axis, by the first recording and by the second."""
        first, second = (hand.followed().place_u_px or 0.0 for hand in self.hands)
        return first, second if self.aligned is None else math.hypot(second, self.aligned.pose.u_px)


@dataclass(frozen=True, eq=False)
class Runs:
    """What pictures of both runs are made of: the first one's analysis, the second's reference without left-over dye and its level
    before the dye, what was left there, the way from view to view, the clocks as in ``compare``, and how many times as large the
    second shows the tissue.
    """

    before: Analysis
    clean_reference: RegionCurve
    second_before: Measured | None
    remainder: Remainder
    views: _ViewToView
    offset_s: float | None
    mark_s: float | None
    magnification: float


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
        if frame.lit and frame.light_level > 0 and not frame.half_lit and motion is not None:
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


def _prefixed(recording: Recording, lines: Sequence[str]) -> tuple[str, ...]:
    return tuple(f"{recording.name}: {line}" for line in lines)


def _doubts(aligned: Alignment | None, run: SecondRun) -> tuple[str, ...]:
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
