"""Figures of a region against the reference, each with a standard uncertainty: what DEFINITIONS.md defines, under its names."""

from collections.abc import Iterable
from dataclasses import dataclass

from shared.inflow.propagated import Propagated
from shared.inflow.reading import NO_BASELINE, STILL_RISING, Reading, mean_before


@dataclass(frozen=True)
class Estimate:
    """A value with one standard uncertainty; both None where it cannot be known (a flag says why)."""

    value: float | None = None
    u: float | None = None

    @classmethod
    def of(cls, number: Propagated | None) -> "Estimate":
        """What is known of a number, if it is."""
        return cls() if number is None else cls(number.value, number.u)


@dataclass(frozen=True)
class FirstPassFigures:
    """The gamma variate through rise and top; ``cut_off_s`` where the fit ends, ``misfit_percent`` of the peak beyond noise."""

    alpha: Estimate
    beta_s: Estimate
    area_percent_s: Estimate
    cut_off_s: float
    misfit_percent: float


@dataclass(frozen=True)
class InflowParameters:
    """Figures of one region, named with their units; ``flags`` say what cannot be known or not be trusted, and why."""

    peak_relative_percent: Estimate
    relative_percent_at_reference_peak: Estimate
    arrival_s: Estimate
    time_to_peak_s: Estimate
    half_rise_s: Estimate
    half_rise_over_time_to_peak: Estimate
    tenth_of_peak_s: Estimate
    peak_s: Estimate
    ingress_slope_percent_per_s: Estimate
    mean_ingress_slope_percent_per_s: Estimate
    washout_half_life_s: Estimate
    area_percent_s: Estimate
    baseline_counts_per_ms: Estimate
    first_pass: FirstPassFigures | None
    signal_to_noise: float | None
    flags: tuple[str, ...]


def inflow_parameters(region: Reading, reference: Reading, since_s: float) -> InflowParameters:
    """Figures of a region against the reference; ``since_s`` is the injection, else 0, both since the first frame."""
    ratio = Percent(region, reference)
    arrival, half, top = region.arrival_s, region.rise.half_s, region.peak_s
    from_arrival = _difference(half, arrival), _difference(top, arrival)
    return InflowParameters(
        peak_relative_percent=Estimate.of(ratio.of(region.peak)),
        relative_percent_at_reference_peak=Estimate.of(_at_reference_peak(region, reference)),
        arrival_s=_since(arrival, since_s),
        time_to_peak_s=Estimate.of(from_arrival[1]),
        half_rise_s=Estimate.of(from_arrival[0]),
        half_rise_over_time_to_peak=Estimate.of(_ratio(*from_arrival)),
        tenth_of_peak_s=_since(region.rise.tenth_s, since_s),
        peak_s=_since(top, since_s),
        ingress_slope_percent_per_s=Estimate.of(ratio.of(region.rise.slope)),
        mean_ingress_slope_percent_per_s=Estimate.of(ratio.of(region.rise.mean_slope)),
        washout_half_life_s=Estimate.of(region.half_life_s),
        area_percent_s=Estimate.of(ratio.of(region.area)),
        baseline_counts_per_ms=Estimate.of(region.baseline),
        first_pass=_first_pass(region, ratio, since_s),
        signal_to_noise=None if region.signal_to_noise is None else round(region.signal_to_noise, 1),
        flags=tuple(dict.fromkeys(_flags(region, reference, since_s))),
    )


@dataclass(frozen=True, eq=False)
class Percent:
    """Numbers of a region's curve in percent of the reference's peak."""

    region: Reading
    reference: Reading

    def of(self, number: Propagated | None) -> Propagated | None:
        """``number`` in percent, None where it or the reference's peak is not known."""
        peak = self.reference.peak
        if number is None or peak is None or peak.value <= 0:
            return None
        same = self.region is self.reference
        return (number.over(peak) if same else number.over_independent(peak)).scaled(100.0)


def _at_reference_peak(region: Reading, reference: Reading) -> Propagated | None:
    """Region above its baseline when the reference is highest; the uncertainty of that moment counts too."""
    moment, peak = reference.top_s, reference.peak
    if moment is None or peak is None or reference.curve is None or region.series is None or region.saturated:
        return None
    if region is reference:
        return peak.over(peak).scaled(100.0)
    curve = region.curve or reference.curve.plain_through(region.series)
    baseline = region.baseline if region.rises else mean_before(region.series, _foot_s(reference))
    if baseline is None or not region.series.times_s[0] <= moment.value <= region.series.times_s[-1]:
        return None
    point = curve.covering(moment.value).at(moment.value)
    percent = (point.value - baseline).over_independent(peak)
    size = point.value.shares.size
    percent.shares[size:] += point.slope.value / peak.value * moment.shares
    return percent.scaled(100.0)


def _foot_s(reference: Reading) -> float:
    known = reference.arrival_s or reference.rise.tenth_s
    return known.value if known else 0.0


def _first_pass(region: Reading, ratio: Percent, since_s: float) -> FirstPassFigures | None:
    fit = region.first_pass
    if fit is None or fit.trouble:
        return None
    return FirstPassFigures(
        alpha=Estimate.of(fit.alpha),
        beta_s=Estimate.of(fit.beta_s),
        area_percent_s=Estimate.of(ratio.of(fit.area)),
        cut_off_s=round(fit.cut_off_s - since_s, 3),
        misfit_percent=round(100.0 * fit.misfit, 3),
    )


def _flags(region: Reading, reference: Reading, since_s: float) -> Iterable[str]:
    yield from region.flags
    arrival = region.arrival_s
    if arrival is not None and arrival.value + 2.0 * arrival.u < since_s:
        yield "the rise began before the injection was marked"
    if region is reference:
        return
    if not reference.rises:
        yield "reference does not rise"
    elif reference.saturated:
        yield "reference saturated"
    elif STILL_RISING in reference.flags:
        yield "reference still rising at the end: percent of its highest so far"
    elif reference.peak is None:
        yield "reference without a baseline" if NO_BASELINE in reference.flags else "reference without a peak"


def _since(moment: Propagated | None, since_s: float) -> Estimate:
    return Estimate() if moment is None else Estimate(moment.value - since_s, moment.u)


def _difference(one: Propagated | None, other: Propagated | None) -> Propagated | None:
    return None if one is None or other is None else one - other


def _ratio(one: Propagated | None, other: Propagated | None) -> Propagated | None:
    return None if one is None or other is None or other.value <= 0 else one.over(other)
