"""Sources: generic US label of ICG for injection (DailyMed), Kanzo 1989;30:1698 (clearance), first-order kinetics by hand."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.dye_record import (
    CAUTIONS,
    HALF_LIVES_MIN,
    Injection,
    checked_dose_mg,
    checked_mass_kg,
    dye_so_far,
    half_life_min,
    left_share,
    limit_mg,
    remainder,
    volume_ml,
)
from shared.errors import Refused

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)


def test_the_labels_limit_for_seventy_kilograms() -> None:
    """Label: total below 2 mg/kg; 25 mg in 10 mL. 70 kg: 140 mg, 56 mL."""
    assert limit_mg(70.0) == 140.0
    assert volume_ml(140.0) == pytest.approx(56.0)
    assert volume_ml(25.0) == pytest.approx(10.0)


@pytest.mark.parametrize(
    ("half_life", "percent"),
    [
        (2.5, (25.0, 6.25, 1.5625, 0.3906, 0.0244)),
        (3.0, (31.498, 9.9213, 3.125, 0.9843, 0.0977)),
        (4.0, (42.045, 17.678, 7.4325, 3.125, 0.5524)),
    ],
)
def test_what_is_left_of_first_order(half_life: float, percent: tuple[float, ...]) -> None:
    """Worked by hand: 100 x 2^(-t/T) at 5, 10, 15, 20 and 30 minutes."""
    for since_min, expected in zip((5, 10, 15, 20, 30), percent, strict=True):
        assert 100 * left_share(since_min, half_life) == pytest.approx(expected, abs=6e-4)


@pytest.mark.parametrize(
    ("half_life", "five_percent_min", "one_percent_min"),
    [(2.5, 10.80, 16.61), (3.0, 12.97, 19.93), (4.0, 17.29, 26.58)],
)
def test_when_a_twentieth_and_a_hundredth_are_left(
    half_life: float, five_percent_min: float, one_percent_min: float
) -> None:
    """Worked by hand: T log2(20) and T log2(100), printed to a hundredth of a minute."""
    assert 100 * left_share(five_percent_min, half_life) == pytest.approx(5.0, abs=5 * 0.005 * 0.7 / half_life)
    assert 100 * left_share(one_percent_min, half_life) == pytest.approx(1.0, abs=0.005 * 0.7 / half_life)


def test_a_rate_and_a_share_a_minute_are_two_things() -> None:
    """ "18.5 %/min" is a half-life of 3.747 min read as a rate constant, 3.388 min as what goes in a minute (by hand)."""
    assert half_life_min(0.185) == pytest.approx(3.747, abs=5e-4)
    assert left_share(1.0, 3.388) == pytest.approx(1 - 0.185, abs=2e-5)


def test_published_clearances() -> None:
    """Kanzo 1989;30:1698: k 0.173 /min and R15 8.3 ± 4.05 % in controls, k 0.064 and R15 42.2 ± 16.9 % in cirrhosis.

    R15, what is left after 15 minutes, was measured apart from k: first order must give it within one standard deviation.
    """
    assert half_life_min(0.173) == pytest.approx(4.0066, abs=1e-4)
    assert half_life_min(0.064) == pytest.approx(10.830, abs=1e-3)
    for rate, by_hand, measured, spread in ((0.173, 7.4646, 8.3, 4.05), (0.064, 38.289, 42.2, 16.9)):
        left = 100 * left_share(15.0, half_life_min(rate))
        assert left == pytest.approx(by_hand, abs=1e-3)
        assert abs(left - measured) < spread


def test_doses_add_up_and_decline() -> None:
    doses = [Injection(NOW - timedelta(minutes=10), 5.0), Injection(NOW - timedelta(minutes=5), 2.5), Injection(NOW)]
    so_far = dye_so_far(doses, 70.0, NOW)
    assert (so_far.given_mg, so_far.limit_mg, so_far.without_dose) == (7.5, 140.0, 1)
    assert so_far.left_least_mg == pytest.approx(5 * 0.0625 + 2.5 * 0.25)  # T = 2.5 min, by hand
    assert so_far.left_most_mg == pytest.approx(5 * 0.17678 + 2.5 * 0.42045, abs=1e-4)  # T = 4 min
    assert so_far.share_of_limit == pytest.approx(7.5 / 140)
    assert so_far.remarks() == ("injections marked without a dose, which are not in the sum: 1",)
    left = remainder(doses[0], NOW)
    assert (left.since_min, left.least_share) == (10.0, pytest.approx(0.0625))


def test_the_limit_is_said_and_a_missing_mass_too() -> None:
    full = dye_so_far([Injection(NOW, 20.0)], 10.0, NOW)
    assert full.remarks() == ("20 mg reach or pass the label's limit of 20 mg",)
    unknown = dye_so_far([Injection(NOW, 20.0)], None, NOW)
    assert unknown.share_of_limit is None
    assert unknown.remarks() == ("no body mass is entered: the label's limit cannot be worked out",)


@pytest.mark.parametrize(
    ("doses", "said"),
    [
        ([(0, 5.0), (1.9, 5.0)], "doses of one size within two minutes: 2"),
        ([(0, 5.0), (1.9, 5.0), (3.7, 5.0), (60, 2.5)], "doses of one size within two minutes: 3"),
        ([(0, 5.0), (2.1, 5.0), (3, 2.5)], ""),
        ([(-0.2, 5.0), (10, 2.5)], "injections that lie ahead of the device's clock: 1"),
        ([(0, 5.0), (60 * 24 + 1, 2.5)], "given more than a day ago, and in the sum: 2.5 mg"),
        ([(0, 5.0), (60 * 24 - 1, 2.5)], ""),
    ],
)
def test_what_may_be_wrong_or_old_in_the_sum_is_said(doses, said) -> None:
    injections = [Injection(NOW - timedelta(minutes=ago), dose) for ago, dose in doses]
    remarks = dye_so_far(injections, 70.0, NOW).remarks()
    assert [line.startswith(said) for line in remarks] == [True] if said else remarks == ()


@pytest.mark.parametrize("dose", [0.0, -1.0, 501.0, float("nan"), float("inf")])
def test_what_is_no_dose(dose: float) -> None:
    with pytest.raises(Refused, match="a dose is above 0"):
        checked_dose_mg(dose)


@pytest.mark.parametrize("mass", [0.0, -70.0, 0.9, 401.0, float("nan")])
def test_what_is_no_body_mass(mass: float) -> None:
    with pytest.raises(Refused, match="a body mass is from 1 to 400 kg"):
        checked_mass_kg(mass)


def test_the_cautions_name_what_the_label_does() -> None:
    said = " ".join(CAUTIONS)
    for word in ("2 mg/kg", "iodide", "6 hours", "licensed practice", "advice"):
        assert word in said


@given(st.floats(0, 600), st.floats(0, 600), st.sampled_from(HALF_LIVES_MIN))
def test_shares_multiply(one: float, other: float, half_life: float) -> None:
    both = left_share(one, half_life) * left_share(other, half_life)
    assert left_share(one + other, half_life) == pytest.approx(both, rel=1e-9, abs=1e-300)
