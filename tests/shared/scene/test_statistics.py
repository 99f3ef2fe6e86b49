"""The simulated sensor's noise against the photon transfer relation and against scipy's Poisson numbers."""

import numpy as np
import pytest
from scipy import stats

from shared.noise import variance_counts2
from shared.scene.description import Scene
from shared.scene.renderer import SceneRenderer
from shared.scene.sensor import normal_table

_FLAT = {"noise": {"prnu_percent": 0, "dsnu_counts": 0, "hot_pixels": 0, "dark_current_electrons_per_s": 0}}


def even_field(electrons: float, k: float, read_noise: float, bit_depth: int = 16) -> SceneRenderer:
    """A sensor that sees the same ``electrons`` everywhere, by ambient light alone, in an exposure of 10 ms."""
    noise = _FLAT["noise"] | {"counts_per_electron": k, "read_noise_electrons": read_noise, "black_level_counts": 1000}
    values = {
        "camera": {"width": 512, "height": 400, "bit_depth": bit_depth, "exposure_us": 10_000.0, "noise": noise},
        "optics": {"vignetting": 0, "leakage": 0, "ambient": electrons / 1000.0},
        "light": {"fall_off": 0, "electrons_per_s": 100_000.0},
    }
    return SceneRenderer(Scene.from_values(values, "x"), seed=11)


def counts_of(renderer: SceneRenderer, frames: int) -> np.ndarray:
    out = np.empty((frames, *renderer.scene.description.shape), np.uint16)
    for index in range(frames):
        renderer.frame_into(out[index], index, index / 30, 10_000.0)
    return out.astype(np.float64)


@pytest.mark.parametrize("electrons", [0.0, 0.5, 2.0, 8.0, 30.0, 200.0, 2000.0, 9000.0])
@pytest.mark.parametrize(("k", "read_noise"), [(0.25, 3.0), (4.0, 1.0)])
def test_variance_follows_the_photon_transfer_relation(electrons: float, k: float, read_noise: float) -> None:
    """EMVA 1288: variance = K^2 sigma_d^2 + K (mu - mu_dark) + 1/12. 819,200 samples: error 0.16 %, allowed 0.8 %."""
    counts = counts_of(even_field(electrons, k, read_noise), 4)
    assert counts.mean() - 1000 == pytest.approx(k * electrons, abs=5 * np.sqrt(counts.var() / counts.size) + 1e-3 * k)
    assert counts.var() == pytest.approx(variance_counts2(k * electrons, k, read_noise), rel=0.008)


@pytest.mark.parametrize("electrons", [1.0, 4.0, 15.0, 60.0])
@pytest.mark.parametrize("read_noise", [0.5, 1.0, 3.0])
def test_low_light_moments_are_those_of_poisson_plus_read_noise(electrons: float, read_noise: float) -> None:
    """Third and fourth moments against scipy.stats.poisson; cumulants of independent numbers add. K = 8, so rounding is small."""
    electrons_seen = (counts_of(even_field(electrons, 8.0, read_noise), 4).ravel() - 1000) / 8.0
    mean, variance, skewness, excess = (float(m) for m in stats.poisson.stats(electrons, moments="mvsk"))
    total = variance + read_noise**2
    assert electrons_seen.mean() == pytest.approx(mean, abs=4 * np.sqrt(total / electrons_seen.size))
    assert electrons_seen.var() == pytest.approx(total, rel=0.01)
    assert stats.skew(electrons_seen) == pytest.approx(skewness * (variance / total) ** 1.5, abs=0.02)
    assert stats.kurtosis(electrons_seen) == pytest.approx(
        excess * (variance / total) ** 2, abs=0.04 + 0.4 * excess * (variance / total) ** 2
    )


@pytest.mark.parametrize(("electrons", "most"), [(4.0, 0.02), (15.0, 0.01), (60.0, 0.005)])
def test_low_light_distribution_is_close_to_the_exact_one(electrons: float, most: float) -> None:
    """Kolmogorov distance from a Poisson number (scipy) convolved with read noise of 1 electron."""
    electrons_seen = np.sort((counts_of(even_field(electrons, 8.0, 1.0), 2).ravel() - 1000) / 8.0)
    numbers = np.arange(0, int(electrons + 12 * np.sqrt(electrons) + 12))
    at = np.linspace(-4, numbers[-1], 400)
    exact = (stats.poisson.pmf(numbers, electrons) * stats.norm.cdf(at[:, np.newaxis] - numbers)).sum(axis=1)
    found = np.searchsorted(electrons_seen, at, side="right") / electrons_seen.size
    assert np.abs(found - exact).max() < most + 0.5 * 1 / 8 * 0.4 / np.sqrt(electrons + 1)


def test_two_frame_method_recovers_gain_and_read_noise() -> None:
    """Photon transfer as EMVA 1288 takes it: half the mean squared difference of two frames, whose slope is K."""
    k, read_noise = 0.25, 3.0
    points = []
    for electrons in (0.0, 400.0, 1200.0, 2600.0, 5000.0):
        a, b = counts_of(even_field(electrons, k, read_noise, bit_depth=12), 2)
        points.append((a.mean() - 1000, np.mean((a - b) ** 2) / 2 - (a.mean() - b.mean()) ** 2 / 2))
    means, variances = np.array(points).T
    fit = stats.linregress(means, variances)
    assert fit.slope == pytest.approx(k, rel=0.01)
    assert np.sqrt((variances[0] - 1 / 12) / k**2) == pytest.approx(read_noise, rel=0.03)


def test_frames_rows_and_pixels_are_independent() -> None:
    counts = counts_of(even_field(1000.0, 0.25, 3.0), 3)
    deviation = (counts - counts.mean()) / counts.std()
    apart = 1 / np.sqrt(counts[0].size)
    for a, b in ((deviation[0], deviation[1]), (deviation[1], deviation[2])):
        assert abs((a * b).mean()) < 5 * apart
    first = deviation[0]
    for rolled in (np.roll(first, 1, axis=1), np.roll(first, 1, axis=0), np.roll(first, (1, 3), axis=(0, 1))):
        assert abs((first * rolled).mean()) < 5 * apart
    assert abs(first.mean(axis=1).std() * np.sqrt(first.shape[1]) - 1) < 0.15  # no row pattern
    assert abs(first.mean(axis=0).std() * np.sqrt(first.shape[0]) - 1) < 0.15


def test_the_normal_table_is_normal() -> None:
    table = normal_table().astype(np.float64)
    assert table.mean() == pytest.approx(0, abs=1e-7)
    assert table.var() == pytest.approx(1, abs=1e-6)
    assert stats.skew(table) == pytest.approx(0, abs=1e-6)
    assert stats.kurtosis(table) == pytest.approx(0, abs=0.03)


def test_gain_and_dark_current() -> None:
    renderer = even_field(0.0, 0.25, 3.0)
    out = np.empty(renderer.scene.description.shape, np.uint16)
    renderer.frame_into(out, 0, 0.0, 10_000.0, gain=4.0)
    assert out.std() == pytest.approx(np.sqrt(variance_counts2(0.0, 1.0, 3.0)), rel=0.01)
