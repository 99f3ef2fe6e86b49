"""How much near-infrared light an eye and the skin may get, by IEC 62471:2006 and ICNIRP 2013. Standard library only.

None of the documents was read in full. Beside each figure stands where it comes from: *read* in the text named, *second-hand*
(read in somebody's code or review that quotes the clause), or *from memory*. Have a competent person check them against the
standard's text before anybody relies on them.

One idea carries everything. A limit says how high the mean over a time may be; times that time it is a dose. Each limit is written
as the highest dose in a window of a given length, a chain of power laws. Light varies, so **the dose of every window, of any
length, must stay within the limit of that length**, as if each window were an exposure of its own. The standards speak of one
exposure of duration t; no choice of the moment when it begins can make this reading the laxer one. Where a clause's dose steps
down with time (infrared at 1000 s, retina at 10 s), the shorter windows are held to what the longer ones allow.

Conservative where the documents leave a choice: all radiation of an LED counts, though the infrared limit starts at 780 nm; the
stricter of IEC and ICNIRP applies; the weak-stimulus limit applies though a bright 770 nm LED is dimly seen.
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from shared.errors import Refused
from shared.optics.ring import FWHM_PER_SIGMA

SHORTEST_WINDOW_S = 1.0
LONGEST_WINDOW_S = 30_000.0
"""Times for which the limits are asked: the doses of IEC 62471 are defined for up to 30000 s, 8 hours (from memory)."""

EYE_CONTINUOUS_W_M2 = 100.0
EYE_LONGEST_S = 1000.0
COUNTED_FROM_NM = 780.0
"""The infrared limits count from here (IEC 62471:2006 4.3.7; the band read in Directive 2006/25/EC, Annex I, m and n)."""

ALPHA_LEAST_RAD = 0.011
"""Smallest angle a source may seem to have for more than 10 s, for the eye moves (IEC 62471:2006 4.3.6, second-hand)."""
ALPHA_LEAST_BRIEF_RAD = 0.0015
"""The same for up to 10 s (ICNIRP 2013, second-hand)."""
ALPHA_MOST_RAD = 0.1
"""Largest angle that still lowers the limit (IEC 62471:2006 4.3.6, second-hand)."""

LimitName = Literal["eye-infrared", "retina", "retina-brief", "skin"]


@dataclass(frozen=True)
class Piece:
    """Up to windows of ``until_s`` the dose may be ``factor`` times the window's length to the ``power`` (0 to 1: concave)."""

    until_s: float
    factor: float
    power: float

    def dose(self, window_s: float) -> float:
        """Dose of a window of this length."""
        return float(self.factor * window_s**self.power)


@dataclass(frozen=True)
class Limit:
    """One limit: the highest dose in a window, never falling with the window's length. The last piece is ``continuous`` x length.

    ``quantity`` names what is limited (its unit in the name), a member of ``ring_hazards.Hazards``; a dose is that times seconds.
    """

    name: LimitName
    words: str
    clause: str
    quantity: Literal["irradiance_w_m2", "retinal_w_m2_sr_rad", "retinal_brief_w_m2_sr_rad"]
    pieces: tuple[Piece, ...]

    @property
    def sentence(self) -> str:
        """What it protects and which clause says so."""
        return f"{self.words} ({self.clause})"

    @property
    def continuous(self) -> float:
        """What may go on for ever."""
        return self.pieces[-1].factor

    @property
    def continuous_from_s(self) -> float:
        """From which length of window on the continuous limit holds."""
        return self.pieces[-2].until_s

    def dose(self, window_s: float) -> float:
        """Highest dose in a window of ``window_s``."""
        for piece in self.pieces:
            if window_s <= piece.until_s:
                return piece.dose(window_s)
        raise AssertionError("the last piece has no end")

    def allowed_s(self, value: float) -> float:
        """How long a steady ``value`` may last after a long pause, in seconds; ``math.inf`` for up to the continuous limit."""
        if value <= self.continuous:
            return math.inf
        for piece in self.pieces:
            if value * piece.until_s > piece.dose(piece.until_s):
                return float((piece.factor / value) ** (1 / (1 - piece.power)))
        raise AssertionError("a value above the continuous limit ends somewhere")


def eye_infrared_w_m2(time_s: float) -> float:
    """Irradiance of cornea and lens: 18000 t^-0.75 W/m2 up to 1000 s, 100 W/m2 beyond.

    780-3000 nm. IEC 62471:2006 4.3.7, ICNIRP 2013 (formula second-hand). Raises Refused outside 1 to 30000 s.
    """
    _check_time(time_s, "IEC 62471:2006 4.3.7")
    return float(18_000 * time_s**-0.75) if time_s <= EYE_LONGEST_S else EYE_CONTINUOUS_W_M2


def retinal_weak_w_m2_sr(time_s: float, alpha_rad: float) -> float:
    """Burn-weighted radiance of a source that is hardly seen: 6000/alpha W/m2/sr, for more than 10 s, alpha 0.011 to 0.1 rad.

    780-1400 nm. IEC 62471:2006 4.3.6 (second-hand); stricter than the 6300/alpha of ICNIRP 2013 from 100 s on (read in its erratum,
    Health Phys 105:74, eq. 9). Raises Refused for up to 10 s or for another alpha.
    """
    clause = "IEC 62471:2006 4.3.6"
    _check_time(time_s, clause, above_s=10.0)
    _check_alpha(alpha_rad, ALPHA_LEAST_RAD, clause)
    return 6000 / alpha_rad


