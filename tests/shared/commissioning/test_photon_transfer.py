"""Photon transfer against a sensor of known figures, and against the reference implementation of EMVA 1288 on the same frames."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shared.commissioning.nonuniformity import nonuniformity
from shared.commissioning.photon_transfer import Exposed, exposed, pair_variance, photon_transfer
from shared.commissioning.stack import Stack
from shared.errors import Refused
from tests.shared.commissioning.sensor_frames import DSNU_E, PRNU, SD_E, WHITE, K, TrueSensor

EXPOSURES_US = np.linspace(100, 20_000, 40)
HALF_US = 8000.0
L = 40


@pytest.fixture(scope="module")
def ramp():
    """{exposure: (lit pair, dark pair)}, and the stacks at half saturation."""
    sensor = TrueSensor(seed=5)
    pairs = {float(us): (sensor.frames(2, us, 1.0), sensor.frames(2, us, 0.0)) for us in EXPOSURES_US}
    return pairs, sensor.frames(L, HALF_US, 1.0), sensor.frames(L, HALF_US, 0.0)


@pytest.fixture(scope="module")
def ours(ramp):
    pairs, lit, dark = ramp
    curve = photon_transfer([exposed(us, lit, dark) for us, (lit, dark) in pairs.items()], WHITE)
    return curve, nonuniformity(Stack.of(dark), Stack.of(lit), curve.counts_per_electron)


def test_it_finds_what_the_sensor_is(ours):
    curve, differ = ours
    assert curve.counts_per_electron == pytest.approx(K, rel=0.01)
    assert curve.counts_per_electron == pytest.approx(K, abs=4 * curve.counts_per_electron_u)
    assert curve.read_noise_electrons == pytest.approx(SD_E, rel=0.03)
    assert differ.dsnu_electrons == pytest.approx(DSNU_E, rel=0.03)
    assert differ.prnu_percent == pytest.approx(100 * PRNU, rel=0.03)
    assert curve.reached_saturation
    assert 0.9 * (WHITE - 64) < curve.saturation_counts <= WHITE - 64
    assert curve.full_well_electrons == pytest.approx(curve.saturation_counts / K, rel=0.01)
    assert -1 < curve.linearity_low_percent < 0 < curve.linearity_high_percent < 1


def test_the_reference_implementation_of_emva_1288_finds_the_same(ramp, ours, monkeypatch):
    """PyPI emva1288 1.0.2 (LGPL, the standard's own); it needs a name that numpy 2 took away, and exposure in nanoseconds."""
    monkeypatch.setattr(np, "asfarray", lambda a, dtype=float: np.asarray(a, dtype), raising=False)
    from emva1288.process.data import Data1288
    from emva1288.process.results import Results1288
    from emva1288.process.routines import get_int_imgs

    pairs, lit, dark = ramp
    height, width = lit[0].shape

    def summed(frames):
        found = get_int_imgs(frames)
        return {**found, "sum": found["sum"].sum(), "pvar": found["pvar"].sum()}

    temporal = {us * 1000: {0.0: summed(dark), us * 3.0: summed(bright)} for us, (bright, dark) in pairs.items()}
    spatial = {HALF_US * 1000: {0.0: get_int_imgs(dark), HALF_US * 3.0: get_int_imgs(lit)}}
    data = Data1288({"width": width, "height": height, "temporal": temporal, "spatial": spatial})
    theirs = Results1288(data.data)
    curve, differ = ours
    assert curve.counts_per_electron == pytest.approx(theirs.K, rel=0.01)
    assert curve.read_noise_electrons == pytest.approx(theirs.sigma_d, rel=0.03)
    assert differ.dsnu_electrons == pytest.approx(float(theirs.DSNU1288), rel=0.03)
    assert differ.prnu_percent == pytest.approx(float(theirs.PRNU1288), rel=0.03)
    deviations = curve.linearity_low_percent, curve.linearity_high_percent
    assert deviations == pytest.approx((theirs.LE_min, theirs.LE_max), rel=1e-6)
    assert curve.full_well_electrons == pytest.approx(theirs.u_e_sat, rel=1e-4)


def test_variance_of_a_pair_is_that_of_numpy():
    rng = np.random.default_rng(3)
    one, other = rng.normal(100, 5, (2, 400, 400))
    assert pair_variance(one, other) == pytest.approx(25, rel=0.02)
    assert pair_variance(one, one + 7) == pytest.approx(0, abs=1e-9), "a step of the whole picture is no noise"


@settings(max_examples=40, deadline=None)
@given(k=st.floats(0.02, 4), read_e=st.floats(2, 30), black=st.floats(0, 200), order=st.randoms(use_true_random=False))
def test_of_an_exact_curve_every_figure_comes_back(k, read_e, black, order):
    points = exact_points(k, read_e, black)
    order.shuffle(points)
    curve = photon_transfer(points, WHITE)
    assert curve.counts_per_electron == pytest.approx(k, rel=1e-9)
    least = (0.24 - 1 / 12) ** 0.5 / k
    assert curve.read_noise_electrons == pytest.approx(max(read_e, least), rel=1e-6)
    assert curve.read_noise_is_upper_bound == (read_e < least)
    assert not curve.reached_saturation
    assert abs(curve.linearity_low_percent) + abs(curve.linearity_high_percent) < 1e-6


def exact_points(k=0.25, read_e=3.0, black=64.0):
    rows = [(us, (WHITE - black) * 0.9 * us / 12_000) for us in range(1000, 12_001, 1000)]
    dark = (k * read_e) ** 2 + 1 / 12
    return [Exposed(float(us), black + signal, dark + k * signal, black, dark) for us, signal in rows]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda points: points[:5], "too few exposures for a photon transfer curve: 5; at least 6"),
        (lambda points: [*points[:-1], replace(points[-1], mean=float("nan"))], "not a number"),
        (lambda points: [*points, points[0]], "have one exposure"),
        (lambda points: points[:6], "too dark for a photon transfer curve: 45%"),
        (lambda points: [replace(one, variance=one.dark_variance) for one in points], "does not grow with the light"),
    ],
)
def test_what_is_no_curve_is_refused(change, words):
    with pytest.raises(Refused, match=words):
        photon_transfer(change(exact_points()), WHITE)


def test_frames_of_two_sensors_are_refused():
    small, large = np.zeros((4, 4), np.uint16), np.zeros((4, 5), np.uint16)
    with pytest.raises(Refused, match="differ in size"):
        pair_variance(small, large)
    with pytest.raises(Refused, match=r"differ in size.*one sensor"):
        nonuniformity(Stack.of([small] * 8), Stack.of([large] * 8), 0.1)
    with pytest.raises(Refused, match="too few frames for DSNU"):
        nonuniformity(Stack.of([small] * 3), Stack.of([small] * 3), 0.1)


def test_shading_is_taken_off_where_it_is_the_lens():
    sensor = TrueSensor(seed=9)
    y, x = np.mgrid[-1:1:96j, -1:1:120j]
    field = 1 - 0.3 * (x * x + y * y) / 2
    lit = Stack.of(sensor.frames(L, HALF_US, 1.0, field=field))
    dark = Stack.of(sensor.frames(L, HALF_US, 0.0))
    assert nonuniformity(dark, lit, K).prnu_percent > 5
    assert nonuniformity(dark, lit, K, shaded=True).prnu_percent == pytest.approx(100 * PRNU, rel=0.03)
