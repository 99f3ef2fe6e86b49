"""Frames of a scene, and the calibration that a perfect commissioning of its camera would have found."""

import math

import numpy as np
from numpy.typing import NDArray

from shared.calibration import Calibration
from shared.frame import Counts
from shared.scene.canvas import Canvas
from shared.scene.description import Scene
from shared.scene.kernel import DARK_STEP_COUNTS, draw_frame
from shared.scene.motion import HandMotion
from shared.scene.pwm import on_share
from shared.scene.sensor import Sensor, normal_table
from shared.scene.truth import SceneTruth

_WORD = (1 << 64) - 1


class SceneRenderer:
    """Draws any frame of a scene; the same (scene, seed, injections, index, time, settings) gives the same counts in any order.

    Building one takes about a second at 1456x1088: everything that does not change is drawn then.
    """

    def __init__(self, scene: Scene, seed: int = 0) -> None:
        self.scene = scene
        self.seed = seed
        self._motion = HandMotion(scene, seed)
        self._canvas = Canvas(scene, self._motion.margin_px, seed)
        self._sensor = Sensor.drawn(scene, seed)
        self._normal = normal_table()
        self.truth = SceneTruth(scene, self._canvas, self._sensor, self._motion)
        if scene.dye.injected_at_s is not None:
            self.inject(scene.dye.injected_at_s)

    @property
    def injections_s(self) -> tuple[float, ...]:
        """Moments at which dye went in, seconds after the camera's start."""
        return self.truth.injections_s

    def inject(self, time_s: float) -> None:
        """Give the dye at ``time_s`` after the camera's start; it adds to what is left of injections before."""
        self.truth.injections_s = (*self.truth.injections_s, time_s)

    def frame_into(
        self,
        out: Counts,
        index: int,
        time_s: float,
        exposure_us: float,
        gain: float = 1.0,
        mean_level: float = 1.0,
        row_duty: NDArray[np.floating] | None = None,
    ) -> None:
        """Draw frame ``index`` into ``out``, (height, width) uint16.

        ``time_s`` is the middle of the (first row's) exposure after the camera's start, ``mean_level`` the ring's
        mean duty over it.
        ``row_duty``, (height,), says what each row saw instead; without it, pulses of the scene's ``pwm_hz`` are worked out.
        """
        scene = self.scene
        camera, noise = scene.camera, scene.camera.noise
        exposure_s = exposure_us / 1e6
        duty = self.row_duty(time_s, exposure_us, mean_level) if row_duty is None else row_duty
        electrons = scene.electrons_per_s * exposure_s
        tissues, sparse, sensor = self._canvas.tissues, self._canvas.sparse, self._sensor
        draw_frame(
            (tissues.run_starts, tissues.run_ends, tissues.run_numbers, tissues.shares),
            (self._canvas.mottle, self._canvas.reflectance),
            (sparse.row_starts, sparse.columns, sparse.shares, sparse.slots),
            (sensor.lit, sensor.unlit, sensor.dark),
            (sensor.hot_indices, sensor.hot_electrons_per_s),
            self._normal,
            self.truth.levels(time_s).astype(np.float32),
            self.truth.slot_levels(time_s),
            scene.optics.leakage,
            self._corner(time_s),
            np.asarray(np.asarray(duty) * electrons, np.float32),
            scene.optics.ambient_at(time_s) * electrons,
            noise.dark_current_electrons_per_s * exposure_s,
            exposure_s,
            noise.read_noise_electrons**2,
            camera.counts_per_electron * gain,
            camera.white_level,
            np.uint64(_frame_key(self.seed, index)),
            out,
        )

    def row_duty(self, time_s: float, exposure_us: float, level: float | NDArray[np.floating]) -> NDArray[np.float64]:
        """Light of each row's exposure beside full level's, (height,), for a ring dimmed to ``level`` (one, or one a row)."""
        camera = self.scene.camera
        row_time_s = camera.set_row_time_us / 1e6 if camera.shutter == "rolling" else 0.0
        starts_s = time_s - exposure_us / 2e6 + row_time_s * np.arange(camera.height)
        share = on_share(starts_s, exposure_us / 1e6, level, self.scene.light.pwm_hz)
        return np.asarray(share * self.scene.light.efficiency(level), np.float64)

    def calibration(self) -> Calibration:
        """Scene truth: dark at the scene's own exposure and gain, flat of sensitivity times illumination, hot pixels as defects.

        The camera's truth, not the ring's: light output is assumed linear until it is measured, as on a real handheld.
        """
        camera, sensor = self.scene.camera, self._sensor
        k = camera.counts_per_electron
        dark_e = camera.noise.dark_current_electrons_per_s * camera.set_exposure_us / 1e6
        defects = np.zeros(self.scene.description.shape, np.bool_)
        defects.flat[sensor.hot_indices] = True
        return Calibration(
            camera=self.scene.description,
            dark_counts=(sensor.dark * np.float32(DARK_STEP_COUNTS) + np.float32(k * camera.gain * dark_e)),
            flat=(sensor.lit / sensor.lit.max()).astype(np.float32),
            defects=defects,
            counts_per_electron=k,
            read_noise_electrons=camera.noise.read_noise_electrons,
            saturation_counts=camera.white_level,
            origin="scene truth",
        )

    def _corner(self, time_s: float) -> tuple[int, int, float, float]:
        right_px, down_px = self._motion.displacement_px(time_s)
        left, top = self._motion.margin_px - right_px, self._motion.margin_px - down_px
        return math.floor(top), math.floor(left), top - math.floor(top), left - math.floor(left)


def _frame_key(seed: int, index: int) -> int:
    """64-bit key of one frame (SplitMix64's finaliser over seed, then index)."""
    return _mixed((_mixed((seed + 0x9E3779B97F4A7C15) & _WORD) + index * 0xD1342543DE82EF95) & _WORD)


def _mixed(x: int) -> int:
    x = ((x ^ (x >> 30)) * 0xBF58476D1CE4E5B9) & _WORD
    x = ((x ^ (x >> 27)) * 0x94D049BB133111EB) & _WORD
    return x ^ (x >> 31)
