"""Filters against the published form of the shift, step functions, and what must hold for any filter."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shared.optics.interference_filter import InterferenceFilter, shift_factor
from shared.optics.spectrum import WAVELENGTH_NM, integral

BAND = InterferenceFilter(820, 860)

filters = st.builds(
    lambda low, width, od, edge, n: InterferenceFilter(low, low + width, blocking_od=od, edge_nm=edge, n_eff=n),
    st.floats(780, 850),
    st.floats(5, 100),
    st.floats(1, 7),
    st.sampled_from([0.0, 1.0, 5.0, 20.0]),
    st.floats(1.4, 2.6),
)


@pytest.mark.parametrize(
    ("at_normal_nm", "n_eff", "angle_deg", "expected_nm"),
    # lambda0 sqrt(1 - (sin theta / n)^2), the form given by makers of filters and handbooks of thin films, worked out by hand
    [
        (830, 2.0, 5, 829.212),
        (830, 2.0, 10, 826.866),
        (830, 2.0, 15, 823.021),
        (830, 2.0, 20, 817.774),
        (830, 2.0, 30, 803.644),
        (785, 2.0, 10, 782.036),
        (785, 2.0, 20, 773.436),
        (850, 1.7, 20, 832.620),
        (832, 1.8, 10, 828.119),
        (832, 1.8, 20, 816.843),
        (832, 1.8, 30, 799.257),
    ],
)
def test_shift_with_angle(at_normal_nm: float, n_eff: float, angle_deg: float, expected_nm: float) -> None:
    assert at_normal_nm * float(shift_factor(angle_deg, n_eff)) == pytest.approx(expected_nm, abs=1e-3)


def test_the_whole_pass_band_moves() -> None:
    """820-860 nm, n_eff 2.0, 27.6 degrees: 798-837 nm (same formula)."""
    turned = BAND.at_angle(27.59)
    inside = WAVELENGTH_NM[turned > 0.45]
    assert (inside[0], inside[-1]) == pytest.approx((797.7, 836.6), abs=0.3)
    assert integral(turned) == pytest.approx(0.9 * 40 * float(shift_factor(27.59, 2.0)), rel=1e-3)


def test_ideal_edges_are_exact_between_grid_points() -> None:
    for low in (820.0, 820.05, 820.11):
        assert integral(InterferenceFilter(low, 860, blocking_od=10).at_angle(0)) == pytest.approx(
            0.9 * (860 - low), rel=1e-7
        )


def test_soft_edges_have_half_their_height_at_the_edge_and_block_at_their_width() -> None:
    soft = InterferenceFilter(820, 860, blocking_od=5, edge_nm=8)
    at = np.interp([820, 860, 812, 868, 840], WAVELENGTH_NM, soft.at_angle(0))
    assert at == pytest.approx([0.45, 0.45, 1e-5, 1e-5, 0.9], rel=0.1)


def test_a_table_shifts_too_and_blocks_beyond_its_ends() -> None:
    tabled = InterferenceFilter(wavelength_nm=(810, 820, 860, 870), transmission_at=(0, 0.9, 0.9, 0), blocking_od=4)
    on_axis, turned = tabled.at_angle(0), tabled.at_angle(20)
    assert np.interp(840, WAVELENGTH_NM, on_axis) == pytest.approx(0.9)
    assert on_axis.min() == 1e-4
    factor = float(shift_factor(20, 2.0))
    assert np.interp(815 * factor, WAVELENGTH_NM, turned) == pytest.approx(0.45, abs=0.01)


def test_a_cone_is_the_mean_of_its_rays() -> None:
    both = BAND.over(np.array([0.0, 20.0]))
    assert both == pytest.approx((BAND.at_angle(0) + BAND.at_angle(20)) / 2)


@given(filters, st.floats(0, 30), st.floats(0, 3))
@settings(deadline=None, max_examples=60)
def test_more_blocking_never_passes_more(one: InterferenceFilter, angle_deg: float, more: float) -> None:
    deeper = dataclasses.replace(one, blocking_od=one.blocking_od + more)
    assert np.all(deeper.at_angle(angle_deg) <= one.at_angle(angle_deg) * (1 + 1e-12))


@given(filters, st.floats(0, 89))
@settings(deadline=None, max_examples=60)
def test_a_filter_neither_amplifies_nor_blocks_more_than_it_can(one: InterferenceFilter, angle_deg: float) -> None:
    passed = one.at_angle(angle_deg)
    assert passed.max() <= one.transmission * (1 + 1e-12)
    assert passed.min() >= 10**-one.blocking_od * (1 - 1e-9)


@given(st.floats(1.2, 3), st.floats(0, 89), st.floats(0.1, 1))
def test_more_angle_is_always_shorter(n_eff: float, angle_deg: float, more_deg: float) -> None:
    assert 0 < shift_factor(angle_deg + more_deg, n_eff) < shift_factor(angle_deg, n_eff) <= 1


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"cut_on_nm": 860.0, "cut_off_nm": 820.0}, "cut_on_nm 860 is not below cut_off_nm 820; swap them"),
        ({}, "cut_on_nm and cut_off_nm are both absent"),
        ({"cut_on_nm": 820.0, "wavelength_nm": (1.0, 2.0), "transmission_at": (1.0, 1.0)}, "beside a table"),
        ({"wavelength_nm": (1.0, 2.0)}, "as many of each"),
    ],
)
def test_what_is_no_filter_is_refused(values: dict[str, object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        InterferenceFilter(**values)  # type: ignore[arg-type]
