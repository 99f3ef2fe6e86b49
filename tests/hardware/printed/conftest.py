"""Printed parts, rendered once for all tests that measure them."""

from pathlib import Path

import pytest
import trimesh

from hardware.printed.render import PARTS, RING, definitions, render
from shared.optics.ring import read_ring

FINENESS = 32
"""Straight pieces a circle: a multiple of 8, so that the outermost points of every circle lie on it and can be measured."""

CLIP_FINENESS = 96
"""The drape clip is measured from inside, on its flats."""


@pytest.fixture(scope="session")
def parts(tmp_path_factory: pytest.TempPathFactory) -> dict[str, trimesh.Trimesh]:
    """Every part as it lies on the printer's bed."""
    folder: Path = tmp_path_factory.mktemp("printed")
    for part in PARTS:
        fineness = CLIP_FINENESS if part == "drape_clip" else FINENESS
        render(part, folder / f"{part}.stl", definitions(read_ring(RING), fineness, {}))
    return {part: trimesh.load_mesh(folder / f"{part}.stl") for part in PARTS}
