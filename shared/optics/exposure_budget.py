"""How much light is still allowed, when light and distance vary: what the light guard enforces. Pure; standard library only.

**What is kept.** For every limit of ``exposure_limits`` and every window of time that ends now, of any length, the dose in that
window is at most the limit's dose for a window of that length: at most 18000 w^0.25 J/m2 of infrared at the eye in any w
seconds up to 1000, at most 100 w beyond, and so on. A single exposure is judged exactly as the standard's formula judges it;
broken light is judged as though the worst choice of windows were the exposure. That is the conservative reading: a pause gives
back only what falls out of *all* windows, and no pattern of pauses gives more light than the formula's best single exposure in
the same time.

**How it is kept in bounded memory.** The dose so far is noted once a second, for as long as windows are limited otherwise than in
proportion to their length (1000 s for the eye, 10 s for retina and skin). A window that begins within a second counts from that
second's beginning and is judged by its shortest possible length. All longer windows, back to the first light, need one number: with
D(s) the dose until s and r the continuous limit, D(t) - D(s) <= r (t - s) for all old s means D(t) - r t <= min of D(s) - r s.
Windows under two seconds are kept by allowing no light at all above the mean limit of two seconds.

Every rounding is against the light. What a fresh budget does not know of (light before a restart) it cannot count.
"""

import math

from shared.optics.exposure_limits import LIMITS, Limit, Piece
from shared.optics.hazard_table import HazardTable
from shared.optics.ring import Ring
from shared.optics.ring_hazards import Hazards

_SECOND_NS = 1_000_000_000
_SHORTEST_S = 2.0
_LADDER = 1.05
"""Windows that begin in neighbouring seconds are judged together, ever more of them with age: by up to 5 % of their length."""
_MARGIN = 1e-9
"""Relative; covers the rounding of floating-point sums of weeks."""


class ExposureBudget:
    """Keeps what the ring has given, and says how long it may go on. For one ring, at distances that may change.

    ``level`` is the share of full power (0 dark, 1 full). ``distance_mm`` is the nearest distance from ring to eye or skin that
    must be reckoned with: the shortest working distance of the settings, or a measured one (see ``WorkingDistance``). At
    ``exact_at_mm`` the reckoning is exact; nearer it takes the inverse square, farther a close bound. Times are nanoseconds
    of one monotonic clock.

    A guard calls ``spend`` for *every* interval in which the ring was on, before it asks; what nobody spends counts as dark.
    """

    def __init__(self, ring: Ring, exact_at_mm: float, start_ns: int) -> None:
        self._table = HazardTable(ring, exact_at_mm)
        self._ledgers = tuple(_Ledger(limit, start_ns) for limit in LIMITS)
        self._promised_at = Hazards(0.0, 0.0, 0.0)
        self._promised_ns = -math.inf

    def spend(self, level: float, distance_mm: float, start_ns: int, end_ns: int) -> None:
        """Note that the ring was on at ``level`` from ``start_ns`` to ``end_ns``, with eyes or skin no nearer than ``distance_mm``.

        Calls come in order of time; an interval that overlaps what was spent already counts in full. Raises ValueError for
        an end before its start, a level outside 0 to 1 or a distance not above 0.
        """
        if end_ns < start_ns:
            raise ValueError(f"an interval ends before it starts: {start_ns} to {end_ns} ns")
        at = self._hazards(level, distance_mm)
        if not at.at_most(self._promised_at) or start_ns < self._ledgers[0].until_ns:
            self._promised_ns = -math.inf
        for ledger in self._ledgers:
            ledger.spend(at.of(ledger.limit), start_ns, end_ns)

    def left_s(self, level: float, distance_mm: float, now_ns: int) -> float:
        """Seconds for which the ring may stay on from now without a pause, at this level and distance; 0 if not at all.

        ``math.inf`` where it need not end. Raises ValueError like ``spend``.
        """
        at = self._hazards(level, distance_mm)
        return min(ledger.left_s(at.of(ledger.limit), now_ns) for ledger in self._ledgers)

    def may_light(self, level: float, distance_mm: float, now_ns: int, for_s: float = 0.0) -> bool:
        """Whether the ring may be on from now for more than ``for_s``: as ``left_s`` says, but cheap to ask at every message.

        Budget trickles back while the ring is dark: who relights should ask for a worthwhile time, or the light blinks.
        What ``left_s`` once promised holds as long as nothing more than that level at that distance has been spent since, for
        less light makes no window fuller. Raises ValueError like ``spend``.
        """
        at = self._hazards(level, distance_mm)
        end_ns = now_ns + for_s * 1e9
        if end_ns < self._promised_ns and at == self._promised_at:
            return True
        self._promised_at, self._promised_ns = at, now_ns + self.left_s(level, distance_mm, now_ns) * 1e9
        return end_ns < self._promised_ns

    def binding(self, level: float, distance_mm: float, now_ns: int) -> Limit:
        """The limit that leaves least time, to be named to the operator."""
        at = self._hazards(level, distance_mm)
        return min(self._ledgers, key=lambda ledger: ledger.left_s(at.of(ledger.limit), now_ns)).limit

    def _hazards(self, level: float, distance_mm: float) -> Hazards:
        if not 0.0 <= level <= 1.0:
            raise ValueError(f"a level lies from 0 to 1: {level}")
        return self._table.at(distance_mm).times(level)


