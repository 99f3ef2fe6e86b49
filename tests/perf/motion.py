"""Where the hand moved the picture to: processor time of one thread and error, interleaved, on the same frames of the ready scenes.

"ours" is all of it from raw counts: reduction, correlation, refinement of shift and rotation, against a reference of which it is
known how far the frame is turned. "plain" is numpy's complex FFT and "opencv" OpenCV's phaseCorrelate, both of the shift alone, on
flat-corrected pictures reduced by means of 4 x 4 (numpy's reshape, OpenCV's area resize) under a Hann window. "following" is what a
live path pays, views included. Errors are root mean squares along the worse axis, in pixels of the full frame.
"""

import time
from dataclasses import replace
from statistics import median

import cv2
import numpy as np

from shared.motion.follower import Follower
from shared.motion.registration import Registration
from shared.motion.resample import into_reference
from shared.scene.description import MotionScene, Scene, ready_scenes
from shared.scene.renderer import SceneRenderer

_STEP = 4
_HAND = MotionScene(tremor_mm=2.0, tremor_hz=8.0, drift_mm_s=1.0, drift_direction_deg=30.0)
_MOMENTS_S = np.arange(0.0, 4.0, 0.1)
"""Before the dye, where the picture is faintest."""


def rows() -> list[dict[str, object]]:
    """One row a ready scene."""
    return [_row(name, Scene.load(path)) for name, path in ready_scenes().items()]


class _Plain:
    """Phase correlation by complex FFTs, numpy alone."""

    def __init__(self, reference: np.ndarray, dark: np.ndarray, flat: np.ndarray) -> None:
        self.dark, self.flat = _means(dark), _means(flat)
        height, width = self.dark.shape
        self.window = np.outer(np.hanning(height), np.hanning(width))
        self.spectrum = np.fft.fft2(self._even(reference))

    def _even(self, pixels: np.ndarray) -> np.ndarray:
        even = (_means(pixels) - self.dark) / self.flat
        return (even - even.mean()) * self.window

    def shift(self, pixels: np.ndarray) -> tuple[float, float]:
        cross = np.fft.fft2(self._even(pixels)) * np.conj(self.spectrum)
        surface = np.fft.ifft2(cross / np.maximum(np.abs(cross), 1e-12)).real
        height, width = surface.shape
        row, column = np.unravel_index(int(np.argmax(surface)), surface.shape)
        down = row + _vertex(surface[(row + np.array([-1, 0, 1])) % height, column])
        right = column + _vertex(surface[row, (column + np.array([-1, 0, 1])) % width])
        return _STEP * ((right + width / 2) % width - width / 2), _STEP * ((down + height / 2) % height - height / 2)


class _OpenCV:
    """OpenCV's phaseCorrelate with its Hann window."""

    def __init__(self, reference: np.ndarray, dark: np.ndarray, flat: np.ndarray) -> None:
        cv2.setNumThreads(1)
        self.size = (reference.shape[1] // _STEP, reference.shape[0] // _STEP)
        self.dark, self.flat = (_means(plane).astype(np.float32) for plane in (dark, flat))
        self.window = cv2.createHanningWindow(self.size, cv2.CV_32F)
        self.reference = self._even(reference)

    def _even(self, pixels: np.ndarray) -> np.ndarray:
        small = cv2.resize(pixels, self.size, interpolation=cv2.INTER_AREA)
        return cv2.divide(cv2.subtract(small, self.dark, dtype=cv2.CV_32F), self.flat)

    def shift(self, pixels: np.ndarray) -> tuple[float, float]:
        (right, down), _ = cv2.phaseCorrelate(self.reference, self._even(pixels), self.window)
        return _STEP * right, _STEP * down


def _means(plane: np.ndarray) -> np.ndarray:
    height, width = plane.shape
    return plane.reshape(height // _STEP, _STEP, width // _STEP, _STEP).mean(axis=(1, 3))


def _vertex(three: np.ndarray) -> float:
    bend = three[0] - 2 * three[1] + three[2]
    return float(0.5 * (three[0] - three[2]) / bend) if bend < 0 else 0.0


def _row(name: str, scene: Scene) -> dict[str, object]:
    renderer = SceneRenderer(replace(scene, motion=_HAND), seed=7)
    calibration = renderer.calibration()
    frames = []
    for index, time_s in enumerate(_MOMENTS_S):
        frames.append(np.empty(scene.description.shape, np.uint16))
        renderer.frame_into(frames[-1], index, time_s, scene.camera.set_exposure_us, scene.camera.gain)
    truth = np.array([renderer.truth.displacement_mm(time_s) for time_s in _MOMENTS_S]) / scene.optics.mm_per_px
    registration, follower = Registration.of(frames[0], calibration), Follower(calibration)
    plain, opencv = (made(frames[0], calibration.dark_counts, calibration.flat) for made in (_Plain, _OpenCV))
    out = np.empty(scene.description.shape, np.float32)
    steps = {
        "plain": plain.shift,
        "opencv": opencv.shift,
        "ours": lambda pixels: registration.shift(pixels, 0.0),
        "following": follower.follow,
        "reducing": registration.reducer.texture,
        "resampling": lambda pixels: into_reference(pixels, registration.shift(frames[1], 0.0), out),
    }
    taken: dict[str, list[float]] = {key: [] for key in steps}
    found: dict[str, list[tuple[float, float]]] = {key: [] for key in ("plain", "opencv", "ours", "following")}
    for turn, pixels in enumerate(frames):
        for key, step in steps.items():
            began = time.thread_time()
            result = step(pixels)
            if turn >= 2:
                taken[key].append(1000 * (time.thread_time() - began))
            if key in found:
                found[key].append(result if isinstance(result, tuple) else (result.dx_px, result.dy_px))
    taken["resampling"] = [a - b for a, b in zip(taken["resampling"], taken["ours"], strict=True)]

    def ratio(over: str) -> float:
        return round(median(a / b for a, b in zip(taken[over], taken["ours"], strict=True)), 2)

    def rms_px(key: str) -> float:
        off = np.array(found[key]) - (truth - truth[0])
        return round(float(np.sqrt(np.square(off[1:]).mean(axis=0)).max()), 3)

    return {
        "stage": f"hand's motion, {name}",
        "size": f"{scene.camera.width}x{scene.camera.height}",
        **{f"{key}_ms": round(median(taken[key]), 2) for key in steps},
        "plain/ours": ratio("plain"),
        "opencv/ours": ratio("opencv"),
        **{f"{key}_rms_px": rms_px(key) for key in found},
    }


if __name__ == "__main__":
    for row in rows():
        print(row)
