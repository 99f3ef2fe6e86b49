"""The budget of light against direct integration of every window, with the formulas written again as the documents have them.

IEC 62471:2006 4.3.7 and 4.3.6, ICNIRP 2013: see test_exposure_limits about where they were read.
"""

import math
import random
from dataclasses import dataclass, field, replace

import numpy as np
import pytest

from shared.optics.exposure_budget import ExposureBudget
from shared.optics.exposure_limits import EYE_INFRARED, LIMITS, RETINA, RETINA_BRIEF
from shared.optics.hazard_table import HazardTable
from shared.optics.ring import Ring
from shared.optics.ring_hazards import allowed_time_s, hazards

SECOND = 1_000_000_000

RING = Ring(
    leds=12,
    radius_mm=30,
    wavelength_nm=770,
    fwhm_nm=30,
    half_angle_deg=30,
    emitter_diameter_mm=3,
    radiant_intensity_w_sr=0.5,
)
STRONG = replace(RING, radiant_intensity_w_sr=8.0)
PIERCING = replace(RING, leds=1, half_angle_deg=3, emitter_diameter_mm=1, radiant_intensity_w_sr=4.0)
"""One narrow beam from a small spot: here the retina ends the light first."""


def ns(seconds: float) -> int:
    return round(seconds * SECOND)


# ---- what every window must hold, written directly ------------------------------------------------------------------


def eye_dose(window_s: np.ndarray) -> np.ndarray:
    """18000 t^-0.75 W/m2 up to 1000 s, 100 W/m2 beyond, times t."""
    return np.where(window_s <= 1000, 18000 * window_s**0.25, 100 * window_s)


def retina_dose(window_s: np.ndarray) -> np.ndarray:
    """6000/alpha beyond 10 s, times t and alpha; shorter windows have the other limit."""
    return np.where(window_s > 10, 6000 * window_s, np.inf)


def retina_brief_dose(window_s: np.ndarray) -> np.ndarray:
    """2.0e4 / (alpha t^0.25) up to 10 s, times t and alpha."""
    return np.where(window_s <= 10, 2.0e4 * window_s**0.75, np.inf)


def skin_dose(window_s: np.ndarray) -> np.ndarray:
    """20000 t^0.25 J/m2 up to 10 s."""
    return np.where(window_s <= 10, 20000 * window_s**0.25, np.inf)


@dataclass
class History:
    """What really shone: intervals of constant light, with the exact hazards of the ring at that distance."""

    ring: Ring
    edges_s: list[float] = field(default_factory=lambda: [0.0])
    rates: list[tuple[float, float, float]] = field(default_factory=list)

    def shine(self, level: float, distance_mm: float, start_ns: int, end_ns: int) -> None:
        at = hazards(self.ring, distance_mm).times(level)
        self.edges_s += [start_ns / SECOND, end_ns / SECOND]
        self.rates += [(0.0, 0.0, 0.0), (at.irradiance_w_m2, at.retinal_w_m2_sr_rad, at.retinal_brief_w_m2_sr_rad)]

    def fullest(self) -> float:
        """The largest share of its dose that any window of any limit holds.

        Between the edges of a history the excess of a window over a concave limit is convex in its ends, so the worst windows
        begin and end at edges, or are exactly as long as a limit's joint.
        """
        edges_s = np.array(self.edges_s)
        lengths_s = np.diff(edges_s)
        rates = np.array(self.rates)
        worst = 0.0
        for column, limit in ((0, eye_dose), (1, retina_dose), (2, retina_brief_dose), (0, skin_dose)):
            dose = np.concatenate([[0.0], np.cumsum(rates[:, column] * lengths_s)])
            ends_s, begins_s = [edges_s], [edges_s]
            for joint_s in (10.0, np.nextafter(10.0, 11), 1000.0, np.nextafter(1000.0, 1001)):
                ends_s.append(edges_s + joint_s)
                begins_s.append(edges_s - joint_s)
            end_s, begin_s = np.concatenate(ends_s)[:, None], np.concatenate(begins_s)[None, :]
            window_s = end_s - begin_s
            inside = np.interp(end_s, edges_s, dose) - np.interp(begin_s, edges_s, dose)
            shares = np.where(window_s > 1e-6, inside / limit(np.maximum(window_s, 1e-6)), 0.0)
            worst = max(worst, float(shares.max()))
        return worst


