"""The share of an exposure; how it differs from phase to phase is in tests/shared/optics/test_pwm_ripple.py."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from shared.scene.pwm import on_share


@given(st.floats(0, 1), st.floats(1, 1e5), st.floats(1e-5, 0.1), st.floats(0, 10))
def test_share_counts_the_time_the_wave_is_high(duty: float, pwm_hz: float, exposure_s: float, start_s: float) -> None:
    share = on_share(np.array([start_s]), exposure_s, duty, pwm_hz)[0]
    assert -1e-6 <= share <= 1 + 1e-6
    assert abs(share - duty) <= 1.0001 / (pwm_hz * exposure_s) * min(duty, 1 - duty) + 1e-6


def test_steady_current_has_no_ripple() -> None:
    assert on_share(np.arange(5.0), 0.01, 0.3, 0.0).tolist() == [0.3] * 5
