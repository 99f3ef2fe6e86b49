"""Arrival of bins whose slots are long at the foot of the rise, and what it shares with the moments that count from it.

Slots are drawn from a gamma variate, whose moments are known in closed form.
"""

import numpy as np
import pytest

from shared.inflow import maps_reading as reading
from shared.inflow.gamma_variate import GammaVariate
from shared.inflow.maps_first_pass import room
from shared.inflow.maps_local_cubic import tables_at
from tests.shared.inflow.accuracy import can_be_chance
from tests.shared.inflow.simulated import Agreement

QUICK, SLOW = GammaVariate(20.0, 3.0, 4.5, 12.0), GammaVariate(20.0, 2.5, 20.0, 12.0)
FRAMES_PER_S = 100.0


def read(pass_: GammaVariate, foot_s: float, share: float, u: float, bins: int) -> reading.Rows:
    """Bins read from slots of a tenth of the rise, but for one of ``foot_s`` that has this ``share`` of itself before the onset."""
    start_s, step_s = pass_.onset_s - share * foot_s, 0.1 * pass_.rise_s
    early, late = np.arange(start_s % 2.0, start_s, 2.0), np.arange(start_s + foot_s, 80.0, step_s)
    starts_s = np.concatenate([early, [start_s], late])
    lengths_s = np.concatenate([np.full(early.size, 2.0), [foot_s], np.full(late.size, step_s)])
    lengths_s[early.size - 1] = start_s - early[-1]
    slots = np.stack([starts_s, starts_s + lengths_s, starts_s + lengths_s / 2, FRAMES_PER_S * lengths_s, lengths_s])
    clean = np.array(
        [pass_.at(a + b * (np.arange(200) + 0.5) / 200).mean() for a, b in zip(starts_s, lengths_s, strict=True)]
    )
    sigma = u / np.sqrt(2.0 * lengths_s)
    rows = reading.rows_of(bins, starts_s.size)
    noise = sigma * np.random.default_rng(4).standard_normal((bins, starts_s.size))
    rows.values[:, : starts_s.size], rows.variances[:, : starts_s.size] = 3.0 + clean + noise, sigma**2
    rows.kinds[:] = reading.MEASURED
    nodes_s = np.interp(np.arange(2 * starts_s.size - 1) / 2, np.arange(starts_s.size), slots[2])
    tables, anywhere = tables_at(nodes_s, slots, 1.0), tables_at(slots[2, -1:], slots, 1.0)
    reading.read_row(slots, early.size, tables, anywhere, 0.0, room(lengths_s), rows)
    return rows


@pytest.mark.parametrize(("pass_", "foot_s"), [(QUICK, 0.5), (QUICK, 1.0), (SLOW, 2.5), (SLOW, 5.0)])
def test_the_slot_that_the_onset_falls_into_may_be_long(pass_: GammaVariate, foot_s: float) -> None:
    for share in (0.05, 0.5, 0.95):
        found = read(pass_, foot_s, share, 1e-3, 1).found[reading.ARRIVAL, 0]
        assert found == pytest.approx(pass_.onset_s, abs=0.02), share


@pytest.mark.parametrize(("pass_", "u"), [(QUICK, 0.15), (SLOW, 0.15)], ids=["quick", "slow"])
def test_what_counts_from_the_arrival_is_as_sure_as_it_says(pass_: GammaVariate, u: float) -> None:
    """JCGM 100:2008 (GUM), 5.2.2: arrival and half rise lie apart by noise that they partly share.

    As many intervals hold the truth as a true coverage of 93 to 97 % gives, at odds of 1 in 1000 against.
    """
    rows = read(pass_, 1.5, 0.6, u, 4000)
    half_s = pass_.crossing_s(0.5) - pass_.onset_s
    wanted = {reading.ARRIVAL: pass_.onset_s, reading.HALF_RISE: half_s, reading.TO_PEAK: pass_.rise_s}
    for row, truth in wanted.items():
        errors, stated_u = rows.found[row] - truth, rows.found_u[row]
        assert np.isfinite(errors).mean() > 0.97
        known = np.isfinite(errors)
        assert can_be_chance(Agreement(truth, errors.size, errors[known], stated_u[known])), row
    apart_u = np.hypot(rows.found_u[reading.ARRIVAL], rows.found_u[reading.TOP_TIME])
    assert np.nanmean(rows.found_u[reading.TO_PEAK] / apart_u) < 0.99