@pytest.mark.parametrize(
    ("ring", "paces_s"),
    [(RING, (15, 60)), (STRONG, (0.3, 3, 30)), (PIERCING, (0.3, 3, 30))],
    ids=["ring", "strong", "piercing"],
)
@pytest.mark.parametrize("seed", range(8))
def test_no_window_of_a_random_history_is_ever_too_full(ring: Ring, paces_s: tuple[float, ...], seed: int) -> None:
    """Somebody who always takes as much light as may be had, at levels and distances that change all the time."""
    chance = random.Random(seed)
    pace_s = chance.choice(paces_s)
    budget, history, now_ns = ExposureBudget(ring, 150, 0), History(ring), 0
    for _ in range(150):
        level, distance_mm = chance.choice([0.2, 0.5, 1.0]), chance.choice([90, 150, 151, 160, 220, 400])
        left_s = budget.left_s(level, distance_mm, now_ns)
        wanted_s = chance.expovariate(1 / pace_s)
        lit_ns = min(ns(wanted_s), math.floor(left_s * SECOND) if math.isfinite(left_s) else ns(wanted_s))
        if lit_ns:
            history.shine(level, distance_mm, now_ns, now_ns + lit_ns)
            budget.spend(level, distance_mm, now_ns, now_ns + lit_ns)
        now_ns += lit_ns + ns(chance.expovariate(1 / pace_s) * chance.choice([0, 0.1, 1, 5]))
    assert 0.5 < history.fullest() <= 1 + 1e-9


@pytest.mark.parametrize(
    ("ring", "distance_mm", "seconds"), [(RING, 150, 3000), (RING, 90, 1500), (STRONG, 250, 600), (PIERCING, 250, 300)]
)
def test_every_frame_a_message_and_no_window_too_full(ring: Ring, distance_mm: float, seconds: float) -> None:
    """A guard's way: at each message it spends the time since the last one, and asks whether it may go on, or begin again."""
    budget, history, step_ns = ExposureBudget(ring, 100, 0), History(ring), ns(0.25)
    lit_since_ns: int | None = None
    for now_ns in range(0, ns(seconds), step_ns):
        if lit_since_ns is None:
            lit_since_ns = now_ns if budget.may_light(1.0, distance_mm, now_ns, for_s=3.0) else None
            continue
        budget.spend(1.0, distance_mm, now_ns - step_ns, now_ns)
        if not budget.may_light(1.0, distance_mm, now_ns, for_s=step_ns / SECOND):
            history.shine(1.0, distance_mm, lit_since_ns, now_ns)
            lit_since_ns = None
    assert 0.9 < history.fullest() <= 1 + 1e-9


# ---- hand-computed cases --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("distance_mm", [90, 150, 200])
def test_a_fresh_budget_allows_what_the_formula_allows(distance_mm: float) -> None:
    budget = ExposureBudget(RING, distance_mm, 5 * SECOND)
    expected_s = allowed_time_s(hazards(RING, distance_mm))
    assert budget.left_s(1.0, distance_mm, 5 * SECOND) == pytest.approx(expected_s, rel=1e-4)
    assert budget.left_s(1.0, distance_mm, 5 * SECOND) <= expected_s
    assert math.isinf(budget.left_s(0.2, 150, 5 * SECOND))


def test_light_in_one_go_may_last_nearly_as_long_as_the_formula_says() -> None:
    """Notes once a second and windows judged together cost little: 337.2 s at 228.8 W/m2 by 18000 t^-0.75."""
    budget, lit_s = ExposureBudget(RING, 150, 0), 0.0
    while budget.may_light(1.0, 150, ns(lit_s), for_s=0.05):
        budget.spend(1.0, 150, ns(lit_s), ns(lit_s + 0.05))
        lit_s += 0.05
    allowed_s = (18000 / hazards(RING, 150).irradiance_w_m2) ** (4 / 3)
    assert 0.98 * allowed_s < lit_s <= allowed_s


