"""One inflow curve read: baseline, arrival, rise, peak, area and washout, in the curve's own unit (DEFINITIONS.md).

In steps: outline (roughly where it rises), first pass (fitted gamma variate), guided curve (smooth), landmarks on it.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from shared.inflow.curves import RegionCurve
from shared.inflow.first_pass import FirstPass, arrival_of, first_pass_of
from shared.inflow.guided import GuidedCurve
from shared.inflow.landmarks import crossing, highest, steepest
from shared.inflow.outline import Outline, outline_of
from shared.inflow.propagated import Propagated
from shared.inflow.series import Series, series_of
from shared.inflow.washout import half_life

F64 = NDArray[np.float64]

LEAST_FRAMES = 12
_LEAST_RISE = 6.0
"""A rise is one when the peak stands this many of its own uncertainties above what was there before."""
_LEAST_BASELINE_POINTS = 3
_DRIFTS = 4.0
"""A baseline drifts where its halves differ by more than this many uncertainties (by chance 1 in 16,000)."""
_FLAT_TOP, _AROUND = 0.15, 0.5
"""A peak has a time when its uncertainty is below the first share of the rise, and the curve is lower the second share away."""
_NOISY = 3.0
_LATE, _AFTER = 0.03, 0.2
"""Share of what lifts the curve's slope in the fifth of a rise behind the fit, over the curvature at the top: by so much a guided
curve is highest too late, give or take all of it. On curves free of noise, their shapes drawn anew: 0.022 (0.016 to 0.032 in 90 %
of 234) where dye comes round again by the scenes' law, 0.040 (0.033 to 0.064 of 78) where a part of it stays, 0.06 at most where a
second, wider pass follows (91, by least squares)."""
_LEAST_AFTER = 3
_USUALLY_LATE = 6e-4
"""Of the time from a tenth of the peak to the peak: how late it is where that cannot be seen for noise (measured: 1 to 6e-4)."""

TOO_FEW = "too few frames"
NO_RISE = "no rise"
SATURATED = "saturated"
NO_BASELINE = "no baseline: the dye was there from the start"
STILL_RISING = "still rising at the end: its peak is the highest so far"
NO_PEAK = "no peak: highest at the start"
FLAT_TOP = "flat top: the peak has no certain time"
NOISY = "noisier than the model"


@dataclass(frozen=True, eq=False)
class Rise:
    """When the rise passes 10 and 50 % of the peak, seconds since the first frame; its steepest and its mean slope a second."""

    tenth_s: Propagated | None = None
    half_s: Propagated | None = None
    slope: Propagated | None = None
    mean_slope: Propagated | None = None


@dataclass(frozen=True, eq=False)
class Reading:
    """What one curve says; None where it cannot be known, and then ``flags`` say why.

    Times in seconds since the first frame; ``peak`` above ``baseline``, at ``top_s``; ``area`` above the baseline over the whole
    recording, unit times seconds; ``signal_to_noise`` of one frame at the peak. ``moment_doubt_s`` is what in the uncertainty of
    ``top_s`` is no noise, and the same in every recording of the same dye in the same tissue.
    """

    flags: tuple[str, ...]
    series: Series | None = None
    curve: GuidedCurve | None = None
    first_pass: FirstPass | None = None
    baseline: Propagated | None = None
    arrival_s: Propagated | None = None
    peak: Propagated | None = None
    top_s: Propagated | None = None
    moment_doubt_s: float = 0.0
    rise: Rise = Rise()
    area: Propagated | None = None
    half_life_s: Propagated | None = None
    signal_to_noise: float | None = None

    @property
    def rises(self) -> bool:
        """Whether there is an inflow to speak of."""
        return TOO_FEW not in self.flags and NO_RISE not in self.flags

    @property
    def peak_s(self) -> Propagated | None:
        """When it is highest, where that is a moment and no plateau."""
        return None if {FLAT_TOP, STILL_RISING} & {*self.flags} else self.top_s

    def later(self) -> "Reading":
        """The same with its highest point later by that doubt."""
        top = self.top_s
        return self if top is None else replace(self, top_s=Propagated(top.value + self.moment_doubt_s, top.shares))

    @property
    def saturated(self) -> bool:
        """Whether frames with too many saturated pixels are among it."""
        return SATURATED in self.flags


def read_curve(curve: RegionCurve, injected_at_s: float | None) -> Reading:
    """Read one curve; ``injected_at_s`` since the first frame, None where unknown."""
    clipped = (SATURATED,) if curve.saturated.any() else ()
    if len(curve.times_s) < LEAST_FRAMES:
        return Reading((TOO_FEW, *clipped))
    series = series_of(curve)
    outline = outline_of(series, injected_at_s)
    by_noise, series = series.sigma, replace(series, sigma=outline.sigma)
    if outline.significance < _LEAST_RISE:
        return Reading((NO_RISE, *clipped), series)
    flags = [*clipped, *([NOISY] if np.median(series.sigma / by_noise) > _NOISY else [])]
    fit = first_pass_of(series, outline)
    arrival = _known(arrival_of(series, outline, fit), flags, "arrival not identifiable: ")
    knows_onset = fit is not None and arrival is not None
    baseline = mean_before(
        series, fit.pass_.onset_s - 0.02 * fit.pass_.rise_s if fit and knows_onset else outline.foot_s
    )
    if baseline is None:
        flags.append(NO_BASELINE)
    smooth_curve, top = _curve_and_top(series, outline, fit)
    known = Reading((), series, smooth_curve, fit, baseline, arrival, signal_to_noise=_snr(curve, outline))
    if clipped:
        return replace(known, flags=tuple(flags))
    if top is None:
        top = _highest_so_far(smooth_curve, outline)
        flags.append(STILL_RISING if top else NO_PEAK)
    elif _is_flat(smooth_curve, outline, *top):
        flags.append(FLAT_TOP)
    if top is None or baseline is None:
        return replace(known, flags=tuple(flags), top_s=top[0] if top else None)
    peak, top_s = top[1] - baseline, top[0].value
    late, moment_doubt_s = (None, 0.0) if STILL_RISING in flags else _too_late(smooth_curve)
    return replace(
        known,
        peak=peak,
        top_s=_no_surer_than(moment_doubt_s, top[0] if late is None else top[0] - late),
        moment_doubt_s=moment_doubt_s,
        rise=_rise(smooth_curve, outline, baseline, peak, top_s, whole=STILL_RISING not in flags),
        area=_area(series, baseline),
        half_life_s=_known(half_life(series, baseline, top_s, fit.pass_ if fit else None), flags),
        flags=tuple(flags),
    )


def mean_before(series: Series, until_s: float) -> Propagated | None:
    """Mean of what came before ``until_s``, weighted by the noise, unsure by what it drifted then; None where there are less than
    three points.
    """
    before = np.flatnonzero(series.times_s < until_s)
    if before.size < _LEAST_BASELINE_POINTS:
        return None
    return _no_surer_than(_drift_of(series, before), _mean_of(series, before))


# ---- pieces ---------------------------------------------------------------------------------------------------------------


def _mean_of(series: Series, points: NDArray[np.intp]) -> Propagated:
    share = np.zeros(series.times_s.size)
    share[points] = series.weights[points] / series.weights[points].sum()
    return Propagated(float(share @ series.values), share * series.sigma)


def _drift_of(series: Series, points: NDArray[np.intp]) -> float:
    """What is unsure of a level that changes meanwhile, as where dye of a neighbour shines in: 0 where noise may have done it.

    It may have been any between the first and the last, which in a steady drift lie twice as far apart as the means of its halves
    (a rectangular distribution: JCGM 100:2008, GUM, 4.3.7).
    """
    middle = points.size // 2
    apart = _mean_of(series, points[middle:]) - _mean_of(series, points[:middle])
    return 2.0 * abs(apart.value) / math.sqrt(12.0) if abs(apart.value) > _DRIFTS * apart.u else 0.0


def _too_late(curve: GuidedCurve) -> tuple[Propagated | None, float]:
    """By how much a guided curve is highest too late, seconds, as dye comes round again; and what is unsure of that besides noise.

    Such dye lifts the end of the fit by less than noise shows, and soon after by more than can be overseen. That is carried back to
    the top; how much of it gets there differs from tissue to tissue: anything from nothing to twice as much (a rectangular
    distribution: JCGM 100:2008, GUM, 4.3.7). A curve that goes on as its gamma variate does keeps its moment. What noise hides is
    left on, and counted (the linear estimate of least variance; from memory), so that no moment is less sure for it.
    """
    fit, usual_s = curve.first_pass, _USUALLY_LATE * curve.rise_s
    if fit is None:
        return None, 0.0
    lift = _lift_behind(curve.series, fit)
    if lift is None:
        return None, usual_s
    late = lift.scaled(_LATE * fit.pass_.rise_s**2 / (fit.pass_.peak * fit.pass_.alpha))
    seen = usual_s**2 / (usual_s**2 + late.u**2)
    late = late.scaled(seen)
    return late, math.hypot(late.value / math.sqrt(3.0), (1.0 - seen) * usual_s)


def _lift_behind(series: Series, fit: FirstPass) -> Propagated | None:
    """By how much a second the curve rises above the fit behind its end; None where too little follows."""
    after = np.flatnonzero(series.times_s > fit.cut_off_s)
    near = int((series.times_s[after] <= fit.cut_off_s + _AFTER * fit.pass_.rise_s).sum())
    after = after[: max(near, _LEAST_AFTER)]
    if after.size < _LEAST_AFTER:
        return None
    times_s = series.times_s[after]
    shares = -fit.partials(times_s).mean(axis=0) @ fit.by_point
    shares[after] += 1.0 / after.size
    lift = Propagated(float((series.values[after] - fit.at(times_s)).mean()), shares * series.sigma)
    return lift.scaled(1.0 / (float(times_s.mean()) - fit.cut_off_s))


def _no_surer_than(doubt: float, number: Propagated) -> Propagated:
    """The same with a standard uncertainty that counts a ``doubt`` too; what comes of it is alike in all that rests on it."""
    return (
        number if number.u == 0 else Propagated(number.value, number.shares * (math.hypot(number.u, doubt) / number.u))
    )


def _known(found: Propagated | str, flags: list[str], of: str = "") -> Propagated | None:
    """What was found, or None and one more flag that says why not."""
    if isinstance(found, str):
        flags.append(of + found)
        return None
    return found


def _curve_and_top(
    series: Series, outline: Outline, fit: FirstPass | None
) -> tuple[GuidedCurve, tuple[Propagated, Propagated] | None]:
    """Smooth curve, and time and value of its highest point; the fit guides it where nothing but noise is left over."""
    plain = _plain(series, outline)
    if fit is not None and fit.describes:
        guided = GuidedCurve(series, fit, fit.pass_.rise_s, outline.rise_s, fit.cut_off_s)
        top = _top(guided, outline, fit.pass_.peak_s)
        if top is not None:
            return guided, top
    return plain, _top(plain, outline, outline.top_s)


def _plain(series: Series, outline: Outline) -> GuidedCurve:
    """A local cubic so narrow that what it flattens stays well below what noise does."""
    half_width_s = max(outline.plain_width_s(series), 3 * series.step_s)
    return GuidedCurve(series, None, half_width_s, outline.rise_s, float(series.times_s[-1]))


def _top(curve: GuidedCurve, outline: Outline, near_s: float) -> tuple[Propagated, Propagated] | None:
    reach_s = 0.5 * outline.rise_s
    return highest(curve, near_s - reach_s, min(near_s + reach_s, curve.until_s))


def _highest_so_far(curve: GuidedCurve, outline: Outline) -> tuple[Propagated, Propagated] | None:
    """Time and value of the last point where the curve rises to its end, else None."""
    end_s = float(curve.series.times_s[-1])
    last = curve.covering(end_s).at(end_s)
    if last.value.value < outline.level + 0.5 * outline.height or outline.top_s < end_s - outline.rise_s:
        return None
    return Propagated(end_s, np.zeros_like(last.value.shares)), last.value


def _is_flat(curve: GuidedCurve, outline: Outline, top_s: Propagated, top: Propagated) -> bool:
    """Whether noise alone may have said which point is the highest."""
    if top_s.u > _FLAT_TOP * outline.rise_s:
        return True
    after_s = min(top_s.value + _AROUND * outline.rise_s, float(curve.series.times_s[-1]))
    lower = top - curve.covering(after_s).at(after_s).value
    return lower.value < 2.0 * lower.u


def _rise(
    curve: GuidedCurve, outline: Outline, baseline: Propagated, peak: Propagated, top_s: float, whole: bool
) -> Rise:
    """Moments at which the rise passes shares of the peak, and its slopes; the steepest alone where the peak is not the whole."""
    pass_ = curve.first_pass.pass_ if curve.first_pass else None
    first_s = min(outline.foot_s, pass_.onset_s) if pass_ else outline.foot_s
    roughly = {0.1: outline.tenth_s, 0.5: outline.half_s, 0.9: 0.4 * outline.half_s + 0.6 * outline.top_s}

    def passes(share: float) -> Propagated | None:
        near_s = pass_.crossing_s(share) if pass_ else roughly[share]
        return crossing(curve, baseline + peak.scaled(share), near_s, first_s, top_s)

    tenth, half, ninetieth = (passes(share) if whole else None for share in (0.1, 0.5, 0.9))
    slope = steepest(curve, pass_.steepest_s if pass_ else outline.half_s, first_s, top_s)
    mean_slope = peak.scaled(0.8).over(ninetieth - tenth) if tenth and ninetieth else None
    return Rise(tenth, half, slope, mean_slope)


def _area(series: Series, baseline: Propagated) -> Propagated:
    """Integral above the baseline from the first frame to the last, by the trapezoidal rule."""
    gaps_s = np.diff(series.times_s)
    span_s = 0.5 * (np.append(gaps_s, 0.0) + np.append(0.0, gaps_s))
    return Propagated(float(span_s @ series.values), span_s * series.sigma) - baseline.scaled(float(gaps_s.sum()))


def _snr(curve: RegionCurve, outline: Outline) -> float:
    """Peak over the noise model's uncertainty of one frame there."""
    nearest = np.argsort(np.abs(curve.times_s - outline.top_s))[:LEAST_FRAMES]
    return outline.height / float(np.median(curve.signal_u[nearest]))
