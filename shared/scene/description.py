"""A scene: the numbers from which the simulated device makes its frames, and the truth that analysis is checked against.

Millimetres count from the picture's top left corner at rest, x to the right, y down. ``level`` is a peak, as a share of what
the reference tissue reaches; leakage and ambient are shares of the same, at full light. Every key but a tissue's name and
polygon, a vessel's path and a node's centre has a default, so that a scene may be a few lines long.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Annotated, Any, Literal, Self

import numpy as np
from numpy.typing import NDArray

from shared.bounded import Length, Within, filled, read_toml
from shared.frame import CameraDescription

Millimetres = Annotated[float, Within(-2000, 2000)]
Point = tuple[Millimetres, Millimetres]
Share = Annotated[float, Within(0, 1)]

READY = Path(__file__).parent / "ready"


@dataclass(frozen=True)
class NoiseScene:
    """The sensor's own imperfections. Absent ``counts_per_electron`` (K) maps 10,240 electrons to the converter's full scale."""

    counts_per_electron: Annotated[float, Within(0.001, 100)] | None = None
    read_noise_electrons: Annotated[float, Within(0.5, 100)] = 3.0
    black_level_counts: Annotated[float, Within(0, 3500)] | None = None
    dark_current_electrons_per_s: Annotated[float, Within(0, 10_000)] = 20.0
    dsnu_counts: Annotated[float, Within(0, 50)] = 0.2
    prnu_percent: Annotated[float, Within(0, 2)] = 0.6
    hot_pixels: Annotated[int, Within(0, 5000)] = 60


@dataclass(frozen=True)
class CameraScene:
    """The sensor and how it is set. Absent ``exposure_us``: 15 ms, or 90 % of the frame interval where that is shorter."""

    width: Annotated[int, Within(64, 4096)] = 1456
    height: Annotated[int, Within(64, 4096)] = 1088
    fps: Annotated[float, Within(0.5, 240)] = 30.0
    bit_depth: Annotated[int, Within(8, 16)] = 10
    exposure_us: Annotated[float, Within(20, 1_000_000)] | None = None
    gain: Annotated[float, Within(1, 64)] = 1.0
    shutter: Literal["global", "rolling"] = "global"
    row_time_us: Annotated[float, Within(0.1, 1000)] | None = None
    noise: NoiseScene = field(default_factory=NoiseScene)

    def __post_init__(self) -> None:
        if self.set_exposure_us > self.interval_us:
            raise ValueError(f"exposure_us {self.set_exposure_us:g} is longer than a frame at {self.fps:g} fps")
        if self.set_row_time_us * self.height > self.interval_us * 1.001:
            raise ValueError(f"row_time_us {self.set_row_time_us:g} for {self.height} rows is longer than a frame")
        if self.black_level >= self.white_level / 2:
            raise ValueError(f"noise.black_level_counts {self.black_level:g} leaves no room below {self.white_level}")

    @property
    def interval_us(self) -> float:
        """Time from frame to frame."""
        return 1e6 / self.fps

    @property
    def set_exposure_us(self) -> float:
        """Exposure to start with."""
        return min(15_000.0, 0.9 * self.interval_us) if self.exposure_us is None else self.exposure_us

    @property
    def set_row_time_us(self) -> float:
        """Delay from row to row of a rolling shutter; by default readout fills the frame interval."""
        return 0.999 * self.interval_us / self.height if self.row_time_us is None else self.row_time_us

    @property
    def white_level(self) -> int:
        """Largest count."""
        return (1 << self.bit_depth) - 1

    @property
    def counts_per_electron(self) -> float:
        """K at unit gain."""
        given = self.noise.counts_per_electron
        return (1 << self.bit_depth) / 10_240 if given is None else given

    @property
    def black_level(self) -> float:
        """Count of a pixel that saw nothing; by default 6 % of full scale, 60 of 1023."""
        given = self.noise.black_level_counts
        return min(round(0.0586 * (1 << self.bit_depth)), 3500) if given is None else given


@dataclass(frozen=True)
class OpticsScene:
    """Scale and unwanted light. ``vignetting`` is the share lost in the corners, ``scatter_mm`` the blur (Gaussian sigma) of
    fluorescence by the tissue over it. ``distortion`` is the lens's, radial: the share by which it moves a corner outwards.
    Ambient light swings about its mean by the share ``ambient_swing``, as a sine of ``ambient_period_s``.
    """

    mm_per_px: Annotated[float, Within(0.005, 10)] = 0.14
    vignetting: Annotated[float, Within(0, 0.9)] = 0.25
    leakage: Annotated[float, Within(0, 10)] = 0.02
    ambient: Annotated[float, Within(0, 10)] = 0.01
    ambient_swing: Share = 0.0
    ambient_period_s: Annotated[float, Within(0.5, 3600)] = 10.0
    scatter_mm: Annotated[float, Within(0, 20)] = 0.0
    distortion: Annotated[float, Within(-0.2, 0.2)] = 0.0

    def ambient_at(self, time_s: float) -> float:
        """Ambient light ``time_s`` after the camera's start."""
        return self.ambient * (1.0 + self.ambient_swing * math.sin(2.0 * math.pi * time_s / self.ambient_period_s))


