"""The first pass of dye: a gamma variate fitted to the rise and the top of a curve, before recirculating dye mixes in.

The fit ends at the cut-off, where the curve has fallen to 90 % of its peak (of what lies above the baseline) after the peak, at the
latest half of the rise after it: later than that, what comes round again and what stays in the tissue weigh more than the pass.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.special import digamma, gammaincinv

from shared.inflow.gamma_variate import GammaVariate, partials, unit_gamma_variate
from shared.inflow.outline import CUT_OFF_SHARE, Outline
from shared.inflow.propagated import Propagated
from shared.inflow.series import Series

F64 = NDArray[np.float64]

_LEAST_POINTS = 10
_LEAST_ALPHA, _MOST_ALPHA = 1.2, 12.0
"""Flatter, a gamma variate begins with a corner; steeper, it is so symmetric that its onset runs away."""
_LARGEST_MISFIT = 0.03
"""A gamma variate describes a rise when its rms misfit, beyond noise, is below this share of the peak."""
_NO_GAMMA_VARIATE = "the rise is no gamma variate"
_EARLY_SHARE = 0.75
_STRETCHES = 12
_CONFIDENCE = 0.99
_LARGEST_ONSET_U = 0.3
"""An onset is identifiable when its standard uncertainty is below this share of the rise."""
_LEAST_INFORMATION = 75.0
"""Below, the onset is uncertain by about an eighth of the rise and more. It hardly depends on the onset found, as the uncertainty
does, so that it does not pick the onsets that noise made look certain."""
_TOO_NOISY = "too noisy to say when the rise began"


@dataclass(frozen=True, eq=False)
class FirstPass:
    """A fit to the points of a series up to ``cut_off_s``.

    ``by_point`` (5, points) are derivatives of baseline, peak, onset, ln alpha and ln rise by the values of the series; ``misfit``
    is the rms beyond noise as a share of the peak; ``describes`` says whether nothing but noise is left over; ``trouble`` why the
    onset cannot be trusted, empty where it can.
    """

    pass_: GammaVariate
    baseline: float
    cut_off_s: float
    by_point: F64
    sigma: F64
    misfit: float
    describes: bool
    trouble: str

    def propagated(self, value: float, gradient: tuple[float, float, float, float, float]) -> Propagated:
        """A number with the given derivatives by the five parameters."""
        return Propagated(value, (np.array(gradient) @ self.by_point) * self.sigma)

    @property
    def onset(self) -> Propagated:
        """When the rise begins, seconds."""
        return self.propagated(self.pass_.onset_s, (0, 0, 1, 0, 0))

    @property
    def alpha(self) -> Propagated:
        """The gamma variate's exponent."""
        return self.propagated(self.pass_.alpha, (0, 0, 0, self.pass_.alpha, 0))

    @property
    def beta_s(self) -> Propagated:
        """Thompson's beta, rise over alpha."""
        beta_s = self.pass_.beta_s
        return self.propagated(beta_s, (0, 0, 0, -beta_s, beta_s))

    @property
    def area(self) -> Propagated:
        """Under the gamma variate over all time: the first pass without what came round again."""
        pass_, area = self.pass_, self.pass_.area
        by_log_alpha = pass_.alpha * float(digamma(pass_.alpha + 1) - math.log(pass_.alpha)) - pass_.alpha - 1
        return self.propagated(area, (0, area / pass_.peak, 0, area * by_log_alpha, area))

    def at(self, times_s: F64) -> F64:
        """Fitted curve, baseline included."""
        return self.baseline + self.pass_.at(times_s)

    def partials(self, times_s: F64) -> F64:
        """Derivatives (times, 5) of the fitted curve by its parameters."""
        p = self.pass_
        unit = unit_gamma_variate(times_s, p.onset_s, p.alpha, p.rise_s)
        shape = p.peak * partials(times_s, p.onset_s, p.alpha, p.rise_s)
        return np.column_stack([np.ones_like(unit), unit, shape])


def first_pass_of(series: Series, outline: Outline) -> FirstPass | None:
    """First pass of a series; None where the rise holds too few points.

    Fitted up to the cut-off of the outline, then up to that of the fit itself; where it misfits there, up to the peak alone.
    """
    rise_s = max(outline.rise_s, 2 * series.step_s)
    guess = GammaVariate(outline.tenth_s - 0.25 * rise_s, 3.0, 1.25 * rise_s, outline.height)
    fit = _fit_until(series, min(outline.fallen_s, outline.top_s + 0.5 * outline.rise_s), guess, outline.level)
    if fit is None:
        return None
    pass_ = fit.pass_
    cut_off_s = min(pass_.crossing_s(CUT_OFF_SHARE, falling=True), pass_.peak_s + 0.5 * pass_.rise_s)
    odd = fit.trouble.startswith(_NO_GAMMA_VARIATE)
    start, level = (guess, outline.level) if odd else (pass_, fit.baseline)
    fit = _fit_until(series, cut_off_s, start, level) or fit
    if fit.trouble and not fit.describes:
        fit = _fit_until(series, outline.top_s, guess, outline.level) or fit
    return fit