def test_a_pause_gives_back_what_falls_out_of_all_windows() -> None:
    """By hand: 300 s at 228.76 W/m2 are 68628 J/m2. After 100 s of dark, a window of 400 + t s holds that and 228.76 t, and may
    hold 18000 (400 + t)^0.25: t = 65.8 s. A window of just over 1000 s may hold 100000 J/m2, so after a longer pause, up to
    1000 s, there are (100000 - 68628) / 228.76 = 137.1 s."""
    budget = ExposureBudget(RING, 150, 0)
    budget.spend(1.0, 150, 0, ns(300))
    found_s = budget.left_s(1.0, 150, ns(400))
    rate = hazards(RING, 150).irradiance_w_m2
    assert rate * (300 + found_s) <= 18000 * (400 + found_s) ** 0.25
    assert rate * (300 + found_s * 1.06 + 1) > 18000 * (400 + found_s * 1.06 + 1) ** 0.25
    assert 130 < budget.left_s(1.0, 150, ns(800)) <= 137.2
    assert budget.left_s(1.0, 150, ns(1500)) == pytest.approx(allowed_time_s(hazards(RING, 150)), rel=0.01)


def test_over_hours_nobody_gets_more_than_the_continuous_limit_and_not_much_less() -> None:
    budget, history, now_s = ExposureBudget(RING, 150, 0), History(RING), 0.0
    while now_s < 4 * 3600:
        left_s = budget.left_s(1.0, 150, ns(now_s))
        if left_s >= 20:
            budget.spend(1.0, 150, ns(now_s), ns(now_s + left_s) - 1)
            history.shine(1.0, 150, ns(now_s), ns(now_s + left_s) - 1)
            now_s += left_s
        now_s += 5
    dose = sum(rate[0] * length for rate, length in zip(history.rates, np.diff(history.edges_s), strict=True))
    mean_w_m2 = dose / history.edges_s[-1]
    assert history.fullest() <= 1 + 1e-9
    assert 85 < mean_w_m2 <= 100 + 18000 * 1000**0.25 / (4 * 3600)


def test_windows_longer_than_what_is_noted_are_kept_too() -> None:
    """Two bursts just over 1000 s apart: a window of 1100 s holds both, and may hold 110000 J/m2, not two single exposures."""
    budget = ExposureBudget(RING, 150, 0)
    budget.spend(1.0, 150, 0, ns(330))
    left_s = budget.left_s(1.0, 150, ns(1050))
    rate = hazards(RING, 150).irradiance_w_m2
    assert rate * (330 + left_s) <= 100 * (1050 + left_s)
    assert left_s == pytest.approx((100 * 1050 - 330 * rate) / (rate - 100), rel=0.02)


def test_a_distance_or_level_that_changes_changes_what_is_left() -> None:
    budget = ExposureBudget(RING, 150, 0)
    budget.spend(1.0, 150, 0, ns(100))
    at = ns(100)
    assert budget.left_s(1.0, 100, at) < budget.left_s(1.0, 150, at) < budget.left_s(0.8, 150, at)
    assert budget.left_s(1.0, 150, at) < budget.left_s(1.0, 200, at)
    assert math.isinf(budget.left_s(1.0, 400, at))


def test_too_near_there_is_no_light_at_all() -> None:
    budget = ExposureBudget(STRONG, 150, 0)
    assert budget.left_s(1.0, 1.0, 0) == 0.0
    assert not budget.may_light(1.0, 1.0, 0)
    assert budget.may_light(1.0, 150, 0)


def test_a_spent_budget_refuses_until_enough_has_passed() -> None:
    budget = ExposureBudget(RING, 150, 0)
    budget.spend(1.0, 150, 0, ns(600))  # far more than allowed, as though nobody had asked
    assert budget.left_s(1.0, 150, ns(600)) == 0.0
    assert not budget.may_light(0.2, 150, ns(601))
    assert budget.binding(1.0, 150, ns(601)) is EYE_INFRARED
    assert budget.left_s(1.0, 150, ns(1300)) == 0.0
    assert math.isinf(budget.left_s(0.0, 150, ns(1300)))  # dark is always allowed
    assert budget.may_light(1.0, 150, ns(2400))


