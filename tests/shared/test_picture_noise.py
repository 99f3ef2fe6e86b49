"""Noise of the live picture's values against repeated draws, and against EMVA 1288's sensitivity threshold."""

import numpy as np
import pytest
from scipy.optimize import brentq

from shared.calibration import Calibration
from shared.frame import CameraDescription, Frame
from shared.fused_picture import REMEMBERED_EVERY, FusedPicture
from shared.live_picture import Look, PlainPicture, smoothed
from shared.picture_noise import Noise, PercentNoise, SlowMeanNoise, SteadiedNoise, frame_noise
from shared.settings import PictureSettings
from shared.signal import Measured, RegionPixels, region_signal

SHAPE = (40, 48)
K, READ_E, BLACK = 0.1, 3.0, 40.0
INTERVAL_US = 33_333


def camera(flat: np.ndarray | None = None, k: float = K) -> Calibration:
    plane = np.ones(SHAPE) if flat is None else flat
    described = CameraDescription("test", SHAPE[1], SHAPE[0], 10, BLACK)
    dark = np.full(SHAPE, BLACK, np.float32)
    return Calibration(described, dark, plane.astype(np.float32), np.zeros(SHAPE, bool), k, READ_E, 1023)


def drawn(
    known: Calibration, rng: np.random.Generator, signal: np.ndarray, number: int, exposure_us: float = 1e4
) -> Frame:
    """A frame of true ``signal``, as a camera with Poisson electrons, normal read noise and rounding gives it."""
    electrons = rng.poisson(signal * known.flat * exposure_us / 1000.0 / K) + rng.normal(0, READ_E, SHAPE)
    pixels = np.clip(np.rint(electrons * K + BLACK), 0, 1023).astype(np.uint16)
    return Frame(pixels, number, (1 + number) * INTERVAL_US * 1000, exposure_us)


def test_the_least_that_can_be_told_is_the_absolute_sensitivity_threshold_of_emva_1288():
    # EMVA 1288: where SNR is 1; K 0.25, sigma_d 3 give 3.753203 e (the standard's short form 3.7146: tests/shared/test_noise.py)
    noise = PercentNoise(frame_noise(camera(k=0.25), 1.0, 1.0), reference=100.0)
    one = np.ones(1)
    counts = brentq(lambda p: p - np.sqrt(noise.own_variance(np.array([p]), one)[0]), 1e-6, 10.0)
    assert counts / 0.25 == pytest.approx(3.753203, rel=0.012)


def test_a_frames_noise_is_the_spread_of_repeated_draws():
    flat = np.linspace(0.4, 1.0, SHAPE[0] * SHAPE[1]).reshape(SHAPE)
    known, rng = camera(flat), np.random.default_rng(1)
    truth = np.full(SHAPE, 20.0)
    factor = known.counts_to_signal(1e4, 1.0, 1.0)
    values = [(drawn(known, rng, truth, 0).pixels - BLACK) / known.flat * factor for _ in range(400)]
    claimed = frame_noise(known, 1.0, factor).variance(truth, 1.0 / known.flat)
    assert np.mean(np.var(values, axis=0, ddof=1) / claimed) == pytest.approx(1.0, abs=0.01)


