"""Registration of real pictures against scikit-image's and scipy's own transforms."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.ndimage import fourier_shift, gaussian_filter
from skimage.registration import phase_cross_correlation

from shared.errors import Refused
from shared.motion.pose import Motion
from shared.motion.registration import CONFIDENCE_LIMIT, Registration
from tests.shared.motion.pictures import assumed, counts, moved, picture

ROTATED = (Motion(20.2, 11, 1), Motion(-10, 8, 3), Motion(0, 0, 5), Motion(3, 3, -8.2), Motion(-30, 20, 0.5))


def agrees(found: Motion, wanted: Motion, px: float = 0.15, degrees: float = 0.06) -> bool:
    off = np.hypot(found.dx_px - wanted.dx_px, found.dy_px - wanted.dy_px)
    return found.locked and off < px and abs(found.rotation_deg - wanted.rotation_deg) < degrees


def test_documented_case_of_scikit_image() -> None:
    """scikit-image's documentation shifts its camera picture by (-22.4, 13.32); the answer there is the shift back."""
    camera = picture("camera")
    other = np.fft.ifftn(fourier_shift(np.fft.fftn(camera), (-22.4, 13.32))).real
    down, right = phase_cross_correlation(camera, other, upsample_factor=100)[0]
    assert (down, right) == pytest.approx((22.4, -13.32))
    raw = [np.clip(np.rint(60 + 4 * plane), 0, 4095).astype(np.uint16) for plane in (camera, other)]
    found = Registration.of(raw[0], assumed(raw[0])).shift(raw[1])
    assert agrees(found, Motion(-right, -down))


@settings(max_examples=6, deadline=None)
@given(st.floats(-35, 35), st.floats(-35, 35))
def test_noisy_pictures_as_scikit_image_finds_them(dx: float, dy: float) -> None:
    """Guizar-Sicairos 2008, to a hundredth of a pixel."""
    rng = np.random.default_rng(7)
    camera = picture("camera")
    raw = [counts(plane, rng) for plane in (camera, moved(camera, Motion(dx, dy)))]
    found = Registration.of(raw[0], assumed(raw[0])).shift(raw[1])
    assert agrees(found, Motion(dx, dy))
    down, right = phase_cross_correlation(raw[0], raw[1], upsample_factor=100)[0]
    # scikit-image takes the picture as periodic, so it is off by more where much has left the picture
    assert np.hypot(found.dx_px + right, found.dy_px + down) < 1.0


@pytest.mark.parametrize("noise", [0.0, 0.05, 0.2])
def test_smooth_faint_texture_as_without_normalisation(noise: float) -> None:
    """Blurred glow with noise, where scikit-image needs normalization=None: both find the shift of a periodic picture."""
    rng = np.random.default_rng(4)
    smooth = gaussian_filter(rng.standard_normal((256, 256)), 3, mode="wrap")
    smooth /= smooth.std()
    other = np.fft.ifft2(fourier_shift(np.fft.fft2(smooth), (3.4, -7.8))).real
    planes = [plane + noise * rng.standard_normal(plane.shape) for plane in (smooth, other)]
    down, right = phase_cross_correlation(*planes, upsample_factor=100, normalization=None)[0]
    assert (down, right) == pytest.approx((-3.4, 7.8), abs=0.03)
    raw = [np.rint(2000 + 100 * plane).astype(np.uint16) for plane in planes]
    found = Registration.of(raw[0], assumed(raw[0])).shift(raw[1])
    assert agrees(found, Motion(-right, -down), px=0.1)


@pytest.mark.parametrize("name", ["camera", "cell", "retina"])
@pytest.mark.parametrize("motion", ROTATED, ids=str)
def test_rotation_of_real_pictures(name: str, motion: Motion) -> None:
    """Truth is scipy.ndimage.affine_transform with cubic splines. A retina's round outline alone would fit at any angle."""
    rng = np.random.default_rng(1)
    plane = picture(name)
    reference = counts(plane, rng)
    found = Registration.of(reference, assumed(reference)).shift(counts(moved(plane, motion), rng))
    assert agrees(found, motion), found


@settings(max_examples=6, deadline=None)
@given(
    st.builds(Motion, st.floats(-15, 15), st.floats(-15, 15), st.floats(-0.5, 0.5)),
    st.builds(Motion, st.floats(-15, 15), st.floats(-15, 15), st.floats(-0.5, 0.5)),
)
def test_shifts_add_up(first: Motion, second: Motion) -> None:
    """Registering b against a is registering b against the start after a is undone."""
    rng = np.random.default_rng(3)
    camera = picture("camera")
    start, a, b = (counts(moved(camera, each), rng) for each in (Motion(), first, first.then(second)))
    calibration = assumed(start)
    to_a, to_b = (Registration.of(start, calibration).shift(each) for each in (a, b))
    assert agrees(Registration.of(a, calibration).shift(b), to_a.back().then(to_b), px=0.25, degrees=0.1)


def test_a_picture_has_not_moved_from_itself() -> None:
    raw = counts(picture("camera"))
    found = Registration.of(raw, assumed(raw)).shift(raw)
    assert agrees(found, Motion(), px=1e-3, degrees=1e-3)
    assert found.confidence > 0.9


def test_brightness_moves_nothing() -> None:
    """Half the light, or a slow slope of light over the picture, leaves the motion where it was."""
    rng = np.random.default_rng(5)
    camera = picture("camera")
    shifted = moved(camera, Motion(8.3, -4.6))
    slope = np.linspace(0.4, 1.6, camera.shape[1])
    raw = [counts(plane, rng) for plane in (camera, 0.5 * shifted, shifted * slope)]
    registration = Registration.of(raw[0], assumed(raw[0]))
    for each in raw[1:]:
        assert agrees(registration.shift(each), Motion(8.3, -4.6))


@pytest.mark.parametrize("value", [0, 60, 900])
def test_a_flat_picture_gives_no_lock_and_no_shift(value: int) -> None:
    flat = np.full((120, 160), value, np.uint16)
    textured = np.random.default_rng(0).integers(100, 900, (120, 160)).astype(np.uint16)
    for reference, frame in ((flat, flat), (flat, textured), (textured, flat)):
        found = Registration.of(reference, assumed(reference)).shift(frame)
        assert not found.locked
        assert found.confidence < CONFIDENCE_LIMIT
        assert (found.dx_px, found.dy_px, found.rotation_deg) == (0, 0, 0)


def test_what_cannot_be_registered_is_refused() -> None:
    raw = counts(picture("camera"))
    registration = Registration.of(raw, assumed(raw))
    with pytest.raises(Refused, match="another size"):
        registration.shift(raw[:-1])
    small = np.zeros((40, 200), np.uint16)
    with pytest.raises(Refused, match="this small"):
        Registration.of(small, assumed(small))
