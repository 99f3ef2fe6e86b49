"""What analysis should find: the scene's own noise-free values, composed plainly, without the kernel that draws frames."""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import shift

from shared.errors import Refused
from shared.scene.description import Scene, Tissue
from shared.scene.dye import tissue_curve
from shared.scene.kernel import DARK_STEP_COUNTS, SENSITIVITY_STEP, SURFACE_STEP
from shared.scene.motion import HandMotion

if TYPE_CHECKING:
    from shared.scene.canvas import Canvas
    from shared.scene.sensor import Sensor

F64 = NDArray[np.float64]


class SceneTruth:
    """Noise-free values of a scene at any time after the camera's start, for the injections given so far."""

    def __init__(self, scene: Scene, canvas: "Canvas", sensor: "Sensor", motion: HandMotion) -> None:
        self.scene = scene
        self.injections_s: tuple[float, ...] = ()
        self._canvas = canvas
        self._sensor = sensor
        self._motion = motion

    def curve(self, name: str, times_s: F64) -> F64:
        """Level of a tissue at ``times_s``, where 1 is the unit of the scene's levels. Raises Refused for an unknown name."""
        tissue = self._tissue(name)
        if tissue.steady:
            return np.full_like(times_s, tissue.level, dtype=np.float64)
        total = np.zeros_like(times_s, dtype=np.float64)
        for injected_at_s in self.injections_s:
            total += self._one_injection(tissue, times_s - injected_at_s)
        return total

    def relative_percent(self, name: str, time_s: float) -> float:
        """100 x level of a tissue / level of the reference tissue at the same moment; nan before the reference has dye."""
        reference = self.reference
        levels = [float(self.curve(each, np.array([time_s]))[0]) for each in (name, reference)]
        return 100 * levels[0] / levels[1] if levels[1] > 0 else float("nan")

    def peak_relative_percent(self, name: str) -> float:
        """100 x peak level of a tissue / peak level of the reference tissue (of one injection)."""
        return 100 * self._tissue(name).level / self._tissue(self.reference).level

    @property
    def reference(self) -> str:
        """Name of the reference tissue. Raises Refused where the scene has no tissue."""
        if not self.scene.tissue:
            raise Refused("this scene has no tissue to be the reference", remedy="add a [[tissue]]")
        return self.scene.dye.reference or self.scene.tissue[0].name

    def levels(self, time_s: float) -> F64:
        """Level of no tissue (0) and of each tissue in the scene's order, (tissues + 1,)."""
        time = np.array([time_s])
        return np.array([0.0, *(float(self.curve(tissue.name, time)[0]) for tissue in self.scene.tissue)])

    def slot_levels(self, time_s: float) -> NDArray[np.float32]:
        """Level of each step along vessels, then of each node."""
        return self._canvas.slot_levels([time_s - injected for injected in self.injections_s])

    def displacement_mm(self, time_s: float) -> tuple[float, float]:
        """(x, y) by which the hand has shifted tissue to the right and down."""
        x, y = self._motion.displacement_px(time_s)
        return x * self.scene.optics.mm_per_px, y * self.scene.optics.mm_per_px

    def fluorescence(self, time_s: float) -> F64:
        """Dye's own light as the sensor would see it without fall-off, leakage or noise: (height, width), in levels."""
        tissues, levels = self._canvas.tissues, self.levels(time_s)
        second, third = tissues.shares / 255.0
        of_each = levels[tissues.numbers]
        plane = of_each[0] * (1 - second - third) + of_each[1] * second + of_each[2] * third
        plane *= self._canvas.mottle * SURFACE_STEP
        sparse, slot_levels = self._canvas.sparse, self.slot_levels(time_s)
        rows = np.repeat(np.arange(plane.shape[0]), np.diff(sparse.row_starts))
        np.add.at(plane, (rows, sparse.columns), sparse.shares * slot_levels[sparse.slots])
        return self._seen(plane, time_s)

    def counts(self, time_s: float, exposure_us: float, gain: float = 1.0, light_level: float = 1.0) -> F64:
        """Mean counts of every pixel but hot ones, unclipped and unrounded, under steady light: (height, width)."""
        camera, optics, sensor = self.scene.camera, self.scene.optics, self._sensor
        leaked = optics.leakage * self._seen(self._canvas.reflectance * SURFACE_STEP, time_s)
        emission = self.fluorescence(time_s) + leaked
        lit, unlit = sensor.lit * SENSITIVITY_STEP, sensor.unlit * SENSITIVITY_STEP
        light = light_level * float(self.scene.light.efficiency(light_level))
        per_s = (emission * lit * light + optics.ambient_at(time_s) * unlit) * self.scene.electrons_per_s
        electrons = (per_s + camera.noise.dark_current_electrons_per_s) * exposure_us / 1e6
        return np.asarray(sensor.dark * DARK_STEP_COUNTS + camera.counts_per_electron * gain * electrons)

    def _seen(self, plane: NDArray[np.floating], time_s: float) -> F64:
        right, down = self._motion.displacement_px(time_s)
        margin = self._canvas.margin_px
        if (right, down) != (0.0, 0.0):
            plane = shift(plane, (down, right), order=1, mode="nearest")
        height, width = self.scene.description.shape
        return np.asarray(plane[margin : margin + height, margin : margin + width], np.float64)

    def _one_injection(self, tissue: Tissue, since_s: F64) -> F64:
        dye = self.scene.dye
        since_arrival_s = since_s - tissue.arrival_s
        return tissue.level * tissue_curve(
            since_arrival_s, tissue.alpha, tissue.beta, dye.half_life_s, dye.recirculation
        )

    def _tissue(self, name: str) -> Tissue:
        for tissue in self.scene.tissue:
            if tissue.name == name:
                return tissue
        raise Refused("no such tissue in the scene", name, f"there are: {', '.join(t.name for t in self.scene.tissue)}")