def test_the_binding_limit_is_named() -> None:
    budget = ExposureBudget(replace(PIERCING, emitter_diameter_mm=3, radiant_intensity_w_sr=8), 300, 0)
    assert budget.binding(1.0, 300, 0) is RETINA
    assert ExposureBudget(PIERCING, 300, 0).binding(1.0, 300, 0) is RETINA_BRIEF


def test_time_reported_late_or_twice_counts_in_full() -> None:
    once, late, twice = (ExposureBudget(RING, 150, 0) for _ in range(3))
    once.spend(1.0, 150, ns(10), ns(110))
    late.left_s(1.0, 150, ns(110))
    late.spend(1.0, 150, ns(10), ns(110))
    twice.spend(1.0, 150, ns(10), ns(110))
    twice.spend(1.0, 150, ns(60), ns(110))
    at = ns(120)
    assert late.left_s(1.0, 150, at) <= once.left_s(1.0, 150, at)
    assert twice.left_s(1.0, 150, at) <= once.left_s(1.0, 150, at) - 49


def test_a_promise_ends_when_more_is_spent_than_was_promised() -> None:
    budget = ExposureBudget(RING, 150, 0)
    assert budget.may_light(0.6, 150, 0, for_s=500)
    budget.spend(1.0, 150, 0, ns(330))
    assert not budget.may_light(0.6, 150, ns(330), for_s=170)


def test_a_promise_ends_when_light_before_it_is_reported_late() -> None:
    budget = ExposureBudget(RING, 150, 0)
    assert budget.may_light(1.0, 150, ns(100), for_s=300)
    budget.spend(1.0, 150, 0, ns(100))
    assert not budget.may_light(1.0, 150, ns(100), for_s=300)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (lambda budget: budget.spend(1.0, 150, 10, 9), "ends before it starts: 10 to 9"),
        (lambda budget: budget.spend(1.1, 150, 0, 9), "a level lies from 0 to 1: 1.1"),
        (lambda budget: budget.left_s(-0.1, 150, 0), "a level lies from 0 to 1: -0.1"),
        (lambda budget: budget.left_s(math.nan, 150, 0), "a level lies from 0 to 1: nan"),
        (lambda budget: budget.left_s(1.0, 0.0, 0), "above 0 and finite: 0.0"),
        (lambda budget: budget.may_light(1.0, math.nan, 0), "above 0 and finite: nan"),
        (lambda budget: budget.spend(1.0, math.inf, 0, 9), "above 0 and finite: inf"),
    ],
)
def test_nonsense_is_refused(wrong: object, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        wrong(ExposureBudget(RING, 150, 0))  # type: ignore[operator]


def test_memory_stays_bounded_over_months() -> None:
    budget = ExposureBudget(RING, 150, 0)
    sizes = {len(ledger._noted) for ledger in budget._ledgers}
    for day in range(90):
        start_ns = ns(day * 86_400.25)
        budget.spend(1.0, 150, start_ns, start_ns + ns(250))
    assert {len(ledger._noted) for ledger in budget._ledgers} == sizes == {12, 1002}
    assert budget.left_s(1.0, 150, ns(90 * 86_400)) == pytest.approx(allowed_time_s(hazards(RING, 150)), rel=1e-3)


# ---- the table ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("ring", [RING, PIERCING, replace(RING, leds=40, half_angle_deg=10, emitter_diameter_mm=8)])
def test_the_table_is_never_below_the_truth_and_close_where_it_matters(ring: Ring) -> None:
    table = HazardTable(replace(ring, level=0.3), 150)
    for step in range(90):
        distance_mm = 41 * 1.05**step
        found, truth = table.at(distance_mm), hazards(ring, distance_mm)
        for limit in LIMITS:
            assert found.of(limit) >= truth.of(limit) * (1 - 1e-9)
        if 150 <= distance_mm <= 1500:
            assert found.irradiance_w_m2 <= truth.irradiance_w_m2 * 1.08
    assert table.at(150) == hazards(ring, 150)
