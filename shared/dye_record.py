"""How much dye a case was given, beside the label's limit, and about how much of it is still in the blood.

General information from the generic United States label of indocyanine green for injection (DailyMed, reconstitution, dosage,
warnings) and first-order kinetics; advice to look things up by, never a prescription.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from shared.errors import Refused

LIMIT_MG_PER_KG = 2.0
"""Total dose of dye injected should be kept below this (label, dosage; adults and children)."""
CONCENTRATION_MG_PER_ML = 2.5
"""25 mg in 10 mL of sterile water (label, reconstitution)."""
HALF_LIVES_MIN = (2.5, 3.0, 4.0)
"""Half-lives in blood that labels, formularies and suppliers state; a sick liver's is longer, and tails are slower."""
LEAST_MASS_KG, MOST_MASS_KG = 1.0, 400.0
LONG_AGO_MIN = 24 * 60.0
ONE_INJECTION = timedelta(minutes=2)
"""Nearer to each other a mark and a dose, or two doses of one size, may be of one injection (our choice, no source)."""
_CLOCK_MIN = 0.1
"""A moment is stored in milliseconds, and a recording's start in whole seconds."""
_MOST_DOSE_MG = 500.0
"""More than the limit of the heaviest adult one meets: beyond it somebody mistyped."""
CAUTIONS = (
    "advice only: the label of the vial in hand, local rules and licensed practice decide about every dose",
    "label: the total dose should stay below 2 mg/kg of body mass",
    "label: contains up to 5 % sodium iodide; caution where iodides or the dye are not tolerated; severe reactions have occurred"
    " without such a history too, so means to treat them belong at hand",
    "label: mix only with the sterile water supplied, use within 6 hours of mixing, throw away what is not clear",
    "label: no study of iodine uptake for a week afterwards",
    "the sum is of this case code alone: add what the same patient was given under another code, or elsewhere",
    "what is left is of dye given into a vein, in a healthy adult, over some 2 to 20 minutes: tails are slower, a sick liver much"
    " slower; dye under the skin stays for hours and longer",
)


@dataclass(frozen=True)
class Injection:
    """Dye that went in at ``at`` (with a time zone). ``dose_mg`` is None where nobody entered it."""

    at: datetime
    dose_mg: float | None = None


@dataclass(frozen=True)
class Remainder:
    """What is left of what was injected ``since_min`` ago: shares for the shortest and the longest of ``HALF_LIVES_MIN``."""

    since_min: float
    least_share: float
    most_share: float


@dataclass(frozen=True)
class DyeSoFar:
    """Sum of all doses entered, and what is left in the blood of them; ``limit_mg`` None where no body mass was entered.

    ``without_dose`` counts injections that are marked and whose dose nobody entered: they are in no sum. ``long_ago_mg`` was given
    more than a day ago; ``ahead`` counts what the clock says is still to come, ``alike`` what may have been entered twice.
    """

    given_mg: float
    limit_mg: float | None
    left_least_mg: float
    left_most_mg: float
    without_dose: int
    long_ago_mg: float = 0.0
    ahead: int = 0
    alike: int = 0

    @property
    def share_of_limit(self) -> float | None:
        """1 at the limit."""
        return None if self.limit_mg is None else self.given_mg / self.limit_mg

    def remarks(self) -> tuple[str, ...]:
        """What must be said of the sum."""
        said = []
        if self.without_dose:
            said.append(f"injections marked without a dose, which are not in the sum: {self.without_dose}")
        if self.limit_mg is None:
            said.append("no body mass is entered: the label's limit cannot be worked out")
        elif self.given_mg >= self.limit_mg:
            said.append(f"{self.given_mg:g} mg reach or pass the label's limit of {self.limit_mg:g} mg")
        if self.long_ago_mg:
            said.append(
                f"given more than a day ago, and in the sum: {self.long_ago_mg:g} mg; "
                "the label does not say over what time its limit counts"
            )
        if self.ahead:
            said.append(
                f"injections that lie ahead of the device's clock: {self.ahead}; "
                "the clock was set back, so no time and no remainder here is sure"
            )
        if self.alike:
            said.append(f"doses of one size within two minutes: {self.alike}; was one entered twice? take it back")
        return tuple(said)


def checked_dose_mg(dose_mg: float) -> float:
    """The dose itself; raises Refused for what cannot be one."""
    if not 0 < dose_mg <= _MOST_DOSE_MG:
        raise Refused("a dose is above 0 and at most 500 mg", dose_mg, "enter milligrams of dye, not millilitres")
    return float(dose_mg)


def checked_mass_kg(mass_kg: float) -> float:
    """The body mass itself; raises Refused for what cannot be one."""
    if not LEAST_MASS_KG <= mass_kg <= MOST_MASS_KG:
        raise Refused("a body mass is from 1 to 400 kg", mass_kg, "enter kilograms")
    return float(mass_kg)


def limit_mg(mass_kg: float) -> float:
    """The label's limit of the total dose for a body of ``mass_kg``; raises Refused for what is no body mass."""
    return LIMIT_MG_PER_KG * checked_mass_kg(mass_kg)


def volume_ml(dose_mg: float) -> float:
    """Millilitres that hold a dose, mixed as on the label."""
    return dose_mg / CONCENTRATION_MG_PER_ML


def left_share(since_min: float, half_life_min: float) -> float:
    """First-order elimination: f(t) = 2^(-t / T); all of it before the injection."""
    return float(2.0 ** (-max(since_min, 0.0) / half_life_min))


def half_life_min(rate_per_min: float) -> float:
    """Half-life of a rate constant: T = ln 2 / k."""
    return math.log(2.0) / rate_per_min


def remainder(injection: Injection, now: datetime) -> Remainder:
    """What is left of one injection at ``now``."""
    since_min = (now - injection.at).total_seconds() / 60.0
    shares = [left_share(since_min, half_life) for half_life in HALF_LIVES_MIN]
    return Remainder(since_min, min(shares), max(shares))


def dye_so_far(injections: Sequence[Injection], mass_kg: float | None, now: datetime) -> DyeSoFar:
    """Sum up what was given before ``now``."""
    entered = [(one.dose_mg, remainder(one, now)) for one in injections if one.dose_mg is not None]
    with_dose = sorted((one for one in injections if one.dose_mg is not None), key=lambda one: one.at)
    pairs = [(a, b) for a, b in pairwise(with_dose) if a.dose_mg == b.dose_mg and b.at - a.at < ONE_INJECTION]
    return DyeSoFar(
        given_mg=sum(dose for dose, _ in entered),
        limit_mg=None if mass_kg is None else limit_mg(mass_kg),
        left_least_mg=sum(dose * left.least_share for dose, left in entered),
        left_most_mg=sum(dose * left.most_share for dose, left in entered),
        without_dose=sum(one.dose_mg is None for one in injections),
        long_ago_mg=sum(dose for dose, left in entered if left.since_min > LONG_AGO_MIN),
        ahead=sum(remainder(one, now).since_min < -_CLOCK_MIN for one in injections),
        alike=len(pairs) + 1 if pairs else 0,
    )
