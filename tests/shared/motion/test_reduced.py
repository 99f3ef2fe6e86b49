"""Reduction to an even texture: block means against scikit-image, flat field, defects."""

import numpy as np
import pytest
from scipy.ndimage import uniform_filter
from skimage.measure import block_reduce

from shared.calibration import Calibration
from shared.frame import CameraDescription
from shared.motion.reduced import Reducer, _band_pass


def calibration(shape: tuple[int, int], defects: np.ndarray | None = None) -> Calibration:
    y, x = np.mgrid[-1 : 1 : shape[0] * 1j, -1 : 1 : shape[1] * 1j]
    flat = (1.0 - 0.3 * (x * x + y * y) / 2).astype(np.float32)
    bad = np.zeros(shape, np.bool_) if defects is None else defects
    camera = CameraDescription("test", shape[1], shape[0], 12)
    return Calibration(camera, np.full(shape, 50, np.float32), flat, bad, 0.1, 3.0, 4095)


@pytest.mark.parametrize("shape", [(1088, 1456), (1090, 1459), (800, 1280), (160, 200)])
def test_blocks_are_those_of_scikit_image(shape: tuple[int, int]) -> None:
    """With and without the path for blocks of four; what does not fill a block is cut off evenly."""
    rng = np.random.default_rng(0)
    defects = rng.random(shape) < 1e-4
    reducer = Reducer(calibration(shape, defects))
    pixels = rng.integers(0, 65536, shape).astype(np.uint16)
    reducer._sum(pixels, reducer._sums)
    block = reducer.block_px
    top, left = ((size - size // block * block) // 2 for size in shape)
    cut = np.where(defects, 0, pixels)[top:, left:][: reducer.rows * block, : reducer.columns * block]
    row = np.arange(cut.shape[0])[:, np.newaxis] % block
    cut = np.where((row >= block // 4) & (row < block - block // 4), cut, 0)  # the middle half of the rows is read
    np.testing.assert_array_equal(reducer._sums, block_reduce(cut, (block, block), np.sum))


def test_pictures_summed_up_ahead_have_the_same_texture() -> None:
    """In whatever order textures are asked for, of more pictures than are kept, twice, and where none was summed up."""
    reducer, alone = (Reducer(calibration((160, 200))) for _ in range(2))
    rng = np.random.default_rng(7)
    pictures = [rng.integers(40, 4000, (160, 200)).astype(np.uint16) for _ in range(12)]
    for pixels in pictures[:10]:
        reducer.sum_ahead(pixels)
    for number in (3, 2, 4, 4, 9, 0, 11, 5):
        wanted = alone.texture(pictures[number])
        np.testing.assert_array_equal(reducer.texture(pictures[number]).fine, wanted.fine)
    reducer.sum_ahead(pictures[10])
    pictures[10][:] = 0  # so it is seen whether the sums are used
    assert reducer.texture(pictures[10]).fine.any()
    assert not reducer.texture(pictures[10]).fine.any()


def test_band_pass_is_a_difference_of_means() -> None:
    plane = np.random.default_rng(1).random((50, 70)).astype(np.float32)
    out = np.empty_like(plane)
    _band_pass(plane, out)
    wanted = uniform_filter(plane, 3, mode="nearest") - uniform_filter(plane, 5, mode="nearest")
    np.testing.assert_allclose(out, wanted, atol=2e-6)


@pytest.mark.parametrize(("shape", "share"), [((1088, 1456), 1e-4), ((160, 200), 4e-3)])
def test_what_stays_with_the_camera_is_no_texture(shape: tuple[int, int], share: float) -> None:
    """Fall-off and hot pixels leave noise alone where they are calibrated, also where a texel is a single pixel; a tenth of the
    light leaves the same texture.
    """
    rng = np.random.default_rng(2)
    defects = rng.random(shape) < share
    known = calibration(shape, defects)
    reducer = Reducer(known)
    seen = 50 + 400 * known.flat + 3000 * defects
    noisy = [np.rint(seen + rng.normal(0, 6, shape)).astype(np.uint16) for _ in range(2)]
    for each, alike in ((reducer, (-0.02, 0.02)), (Reducer(Calibration.assumed(known.camera)), (0.1, 1.0))):
        one, two = (each.texture(pixels).fine.ravel() for pixels in noisy)
        assert alike[0] < np.corrcoef(one, two)[0, 1] < alike[1]
    tissue = rng.random((shape[0] // 8, shape[1] // 8)).repeat(8, axis=0).repeat(8, axis=1)
    bright, dim = (
        reducer.texture(np.rint(50 + strength * known.flat * (1 + 0.3 * tissue)).astype(np.uint16)).fine
        for strength in (3000, 300)
    )
    assert np.corrcoef(bright.ravel(), dim.ravel())[0, 1] > 0.98
    assert np.isfinite(bright).all()
    assert 0.2 < float(np.sqrt(np.square(bright).mean())) < 1.0