class _Ledger:
    """Doses of one limited quantity ("rate": dose a second)."""

    def __init__(self, limit: Limit, start_ns: int) -> None:
        self.limit = limit
        brief = Piece(_SHORTEST_S, limit.dose(_SHORTEST_S), 0)
        self._pieces = (brief, *(piece for piece in limit.pieces if piece.until_s > _SHORTEST_S))
        self._highest_rate = limit.dose(_SHORTEST_S) / _SHORTEST_S
        self._seconds = math.ceil(limit.continuous_from_s)
        self._ladder = _ladder(self._seconds)
        self._start_ns = start_ns
        self.until_ns = start_ns
        self._dose = 0.0
        self._second = 0  # seconds from the start to the last full one
        # Dose until the beginning of each of the last seconds, by second modulo length; and the least D(s) - r s of older ones.
        self._noted = [0.0] * (self._seconds + 2)
        self._oldest = math.inf

    def spend(self, rate: float, start_ns: int, end_ns: int) -> None:
        rate *= 1 + _MARGIN
        self._pass_time(start_ns)
        overlap_ns = min(self.until_ns, end_ns) - start_ns
        if overlap_ns > 0:
            self._dose += rate * overlap_ns / 1e9
        if rate == 0.0:
            self._pass_time(end_ns)
            return
        while self.until_ns < end_ns:
            next_ns = min(end_ns, self._start_ns + (self._second + 1) * _SECOND_NS)
            self._dose += rate * (next_ns - self.until_ns) / 1e9
            self._pass_time(next_ns)

    def left_s(self, rate: float, now_ns: int) -> float:
        """Time until the first window of any length would exceed its dose."""
        if rate > self._highest_rate:
            return 0.0
        self._pass_time(now_ns)
        if rate == 0.0:
            return math.inf
        rate *= 1 + _MARGIN
        now_s = (self.until_ns - self._start_ns) / 1e9
        left_s = self._left_of_old_s(rate, now_s)
        since_second_s = now_s - self._second
        younger = 0
        for older in self._ladder:
            spent = self._dose - self._noted[(self._second - older) % len(self._noted)]
            age_s = 0.0 if older == 0 else since_second_s + younger
            left_s = self._first_excess_s(spent, age_s, rate, left_s)
            if left_s <= 0.0:
                return 0.0
            younger = older
        return max(0.0, left_s - 1e-6)

    def _left_of_old_s(self, rate: float, now_s: float) -> float:
        """By all windows that begin before what is noted second by second."""
        continuous = self.limit.continuous
        room = self._oldest - (self._dose - continuous * now_s)
        if room < 0:
            return 0.0
        return room / (rate - continuous) if rate > continuous else math.inf

    def _first_excess_s(self, spent: float, age_s: float, rate: float, left_s: float) -> float:
        """When a window that is ``age_s`` old and holds ``spent`` exceeds its dose, if that is before ``left_s``.

        Each piece of the limit is concave, so within a piece the dose allowed stays above the line spent + rate x time where it
        is above it at both ends.
        """
        begin_s = 0.0
        for piece in self._pieces:
            if piece.until_s < age_s:
                continue
            if begin_s == 0.0 and spent > piece.dose(age_s):
                return 0.0
            end_s = min(left_s, piece.until_s - age_s)
            if math.isinf(end_s):
                return (piece.factor * age_s - spent) / (rate - piece.factor) if rate > piece.factor else end_s
            if spent + rate * end_s > piece.dose(age_s + end_s):
                return _crossing_s(spent, age_s, rate, piece, begin_s, end_s)
            if end_s == left_s:
                return left_s
            begin_s = end_s
        return left_s

    def _pass_time(self, now_ns: int) -> None:
        """Note the dose at each second that began since; a time in the past changes nothing."""
        if now_ns <= self.until_ns:
            return
        self.until_ns = now_ns
        second = (now_ns - self._start_ns) // _SECOND_NS
        all_alike = self._second + len(self._noted)
        while self._second < second:
            if self._second > all_alike:  # hours of darkness: every note is the same by now
                self._second = second - 1
            self._second += 1
            self._noted[self._second % len(self._noted)] = self._dose
            left = (
                self._second - self._seconds
            )  # the second before this one is judged with all the old ones from now on
            before = self._noted[(left - 1) % len(self._noted)]
            self._oldest = min(self._oldest, before - self.limit.continuous * left)


def _crossing_s(spent: float, age_s: float, rate: float, piece: Piece, begin_s: float, end_s: float) -> float:
    """The last time, to a millionth of the way, at which spent + rate x time is still within the piece; it is so at ``begin_s``."""
    for _ in range(20):
        middle_s = (begin_s + end_s) / 2
        if spent + rate * middle_s > piece.dose(age_s + middle_s):
            end_s = middle_s
        else:
            begin_s = middle_s
    return begin_s


def _ladder(seconds: int) -> tuple[int, ...]:
    """Numbers of seconds back from the present one, 0 to ``seconds``, each a little more than the one before."""
    steps = [0]
    while steps[-1] < seconds:
        steps.append(min(seconds, max(steps[-1] + 1, int(steps[-1] * _LADDER))))
    return tuple(steps)