@dataclass(frozen=True)
class SurfaceScene:
    """What leaked excitation shows: skin's fine relief (relative rms) and drapes (reflectance beside skin's) where no tissue is.
    ``mottle`` is the relative rms of fluorescence within a tissue, whose mean it leaves alone.
    """

    texture: Annotated[float, Within(0, 0.2)] = 0.08
    drape_reflectance: Annotated[float, Within(0, 1.5)] = 1.0
    mottle: Annotated[float, Within(0, 0.15)] = 0.0


@dataclass(frozen=True)
class LightScene:
    """The ring. ``fall_off`` is the share lost in the corners. Absent ``electrons_per_s`` (a second, of a pixel at the field's
    centre that sees level 1 at full light): what brings level 1 to 65 % of the converter's range at the exposure and gain set.
    ``droop`` is the share of its promise that full level loses to its own heat: output is then no longer proportional to level.
    """

    level: Share = 1.0
    droop: Annotated[float, Within(0, 0.5)] = 0.0
    fall_off: Annotated[float, Within(0, 0.9)] = 0.15
    pwm_hz: Annotated[float, Within(0, 1_000_000)] = 20_000.0
    electrons_per_s: Annotated[float, Within(100, 1e9)] | None = None

    def efficiency(self, level: NDArray[np.floating] | float) -> NDArray[np.float64]:
        """Output at ``level`` over level, beside that at full level: output(l) = l (1 - droop l) / (1 - droop)."""
        return np.asarray((1.0 - self.droop * np.asarray(level, np.float64)) / (1.0 - self.droop))


@dataclass(frozen=True)
class MotionScene:
    """The hand. ``tremor_mm`` is the rms displacement along each axis, in a band round ``tremor_hz``; drift is steady, along
    ``drift_direction_deg`` (0 to the right, 90 down), until it has used up the margin the scene was drawn with (256 pixels).
    """

    tremor_mm: Annotated[float, Within(0, 10)] = 0.0
    tremor_hz: Annotated[float, Within(0.1, 30)] = 8.0
    drift_mm_s: Annotated[float, Within(-20, 20)] = 0.0
    drift_direction_deg: Annotated[float, Within(-360, 360)] = 0.0


@dataclass(frozen=True)
class DyeScene:
    """The injection, in seconds after the camera's start; absent, the dye waits for the operator. ``reference`` names the tissue
    whose peak the levels are relative to (absent: the first). ``recirculation``: see ``dye.tissue_curve``.
    """

    injected_at_s: Annotated[float, Within(0, 36_000)] | None = None
    half_life_s: Annotated[float, Within(1, 36_000)] = 180.0
    reference: Annotated[str, Length(1, 40)] | None = None
    recirculation: Annotated[float, Within(0, 0.9)] = 0.6


