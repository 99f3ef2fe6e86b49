from typing import Any

import pytest

from shared.scene.description import Scene
from tests.scenes import two_halves

SMALL = two_halves(
    160,
    128,
    0.5,
    {"arrival_s": 5.0, "alpha": 3.0, "beta": 1.5},
    {"arrival_s": 9.0, "alpha": 2.0, "beta": 3.0, "level": 0.35},
    camera={"noise": {"hot_pixels": 0}},
    dye={"injected_at_s": 1.0},
)


def merged(base: dict[str, Any], changes: dict[str, Any]) -> dict[str, Any]:
    result = dict(base)
    for key, value in changes.items():
        both = isinstance(value, dict) and isinstance(result.get(key), dict)
        result[key] = merged(result[key], value) if both else value
    return result


@pytest.fixture
def small_scene():
    """Make a small scene of two tissues, with changes laid over it section by section."""

    def make(**changes: Any) -> Scene:
        return Scene.from_values(merged(SMALL, changes), "small.toml")

    return make