def retinal_brief_w_m2_sr(time_s: float, alpha_rad: float) -> float:
    """Burn-weighted radiance for up to 10 s: 2.0e4 alpha^-1 t^-0.25 W/m2/sr, alpha 0.0015 to 0.1 rad.

    ICNIRP 2013, weak stimulus below 100 s (second-hand). Stricter than its basic limit 2.8e4/alpha from 0.25 s (second-hand)
    and than the 5.0e4/(alpha t^0.25) of IEC 62471:2006 4.3.5 (from memory). Raises Refused outside 1 to 10 s or for another
    alpha.
    """
    clause = "ICNIRP 2013, weak visual stimulus"
    _check_time(time_s, clause, until_s=10.0)
    _check_alpha(alpha_rad, ALPHA_LEAST_BRIEF_RAD, clause)
    return float(2.0e4 / (alpha_rad * time_s**0.25))


def skin_dose_j_m2(time_s: float) -> float:
    """Radiant exposure of the skin: 20000 t^0.25 J/m2 for up to 10 s, 380-3000 nm.

    Band read in Directive 2006/25/EC Annex I, o; formula and clause number from memory. There is no limit for longer: pain is
    trusted to end it (ICNIRP on far infrared, read); this program holds the mean of 10 s, 3557 W/m2, for longer too. Raises
    Refused outside 1 to 10 s.
    """
    _check_time(time_s, "IEC 62471:2006 4.3.8, skin", until_s=10.0)
    return float(20_000 * time_s**0.25)


def burn_weight(wavelength_nm: float) -> float:
    """Burn hazard weight R.

    1 (500-700 nm), 10^((700-l)/500) (to 1050), 0.2 (to 1150), 0.2 10^(0.02 (1150-l)) (to 1200), 0.02 (to 1400).

    IEC 62471:2006 table 4.2 and ICNIRP 2013 (second-hand; the table's number from memory). Raises Refused outside 500-1400 nm.
    """
    if not 500 <= wavelength_nm <= 1400:
        raise Refused(
            "the burn hazard weight (ICNIRP 2013) is used from 500 to 1400 nm", f"{wavelength_nm:g} nm", "check it"
        )
    if wavelength_nm <= 700:
        return 1.0
    if wavelength_nm <= 1050:
        return float(10 ** ((700 - wavelength_nm) / 500))
    if wavelength_nm <= 1150:
        return 0.2
    return float(0.2 * 10 ** (0.02 * (1150 - wavelength_nm))) if wavelength_nm <= 1200 else 0.02


@lru_cache(maxsize=64)
def spectral_burn_weight(wavelength_nm: float, fwhm_nm: float) -> float:
    """Burn hazard weight averaged over a Gaussian spectrum: Simpson's rule over +/- 4 sigma, weights taken from 500 to 1400 nm."""
    sigma_nm, steps = fwhm_nm / FWHM_PER_SIGMA, 160
    weighted = total = 0.0
    for number in range(steps + 1):
        offset = 8 * number / steps - 4
        simpson = 1 if number in (0, steps) else 4 if number % 2 else 2
        share = simpson * math.exp(-offset * offset / 2)
        weighted += share * burn_weight(min(max(wavelength_nm + offset * sigma_nm, 500.0), 1400.0))
        total += share
    return weighted / total


def _check_time(time_s: float, clause: str, above_s: float = 0.0, until_s: float = LONGEST_WINDOW_S) -> None:
    if not max(SHORTEST_WINDOW_S, above_s) <= time_s <= until_s or time_s == above_s:
        least = f"more than {above_s:g}" if above_s else f"{SHORTEST_WINDOW_S:g}"
        raise Refused(f"{clause} is used for {least} to {until_s:g} s", f"{time_s:g} s", "ask for a time inside")


def _check_alpha(alpha_rad: float, least_rad: float, clause: str) -> None:
    if not least_rad <= alpha_rad <= ALPHA_MOST_RAD:
        raise Refused(
            f"{clause} holds for alpha from {least_rad:g} to {ALPHA_MOST_RAD:g} rad",
            f"{alpha_rad:g} rad",
            "clamp alpha first",
        )


_RETINA_10_S = 10 * 6000.0
_EYE_1000_S = EYE_LONGEST_S * EYE_CONTINUOUS_W_M2

EYE_INFRARED = Limit(
    "eye-infrared",
    "eye, infrared at cornea and lens",
    "IEC 62471:2006 4.3.7",
    "irradiance_w_m2",
    (
        Piece((_EYE_1000_S / 18_000) ** 4, 18_000, 0.25),
        Piece(EYE_LONGEST_S, _EYE_1000_S, 0),
        Piece(math.inf, EYE_CONTINUOUS_W_M2, 1),
    ),
)
RETINA = Limit(
    "retina",
    "eye, retina, longer than 10 s",
    "IEC 62471:2006 4.3.6",
    "retinal_w_m2_sr_rad",
    (Piece(10, _RETINA_10_S, 0), Piece(math.inf, 6000, 1)),
)
RETINA_BRIEF = Limit(
    "retina-brief",
    "eye, retina, up to 10 s",
    "ICNIRP 2013, weak visual stimulus",
    "retinal_brief_w_m2_sr_rad",
    (Piece(10, 2.0e4, 0.75), Piece(math.inf, 2.0e4 * 10**-0.25, 1)),
)
SKIN = Limit(
    "skin",
    "skin, heat",
    "IEC 62471:2006 4.3.8",
    "irradiance_w_m2",
    (Piece(10, 20_000, 0.25), Piece(math.inf, 20_000 * 10**-0.75, 1)),
)
LIMITS = (EYE_INFRARED, RETINA, RETINA_BRIEF, SKIN)