@dataclass(frozen=True)
class Tissue:
    """Tissue that fills a polygon, over those named before it. ``arrival_s`` is after injection; alpha and beta (s) shape the
    gamma variate. ``steady``: it glows at its level all the time, like a dye card.
    """

    name: Annotated[str, Length(1, 40)]
    polygon_mm: Annotated[tuple[Point, ...], Length(3, 500)]
    arrival_s: Annotated[float, Within(0, 3600)] = 15.0
    alpha: Annotated[float, Within(0.5, 50)] = 3.0
    beta: Annotated[float, Within(0.01, 600)] = 4.0
    level: Annotated[float, Within(0, 10)] = 1.0
    steady: bool = False

    def __post_init__(self) -> None:
        if abs(self.area_mm2) < 1e-6:
            raise ValueError(f"polygon_mm of tissue {self.name!r} encloses no area")

    @property
    def area_mm2(self) -> float:
        """Signed area (shoelace formula)."""
        corners = self.polygon_mm
        pairs = zip(corners, corners[1:] + corners[:1], strict=True)
        return 0.5 * sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in pairs)


@dataclass(frozen=True)
class Vessel:
    """Lymph channel: packets run along the path from its first point. ``width_mm`` is the full width at half maximum across,
    ``packet_length_mm`` along; ``resting_share`` of ``level`` stays behind the first packet.
    """

    path_mm: Annotated[tuple[Point, ...], Length(2, 500)]
    width_mm: Annotated[float, Within(0.05, 50)] = 1.5
    packet_speed_mm_s: Annotated[float, Within(0.01, 200)] = 10.0
    packets_per_min: Annotated[float, Within(0, 120)] = 1.0
    level: Annotated[float, Within(0, 10)] = 0.6
    arrival_s: Annotated[float, Within(0, 3600)] = 0.0
    packet_length_mm: Annotated[float, Within(0.2, 500)] = 15.0
    resting_share: Share = 0.3
    name: Annotated[str, Length(0, 40)] = ""

    def __post_init__(self) -> None:
        if all(point == self.path_mm[0] for point in self.path_mm):
            raise ValueError("path_mm of a vessel has no length")


@dataclass(frozen=True)
class Node:
    """Node seen through skin: a soft spot, half as bright at ``radius_mm`` as in its middle. It fills from ``arrival_s`` after
    injection over ``filling_s``, and then stays.
    """

    centre_mm: Point
    radius_mm: Annotated[float, Within(0.1, 200)] = 5.0
    level: Annotated[float, Within(0, 10)] = 0.5
    arrival_s: Annotated[float, Within(0, 3600)] = 0.0
    filling_s: Annotated[float, Within(0.01, 3600)] = 20.0
    name: Annotated[str, Length(0, 40)] = ""


@dataclass(frozen=True)
class Mark:
    """Line seen in leaked excitation only: a wound's edge, a pen's mark. ``reflectance`` is beside the skin's."""

    path_mm: Annotated[tuple[Point, ...], Length(2, 500)]
    width_mm: Annotated[float, Within(0.05, 50)] = 1.0
    reflectance: Annotated[float, Within(0, 1.9)] = 0.4


