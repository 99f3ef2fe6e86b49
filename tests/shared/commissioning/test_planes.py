"""Dark, defects and flat of a sensor whose planes are known."""

import numpy as np
import pytest
from scipy.stats import norm

from shared.commissioning.dark import dark, rounding_u
from shared.commissioning.defects import defects
from shared.commissioning.flat import flat
from shared.commissioning.stack import Stack
from shared.errors import Refused
from tests.shared.commissioning.sensor_frames import BLACK, DARK_E_S, DSNU_E, SD_E, WHITE, K, TrueSensor

LONG_US, SHORT_US = 30_000.0, 3_000.0
NONE = np.zeros((96, 120), np.bool_)
Y, X = np.mgrid[-1:1:96j, -1:1:120j]
FIELD = 1 - 0.3 * (X * X + Y * Y) / 2
"""1 in the middle, 0.7 in the corners."""


def stack(sensor, exposure_us, lit, number=32, field=1.0, dark_e_s=DARK_E_S):
    frames = sensor.frames(number, exposure_us, lit, field=field, dark_e_s=dark_e_s)
    return Stack.of(frames, exposure_us=exposure_us)


def test_dark_is_the_sensors():
    sensor = TrueSensor()
    found = dark(stack(sensor, LONG_US, 0), stack(sensor, SHORT_US, 0), WHITE)
    assert found.mean_counts == pytest.approx(BLACK + K * DARK_E_S * LONG_US / 1e6, abs=0.05)
    assert found.noise_counts == pytest.approx(((K * SD_E) ** 2 + K**2 * 0.6 + 1 / 12) ** 0.5, rel=0.03)
    assert found.dsnu_counts == pytest.approx(K * DSNU_E, rel=0.06), "a median scatters more than a standard deviation"


def test_dark_current_comes_from_the_two_exposures():
    sensor = TrueSensor()
    found = dark(stack(sensor, LONG_US, 0, dark_e_s=900), stack(sensor, SHORT_US, 0, dark_e_s=900), WHITE)
    assert found.current_counts_per_s == pytest.approx(K * 900, rel=0.03)
    assert found.current_counts_per_s == pytest.approx(K * 900, abs=5 * found.current_counts_per_s_u + 2)


@pytest.mark.parametrize("deviation", [0.0, 0.15, 0.3, 0.5, 0.8])
def test_rounding_moves_a_mean_by_as_much_as_is_said(deviation):
    """Expectation of a rounded normal variable by scipy's distribution function, its mean anywhere between two counts."""
    means, counts = np.linspace(0, 1, 401)[:-1, np.newaxis], np.arange(-8, 10)
    upper, lower = ((norm.cdf(counts + half, means, max(deviation, 1e-9))) for half in (0.5, -0.5))
    errors = ((upper - lower) * counts).sum(axis=1) - means[:, 0]
    assert rounding_u(deviation) == pytest.approx(np.sqrt(np.mean(errors**2)), rel=0.02, abs=1e-9)


def test_where_rounding_hides_the_dark_current_its_uncertainty_says_so():
    """A tenth of a count an electron and little noise: steps of whole counts, and a current that adds hundredths of one."""
    rng = np.random.default_rng(3)
    fixed = rng.normal(60.0, 0.2, (120, 160))
    planes = []
    for exposure_us in (15_000.0, 3_000.0):
        level = fixed + 1.5 * exposure_us / 1e6
        frames = (np.rint(rng.normal(level, 0.28)).astype(np.uint16) for _ in range(32))
        planes.append(Stack.of(frames, exposure_us=exposure_us))
    found = dark(*planes, WHITE)
    assert found.current_counts_per_s == pytest.approx(1.5, abs=2 * found.current_counts_per_s_u)
    assert found.current_counts_per_s_u > 0.5, "scatter from frame to frame alone would say 0.03"


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"dark_e_s": 4000}, r"light reaches the sensor: the dark grows with exposure: 1\d\d\d counts"),
        ({"number": 7}, "too few dark frames: 7"),
    ],
)
def test_no_dark_is_refused(options, words):
    sensor = TrueSensor()
    with pytest.raises(Refused, match=words):
        dark(stack(sensor, LONG_US, 0, **options), stack(sensor, SHORT_US, 0, **options), WHITE)


def test_dark_that_leaks_in_at_one_side_and_dark_of_another_sensor_are_refused():
    sensor, tilted = TrueSensor(), TrueSensor(black=BLACK + 60 * (X > 0))
    with pytest.raises(Refused, match="one side of the dark is brighter"):
        dark(stack(tilted, LONG_US, 0), stack(tilted, SHORT_US, 0), WHITE)
    with pytest.raises(Refused, match="differ in size"):
        dark(stack(sensor, LONG_US, 0), stack(TrueSensor((96, 96)), SHORT_US, 0), WHITE)
    with pytest.raises(Refused, match="too alike: 28000"):
        dark(stack(sensor, LONG_US, 0), stack(sensor, 28_000.0, 0), WHITE)


