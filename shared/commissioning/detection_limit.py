"""Sensitivity: slope, limit of detection and linear range from a dilution row of the dye.

The limit of detection is three standard deviations of the blank over the slope (IUPAC recommendations, Pure Appl. Chem. 45 (1976)
99; from memory); the line is fitted with weights 1/u^2.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from shared.bounded import Length, Within
from shared.commissioning.line import Line, line
from shared.commissioning.stack import F64
from shared.errors import Refused

LEAST_WELLS = 4
HIGHEST_CONCENTRATION = 1e9
LONGEST_UNIT = 20
LEAST_BLANKS = 8
_LEAST_LINEAR = 3
DETECTION = 3.0
"""Standard deviations of the blank (IUPAC)."""
LINEAR_WITHIN = 0.05
"""Relative deviation from the line that still counts as linear (common practice, no source)."""


@dataclass(frozen=True)
class Well:
    """One dilution: ``concentration`` as the person said it, signal and its standard uncertainty."""

    concentration: Annotated[float, Within(0, HIGHEST_CONCENTRATION)]
    signal: float
    u: Annotated[float, Within(0, 1e9)]


@dataclass(frozen=True)
class Sensitivity:
    """Concentrations in the unit that was entered, signals in counts a millisecond at unit gain and full light.

    ``linear_to`` is the highest concentration up to which every well lies within 5 % of the line through those below and itself.
    """

    unit: Annotated[str, Length(1, LONGEST_UNIT)]
    slope: float
    slope_u: Annotated[float, Within(0, 1e12)]
    offset: float
    blank_deviation: Annotated[float, Within(0, 1e9)]
    detection_limit: Annotated[float, Within(0, 1e9)]
    detection_limit_u: Annotated[float, Within(0, 1e9)]
    linear_to: Annotated[float, Within(0, 1e9)]
    wells: Annotated[tuple[Well, ...], Length(1, 100)]


def sensitivity(wells: Sequence[Well], blanks: Sequence[float], unit: str) -> Sensitivity:
    """From the wells, and single readings of the blank (concentration 0), at least eight. Raises Refused with what is wrong."""
    ordered = sorted(wells, key=lambda one: one.concentration)
    values = np.array([(one.concentration, one.signal, one.u) for one in ordered], np.float64).reshape(-1, 3)
    _refuse_unfit(values, blanks)
    deviation = float(np.std(np.asarray(blanks, np.float64), ddof=1))
    used = _linear(values)
    fit = _weighted(values[:used])
    if fit.slope.value <= 3 * fit.slope.u:
        raise Refused(
            "the signal does not rise with the concentration",
            f"slope {fit.slope.value:.3g} ± {fit.slope.u:.2g}",
            "are the wells in the order in which you named them?",
        )
    limit = DETECTION * deviation / fit.slope.value
    relative = math.hypot(1 / math.sqrt(2 * (len(blanks) - 1)), fit.slope.u / fit.slope.value)
    return Sensitivity(
        unit=unit,
        slope=fit.slope.value,
        slope_u=fit.slope.u,
        offset=fit.offset.value,
        blank_deviation=deviation,
        detection_limit=limit,
        detection_limit_u=limit * relative,
        linear_to=float(values[used - 1, 0]),
        wells=tuple(ordered),
    )


def _refuse_unfit(values: F64, blanks: Sequence[float]) -> None:
    if len(values) < LEAST_WELLS:
        raise Refused("too few wells", len(values), f"at least {LEAST_WELLS}, one of them without dye")
    if not np.isfinite(values).all() or not np.isfinite(blanks).all():
        raise Refused("a well's concentration or signal is not a number", remedy="measure again")
    if values[0, 0] != 0 or (np.diff(values[:, 0]) <= 0).any():
        raise Refused(
            "concentrations must differ, and one must be 0",
            ", ".join(f"{one:g}" for one in values[:, 0]),
            "name each well's concentration",
        )
    if len(blanks) < LEAST_BLANKS:
        raise Refused("too few readings of the blank", len(blanks), f"at least {LEAST_BLANKS}")


def _weighted(values: F64) -> Line:
    """No weight is more than a hundred times another's: an uncertainty that came out small by chance must not rule the line."""
    u = np.maximum(values[:, 2], 0.1 * float(values[:, 2].max()))
    return line(values[:, 0], values[:, 1], u if float(u.min()) > 0 else None)


def _linear(values: F64) -> int:
    """How many wells from the lowest lie on one line. Raises Refused where not even those of least dye do."""
    for number in range(len(values), _LEAST_LINEAR - 1, -1):
        fit = _weighted(values[:number])
        expected = fit.offset.value + fit.slope.value * values[:number, 0]
        rise = fit.slope.value * values[:number, 0]
        allowed = LINEAR_WITHIN * np.abs(rise) + 3 * values[:number, 2]
        if (np.abs(values[:number, 1] - expected) <= allowed)[1:].all():
            return number
    least = ", ".join(f"{signal:.3g} at {concentration:g}" for concentration, signal, _ in values[:_LEAST_LINEAR])
    raise Refused("the wells of least dye lie on no line", least, "are the wells in the order in which you named them?")