@dataclass(frozen=True)
class Scene:
    """The whole, in the sections of the TOML file."""

    camera: CameraScene = field(default_factory=CameraScene)
    optics: OpticsScene = field(default_factory=OpticsScene)
    surface: SurfaceScene = field(default_factory=SurfaceScene)
    light: LightScene = field(default_factory=LightScene)
    motion: MotionScene = field(default_factory=MotionScene)
    dye: DyeScene = field(default_factory=DyeScene)
    tissue: Annotated[tuple[Tissue, ...], Length(0, 100)] = ()
    vessel: Annotated[tuple[Vessel, ...], Length(0, 100)] = ()
    node: Annotated[tuple[Node, ...], Length(0, 200)] = ()
    mark: Annotated[tuple[Mark, ...], Length(0, 200)] = ()
    title: Annotated[str, Length(0, 200)] = ""

    def __post_init__(self) -> None:
        names = [tissue.name for tissue in self.tissue]
        for name in names:
            if names.count(name) > 1:
                raise ValueError(f"tissue name {name!r} is used {names.count(name)} times")
        if self.dye.reference is not None and self.dye.reference not in names:
            raise ValueError(f"dye.reference {self.dye.reference!r} names no tissue (there are: {', '.join(names)})")
        if self.dye.reference is not None and self.reference_level <= 0:
            raise ValueError(f"level of the reference tissue {self.dye.reference!r} must be above 0")
        for tissue in self.tissue:
            self._check_in_view(f"tissue {tissue.name!r}", tissue.polygon_mm)

    def _check_in_view(self, what: str, points: tuple[Point, ...]) -> None:
        scale = self.optics.mm_per_px
        right, bottom = self.camera.width * scale, self.camera.height * scale
        xs, ys = [x for x, _ in points], [y for _, y in points]
        if max(xs) <= 0 or max(ys) <= 0 or min(xs) >= right or min(ys) >= bottom:
            raise ValueError(f"polygon_mm of {what} lies outside the picture, which is {right:g} x {bottom:g} mm")

    @classmethod
    def load(cls, path: Path) -> Self:
        """Read a scene file; raises Refused naming file and key."""
        return cls.from_values(read_toml(path), str(path))

    @classmethod
    def from_values(cls, values: Mapping[str, Any], source: str) -> Self:
        """Make a scene from parsed TOML; ``source`` names it in errors. Raises Refused."""
        return filled(cls, _with_pairs(values), source)

    @property
    def reference_level(self) -> float:
        """``level`` of the reference tissue, which relative values are relative to; 1 where there is no tissue."""
        if not self.tissue:
            return 1.0
        wanted = self.dye.reference
        return next(tissue.level for tissue in self.tissue if wanted is None or tissue.name == wanted)

    @cached_property
    def electrons_per_s(self) -> float:
        """Electrons a second that level 1 gives at full light in a pixel at the field's centre."""
        if self.light.electrons_per_s is not None:
            return self.light.electrons_per_s
        camera = self.camera
        room_counts = camera.white_level - camera.black_level
        electrons = 0.65 * room_counts / (camera.counts_per_electron * camera.gain)
        return electrons / (camera.set_exposure_us / 1e6)

    @cached_property
    def description(self) -> CameraDescription:
        """The simulated camera's fixed figures."""
        camera = self.camera
        return CameraDescription(
            model="simulated",
            width=camera.width,
            height=camera.height,
            bit_depth=camera.bit_depth,
            black_level=camera.black_level,
            shutter=camera.shutter,
            frame_interval_us=camera.interval_us,
            mm_per_px=self.optics.mm_per_px,
        )


def ready_scenes() -> dict[str, Path]:
    """Scenes that come with the program, by name."""
    return {path.stem: path for path in sorted(READY.glob("*.toml"))}


def scene_path(name_or_path: str) -> Path:
    """A ready scene's file for its name, else the path as given."""
    return ready_scenes().get(name_or_path, Path(name_or_path))


def _with_pairs(values: Mapping[str, Any]) -> dict[str, Any]:
    """Same values, flat x1, y1, x2, y2, ... lists made into pairs (both forms are accepted); anything odd is left to the checks."""
    paired = dict(values)
    for section, key in (("tissue", "polygon_mm"), ("vessel", "path_mm"), ("mark", "path_mm")):
        entries = paired.get(section)
        if isinstance(entries, list):
            paired[section] = [_paired(entry, key) if isinstance(entry, Mapping) else entry for entry in entries]
    return paired


def _paired(entry: Mapping[str, Any], key: str) -> dict[str, Any]:
    numbers = entry.get(key)
    flat = isinstance(numbers, list) and bool(numbers) and all(isinstance(n, int | float) for n in numbers)
    if not flat or numbers is None or len(numbers) % 2:
        return dict(entry)
    return {**entry, key: [list(pair) for pair in zip(numbers[0::2], numbers[1::2], strict=True)]}
