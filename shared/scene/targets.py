"""The targets of commissioning before a scene's own camera, lens and ring: what a builder puts there by hand.

Each is the same scene with the patient taken away: sensor, noise, vignetting, light and leakage stay, so that what is measured on
a target holds for the patient. Nothing moves. The dye card glows at level 1 all over; sizes are those of ``tapetum target``.
"""

import math
from dataclasses import replace

from shared.commissioning.sheet import DOT_MM, EDGE_DEG, WELL_MM, dot_places_mm, well_places_mm
from shared.protocol.control import Target
from shared.scene.description import (
    DyeScene,
    LightScene,
    Mark,
    MotionScene,
    OpticsScene,
    Point,
    Scene,
    SurfaceScene,
    Tissue,
)

ROOM_LIGHT_LEAKAGE = 0.5
"""A printed sheet is seen by light that the filter lets through, taken to be half as bright as the dye card."""
DILUTIONS = (0.0, 0.05, 0.1, 0.2, 0.4, 0.6, 0.8, 1.0)
"""Concentrations of the simulated row, micromole a litre; the glow is proportional to them, 0.9 at the strongest."""
MOST_DOTS = 195
"""A scene has no more than 200 marks."""
EDGE_SIGMA_PX = 0.8
"""Blur of the simulated lens at the edge, Gaussian."""


def with_target(scene: Scene, target: Target) -> Scene:
    """The scene with ``target`` in the patient's place; "patient" is the scene itself."""
    if target == "patient":
        return scene
    optics = replace(scene.optics, scatter_mm=0.0)
    tissue: tuple[Tissue, ...] = ()
    mark: tuple[Mark, ...] = ()
    if target == "cap":
        optics = replace(optics, leakage=0.0, ambient=0.0)
    elif target == "check box":
        optics = replace(optics, ambient=0.0)
    elif target == "dye card":
        tissue = (_sheet(scene, "dye card", 1.0),)
    elif target == "dot grid":
        optics = replace(optics, leakage=ROOM_LIGHT_LEAKAGE)
        tissue, mark = (_sheet(scene, "paper", 0.0),), _dots(scene)
    elif target == "slanted edge":
        optics = replace(optics, scatter_mm=EDGE_SIGMA_PX * optics.mm_per_px)
        tissue = (_sheet(scene, "dark side", 0.1), _edge(scene))
    elif target == "dilution row":
        tissue = _wells(scene)
    return _bare(scene, optics, tissue, mark)


def _bare(scene: Scene, optics: OpticsScene, tissue: tuple[Tissue, ...], mark: tuple[Mark, ...]) -> Scene:
    light: LightScene = replace(scene.light, electrons_per_s=scene.electrons_per_s)
    return replace(
        scene,
        optics=optics,
        surface=SurfaceScene(texture=0.0, drape_reflectance=1.0, mottle=0.0),
        light=light,
        motion=MotionScene(),
        dye=DyeScene(),
        tissue=tissue,
        vessel=(),
        node=(),
        mark=mark,
    )


def _size_mm(scene: Scene) -> tuple[float, float]:
    return scene.camera.width * scene.optics.mm_per_px, scene.camera.height * scene.optics.mm_per_px


def _sheet(scene: Scene, name: str, level: float) -> Tissue:
    """All over the picture and well beyond, so that a lens's distortion shows no rim."""
    right, down = _size_mm(scene)
    corners: tuple[Point, ...] = (
        (-0.3 * right, -0.3 * down),
        (1.3 * right, -0.3 * down),
        (1.3 * right, 1.3 * down),
        (-0.3 * right, 1.3 * down),
    )
    return Tissue(name, corners, level=level, steady=True)


def _edge(scene: Scene) -> Tissue:
    """The right half, its edge leaning by EDGE_DEG through the middle."""
    right, down = _size_mm(scene)
    lean = math.tan(math.radians(EDGE_DEG)) * down
    corners: tuple[Point, ...] = (
        (right / 2 + 0.8 * lean, -0.3 * down),
        (1.3 * right, -0.3 * down),
        (1.3 * right, 1.3 * down),
        (right / 2 - 0.8 * lean, 1.3 * down),
    )
    return Tissue("bright side", corners, level=1.0, steady=True)


def _dots(scene: Scene) -> tuple[Mark, ...]:
    right, down = _size_mm(scene)
    return tuple(
        Mark(((right / 2 + x - 0.01, down / 2 + y), (right / 2 + x + 0.01, down / 2 + y)), DOT_MM, 0.05)
        for x, y in dot_places_mm(right, down, MOST_DOTS)
    )


def _wells(scene: Scene) -> tuple[Tissue, ...]:
    right, down = _size_mm(scene)
    half = WELL_MM / 2
    circle = [(half * math.cos(math.tau * step / 32), half * math.sin(math.tau * step / 32)) for step in range(32)]
    return tuple(
        Tissue(
            f"well {number}",
            tuple((right / 2 + x + dx, down / 2 + y + dy) for dx, dy in circle),
            level=0.9 * concentration,
            steady=True,
        )
        for number, ((x, y), concentration) in enumerate(zip(well_places_mm(), DILUTIONS, strict=True), start=1)
    )