@pytest.mark.parametrize("kept", [0.0, 0.5, 0.9])
def test_steadying_and_slow_mean_mix_noise_as_they_mix_frames(kept):
    rng = np.random.default_rng(2)
    steadied, slow = SteadiedNoise(kept), SlowMeanNoise(kept**REMEMBERED_EVERY)
    state, mean = np.zeros(20_000), np.zeros(20_000)
    spreads = np.where(np.arange(120) < 60, 1.0, 0.5)  # half way, the exposure becomes longer
    for number, spread in enumerate(spreads):
        frame = rng.normal(0, spread, state.size)
        state = frame if number == 0 else kept * state + (1 - kept) * frame
        noise = steadied.take(Noise(still=spread**2))
        if number % REMEMBERED_EVERY == 0:
            share = max(1 / (number // REMEMBERED_EVERY + 1), 0.3)
            mean = mean + share * (state - mean)
            slow.take(noise, share)
    one = np.ones(1)
    assert state.var() == pytest.approx(noise.variance(0.0, one)[0], rel=0.05)
    assert mean.var() == pytest.approx(slow.noise.variance(0.0, one)[0], rel=0.05)


def test_a_reference_that_is_uncertain_adds_its_share():
    noise = PercentNoise(Noise(0.2, 1.0), reference=200.0, reference_u=6.0, baseline=Noise(0.1, 0.5))
    rng = np.random.default_rng(3)
    baseline, signal = 30.0, 150.0
    draws = rng.normal(signal, np.sqrt(0.2 * signal + 1.0), 200_000) - rng.normal(
        baseline, np.sqrt(0.1 * baseline + 0.5), 200_000
    )
    percent = 100 * draws / rng.normal(200.0, 6.0, draws.size)
    claimed = noise.variance(np.array([60.0]), np.ones(1), baseline)[0]
    assert percent.var() == pytest.approx(claimed, rel=0.02)


# ---- the whole way: what is shown of a scene whose truth is known --------------------------------------------------------------

REGION = np.flatnonzero((np.indices(SHAPE)[0] < 6) & (np.indices(SHAPE)[1] < 6))
SETTINGS = {
    "as delivered": PictureSettings(),
    "strongly steadied": PictureSettings(steadying=0.9),
    "as it comes": PictureSettings(steadying=0.0, smoothing=False),
}


def shown_errors(settings: PictureSettings, seed: int, frames: int, bright: float) -> tuple[np.ndarray, np.ndarray]:
    """Difference of each pixel's shown percentage from the truth, and its u; ``frames`` after a baseline, at another exposure."""
    rng = np.random.default_rng(seed)
    rows, columns = np.indices(SHAPE)
    flat = 1.0 - 0.5 * ((rows / SHAPE[0] - 0.5) ** 2 + (columns / SHAPE[1] - 0.5) ** 2)
    known = camera(flat)
    before = 0.1 * bright * (1.0 + columns / SHAPE[1])
    dye = bright * np.where(rows + columns < 14, 1.0, 0.2 + 0.6 * columns / SHAPE[1])
    fused, plain = FusedPicture(known, settings), PlainPicture(known, settings)
    for number in range(40):
        fused.draw(drawn(known, rng, before, number), Look())
    baseline, noise = fused.remembered(), fused.remembered_noise
    assert baseline is not None
    if settings.smoothing:
        baseline = smoothed(baseline.astype(np.float64)).astype(np.float32)
    region = RegionPixels.gathered(REGION, known)
    reference = Measured(0.0, 0.0)
    for number in range(frames):
        frame = drawn(known, rng, before + dye, number, 6_000.0)
        plain.draw(frame, Look())
        seen = region_signal(frame, region, known).signal
        kept = settings.steadying if number else 0.0
        reference = Measured(
            kept * reference.value + (1 - kept) * seen.value, np.hypot(kept * reference.u, (1 - kept) * seen.u)
        )
    variance = noise.variance(baseline.reshape(-1)[REGION], region.inverse_flat)
    below = Measured(float(baseline.reshape(-1)[REGION].mean()), float(np.sqrt(variance.mean() / len(REGION))))
    look = Look("relative", (), reference.value - below.value, baseline, float(np.hypot(reference.u, below.u)), noise)
    percent, u = plain.shown(look)
    truth = 100.0 * (smoothed(dye) if settings.smoothing else dye) / bright
    return percent - truth, u


@pytest.mark.parametrize("frames", [1, 12])
@pytest.mark.parametrize("name", SETTINGS)
def test_intervals_of_the_shown_percentages_hold_the_truth(name, frames):
    """95 % intervals (value and 1.96 u) of every pixel hold it in 93 to 97 % of cases, from the first frame on."""
    inside, pulls = [], []
    for repeat in range(20):
        error, u = shown_errors(SETTINGS[name], repeat, frames, bright=20.0 if repeat % 2 else 60.0)
        inside.append(np.mean(np.abs(error) <= 1.96 * u))
        pulls.append(np.mean((error / u) ** 2))
    assert 0.93 <= np.mean(inside) <= 0.97
    assert np.mean(pulls) == pytest.approx(1.0, abs=0.1)
