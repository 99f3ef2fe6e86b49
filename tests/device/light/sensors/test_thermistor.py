"""Thermistor conversion against a published table, and against the divider worked by hand."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from device.light.sensors.kernel_file import NotRead
from device.light.sensors.thermistor import by_beta, by_steinhart_hart, celsius, resistance_ohm
from shared.sensor_settings import ThermistorSettings

# Ohm at degrees Celsius of a 10 kilohm part: table ncpXXxh103 of Linux's drivers/hwmon/ntc_thermistor.c, as corrected in 2025
# (upstream commit 1c7932d5ae0f) to its maker's published values.
TABLE = {
    -20: 68237,
    -10: 42506,
    0: 27219,
    10: 17926,
    20: 12081,
    25: 10000,
    30: 8315,
    40: 5834,
    50: 4161,
    60: 3014,
    70: 2228,
    80: 1669,
    85: 1452,
    90: 1268,
    100: 974,
}


def beta_k(low_c, high_c):
    """B between two temperatures: ln(R1/R2) / (1/T1 - 1/T2) (IEC 60539-1, from memory)."""
    return math.log(TABLE[low_c] / TABLE[high_c]) / (1 / (low_c + 273.15) - 1 / (high_c + 273.15))


def coefficients(*at_c):
    """A, B, C through three rows of the table: three linear equations in (1, ln R, (ln R)^3), solved by Cramer's rule."""
    logs = [math.log(TABLE[one]) for one in at_c]
    rows = [(1.0, log, log**3) for log in logs]
    right = [1 / (one + 273.15) for one in at_c]

    def determinant(m):
        (a, b, c), (d, e, f), (g, h, i) = m
        return a * (e * i - f * h) - b * (d * i - f * g) + c * (d * h - e * g)

    whole = determinant(rows)
    return tuple(
        determinant([tuple(right[r] if c == k else rows[r][c] for c in range(3)) for r in range(3)]) / whole
        for k in range(3)
    )


def test_b_of_the_table_is_that_of_its_data_sheet():
    """3380 K between 25 and 50 degrees, 3434 K between 25 and 85 (the part's nominal figures, from memory)."""
    assert beta_k(25, 50) == pytest.approx(3380, abs=2)
    assert beta_k(25, 85) == pytest.approx(3434, abs=2)


@pytest.mark.parametrize("at_c", [at for at in TABLE if 20 <= at <= 90])
def test_beta_meets_the_table_where_a_ring_works(at_c):
    """Two constants cannot follow it everywhere: within 0.7 degrees from 20 to 90, and exact at both ends of B."""
    assert by_beta(TABLE[at_c], 10_000, beta_k(25, 85)) == pytest.approx(at_c, abs=1e-9 if at_c in (25, 85) else 0.7)


@pytest.mark.parametrize("at_c", TABLE)
def test_three_coefficients_meet_the_table_everywhere(at_c):
    """Within 0.2 degrees; 0.13 at 60, where the table itself is not smooth."""
    assert by_steinhart_hart(TABLE[at_c], coefficients(0, 40, 90)) == pytest.approx(at_c, abs=0.2)


def test_beta_worked_by_hand():
    """B 3950, 10 kilohm, R = 3000 ohm: 1/T = 1/298.15 + ln(0.3)/3950 = 0.0033540 - 0.0003048, T = 327.95 K."""
    assert by_beta(3000, 10_000, 3950) == pytest.approx(54.81, abs=0.02)


@pytest.mark.parametrize(
    ("side", "millivolts", "ohm"),
    [("ground", 1650, 10_000), ("ground", 1100, 5_000), ("supply", 1100, 20_000), ("supply", 2200, 5_000)],
)
def test_the_divider_worked_by_hand(side, millivolts, ohm):
    """3300 mV over two resistors in series; the fixed one is 10 kilohm."""
    assert resistance_ohm(ThermistorSettings(side=side), millivolts) == pytest.approx(ohm)


@pytest.mark.parametrize("millivolts", [-1.0, 0.0, 1.0, 3299.0, 3300.0, 5000.0])
@pytest.mark.parametrize("side", ["ground", "supply"])
def test_a_broken_wire_is_no_temperature(side, millivolts):
    with pytest.raises(NotRead, match="open or shorted"):
        celsius(ThermistorSettings(side=side), millivolts)


def test_coefficients_take_the_place_of_beta():
    found = celsius(ThermistorSettings(steinhart_hart=coefficients(0, 40, 90), beta_k=2000), 3300 * 3014 / 13014)
    assert found == pytest.approx(60, abs=0.2)


def test_nonsense_coefficients_are_no_temperature():
    with pytest.raises(NotRead):
        celsius(ThermistorSettings(steinhart_hart=(-1.0, 0.0, 0.0)), 1000)


@given(st.floats(200, 3100), st.floats(200, 3100), st.sampled_from(["ground", "supply"]))
def test_hotter_is_less_resistance(one_mv, other_mv, side):
    thermistor = ThermistorSettings(side=side)
    colder, hotter = sorted([one_mv, other_mv], reverse=side == "ground")
    # a hundredth of a millivolt is a tenth of a converter's smallest step: nearer readings may give the same temperature
    assume(abs(one_mv - other_mv) > 0.01)
    assert celsius(thermistor, colder) < celsius(thermistor, hotter)