def test_defects_are_those_that_were_put_in():
    sensor = TrueSensor((200, 240))
    hot, dead, noisy = [(5, 5), (90, 100)], [(60, 7), (199, 239)], [(150, 150)]
    black = np.full(sensor.shape, BLACK)
    for place in hot:
        black[place] += 40
    sensor.black = black
    for place in dead:
        sensor.prnu[place] = 0.3
    darkness, lit = stack(sensor, LONG_US, 0), stack(sensor, 4000, 1)
    variance = darkness.variance.copy()
    variance[noisy[0]] *= 60
    found, mask = defects(darkness.mean, variance, 32, lit, darkness)
    assert {tuple(one) for one in np.argwhere(mask)} == {*hot, *dead, *noisy}
    assert (found.hot, found.noisy, found.odd_in_light, found.all) == (2, 1, 2, 5)


def test_too_many_defects_are_no_defects():
    sensor = TrueSensor((96, 120))
    sensor.prnu[:, ::30] = 0.5
    darkness, lit = stack(sensor, LONG_US, 0), stack(sensor, 4000, 1)
    with pytest.raises(Refused, match=r"too many defective pixels: \d+, 2.50% of all"):
        defects(darkness.mean, darkness.variance, 32, lit, darkness)


def test_a_target_with_marks_is_no_flat_and_dust_is():
    """Dots of a grid, a tenth of the picture; and one shadow on a thousandth of it, which belongs to the sensor."""
    sensor = TrueSensor(electrons_per_s=2e6)
    dots = np.where((np.arange(96)[:, None] % 12 < 4) & (np.arange(120) % 12 < 4), 0.4, 1.0)
    dust = np.where((Y * 48) ** 2 + (X * 60) ** 2 < 4, 0.7, 1.0)
    unlit = stack(sensor, 6000, 0)
    with pytest.raises(
        Refused, match=r"the target is not even: \d+% of the picture is 10% and more from a smooth field"
    ):
        flat(stack(sensor, 6000, 1, field=FIELD * dots), unlit, NONE, WHITE)
    _, plane = flat(stack(sensor, 6000, 1, field=FIELD * dust), unlit, NONE, WHITE)
    assert plane[48, 60] < 0.8


def test_flat_is_field_times_response():
    sensor = TrueSensor(electrons_per_s=2e6)
    lit, unlit = stack(sensor, 6000, 1, field=FIELD), stack(sensor, 6000, 0)
    found, plane = flat(lit, unlit, NONE, WHITE)
    truth = FIELD * sensor.prnu
    assert plane.dtype == np.float32
    assert np.std(plane / truth) == pytest.approx(found.noise_percent / 100, rel=0.15), (
        "the noise reported is the noise there is"
    )
    assert np.median(plane / truth) == pytest.approx(1, abs=0.004)
    assert found.darkest_percent == pytest.approx(70, abs=1.5)
    assert abs(found.tilt_right_percent) < 0.5
    assert found.full_signal == pytest.approx(K * 2e6 / 1000, rel=0.01)


def test_flat_takes_off_what_lamps_give():
    sensor = TrueSensor(electrons_per_s=2e6)
    lit, unlit = stack(sensor, 6000, 1, field=FIELD, dark_e_s=3e5), stack(sensor, 6000, 0, dark_e_s=3e5)
    _, plane = flat(lit, unlit, NONE, WHITE)
    assert np.median(plane / (FIELD * sensor.prnu)) == pytest.approx(1, abs=0.005)


@pytest.mark.parametrize(
    ("exposure_us", "field", "number", "words"),
    [
        (9000, FIELD, 32, r"the target saturates: .* expose 5400 us or less"),
        (100, FIELD, 32, "the flat target is too dark"),
        (4000, 1 + 0.2 * X, 32, r"lopsided: \+\d+% to the right"),
        (4000, 1 - 0.45 * (X * X + Y * Y), 32, "a corner is too dark"),
        (4000, FIELD, 6, "too few frames for a flat field: 6"),
    ],
)
def test_no_flat_is_refused(exposure_us, field, number, words):
    sensor = TrueSensor(electrons_per_s=2e6)
    lit, unlit = stack(sensor, exposure_us, 1, number, field), stack(sensor, exposure_us, 0, number)
    with pytest.raises(Refused, match=words):
        flat(lit, unlit, NONE, WHITE)


def test_a_flat_of_another_sensor_is_refused():
    lit, other = stack(TrueSensor(), 2000, 1), stack(TrueSensor((96, 96)), 2000, 0)
    with pytest.raises(Refused, match="the unlit frames and the lit frames differ in size"):
        flat(lit, other, NONE, WHITE)