def arrival_of(series: Series, outline: Outline, fit: FirstPass | None) -> Propagated | str:
    """Onset of the first pass, or why there is none.

    Where the curve is not quite a gamma variate, what an earlier end of the fit changes counts as uncertainty.
    """
    if fit is None:
        return "too few frames in the rise"
    if outline.information(series) < _LEAST_INFORMATION:
        return _TOO_NOISY
    if fit.trouble:
        return fit.trouble
    if fit.describes:
        return fit.onset
    early = _fit_until(series, fit.pass_.crossing_s(_EARLY_SHARE), fit.pass_, fit.baseline)
    if early is None:
        return "too few frames in the rise"
    onset = fit.onset.doubted(abs(early.pass_.onset_s - fit.pass_.onset_s))
    return onset if onset.u < _LARGEST_ONSET_U * fit.pass_.rise_s else "the curve does not begin like a gamma variate"


def _fit_until(series: Series, until_s: float, start: GammaVariate, baseline: float) -> FirstPass | None:
    """Fit to the points up to ``until_s``, but not to the first clipped one; None where they are too few."""
    used = series.times_s <= until_s
    if series.clipped.any():
        used &= series.slots < series.slots[series.clipped][0]
    return fit_first_pass(series, used, start, baseline) if used.sum() >= _LEAST_POINTS else None


def fit_first_pass(series: Series, used: NDArray[np.bool_], start: GammaVariate, baseline: float) -> FirstPass:
    """Fit baseline and gamma variate to the ``used`` points, beginning at ``start``; least squares by the points' sigma."""
    times, scale = series.times_s[used], max(start.peak, 1e-300)
    wanted, weight = series.values[used] / scale, scale / series.sigma[used]

    def misfit(p: F64) -> F64:
        unit = unit_gamma_variate(times, p[2], math.exp(p[3]), math.exp(p[4]))
        return np.asarray((p[0] + p[1] * unit - wanted) * weight)

    def slopes(p: F64) -> F64:
        shape = (p[2], math.exp(p[3]), math.exp(p[4]))
        unit, by_shape = unit_gamma_variate(times, *shape), p[1] * partials(times, *shape)
        return np.column_stack([np.ones_like(unit), unit, by_shape]) * weight[:, None]

    rise_s = start.rise_s
    low = np.array([-np.inf, 0.2, times[0] - rise_s, math.log(_LEAST_ALPHA / 2), math.log(rise_s / 8)])
    high = np.array([np.inf, 5.0, start.peak_s, math.log(_MOST_ALPHA * 2), math.log(rise_s * 8)])
    first = np.array([baseline / scale, 1.0, start.onset_s, math.log(start.alpha), math.log(rise_s)])
    found = least_squares(misfit, np.clip(first, low + 1e-9, high - 1e-9), slopes, bounds=(low, high), x_scale="jac")
    jacobian = slopes(found.x)
    unit_of = np.array([scale, scale, 1.0, 1.0, 1.0])
    by_used = np.linalg.pinv(jacobian) * weight * unit_of[:, None] / scale
    by_point = np.zeros((5, series.times_s.size))
    by_point[:, used] = by_used
    pass_ = GammaVariate(float(found.x[2]), math.exp(found.x[3]), math.exp(found.x[4]), float(found.x[1] * scale))
    spread = float(np.mean(found.fun**2))
    rms = math.sqrt(max(spread - 1.0, 0.0) * float(np.mean(weight**-2.0))) / float(found.x[1])
    describes = _is_noise(found.fun)
    fit = FirstPass(pass_, float(found.x[0] * scale), float(times[-1]), by_point, series.sigma, rms, describes, "")
    return replace(fit, trouble=_trouble(fit, times))


def _is_noise(residuals: F64) -> bool:
    """Whether means of equal stretches of residuals, in units of their sigma, are as small as noise leaves them (chi square)."""
    stretches = np.array_split(residuals, min(_STRETCHES, residuals.size // 2))
    chi_square = sum(float(stretch.sum()) ** 2 / stretch.size for stretch in stretches)
    freedom = max(len(stretches) - 5, 1)
    # scipy.stats has this by name, but takes as long to load as the rest of the program
    return chi_square < 2.0 * float(gammaincinv(0.5 * freedom, _CONFIDENCE))


def _trouble(fit: FirstPass, times_s: F64) -> str:
    pass_ = fit.pass_
    if not _LEAST_ALPHA < pass_.alpha < _MOST_ALPHA:
        return f"{_NO_GAMMA_VARIATE}: alpha runs to {pass_.alpha:.3g}"
    if pass_.onset_s <= times_s[0]:
        return "the rise began before the recording"
    if fit.misfit > _LARGEST_MISFIT:
        return f"{_NO_GAMMA_VARIATE}: misfit {100 * fit.misfit:.1f} % of the peak"
    if fit.onset.u > _LARGEST_ONSET_U * pass_.rise_s:
        return _TOO_NOISY
    return ""
