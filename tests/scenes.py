"""The scene that tests see: two tissues side by side, the base and the tip, which is the weaker and the later one."""

import json
from collections.abc import Mapping
from typing import Any

BASE: dict[str, Any] = {"arrival_s": 12.0, "alpha": 3.0, "beta": 3.0, "level": 1.0}
TIP: dict[str, Any] = {"arrival_s": 17.0, "alpha": 2.5, "beta": 5.0, "level": 0.35}


def two_halves(
    width: int,
    height: int,
    mm_per_px: float,
    base: Mapping[str, Any] = BASE,
    tip: Mapping[str, Any] = TIP,
    gap_mm: float = 0.0,
    **sections: Mapping[str, Any] | list[Mapping[str, Any]] | str,
) -> dict[str, Any]:
    """Values of a scene file: base left, tip right, ``gap_mm`` of no tissue between; ``sections`` are laid over it."""
    across, down = width * mm_per_px, height * mm_per_px
    left, right = (across - gap_mm) / 2.0, (across + gap_mm) / 2.0
    scene: dict[str, Any] = {
        "camera": {"width": width, "height": height},
        "optics": {"mm_per_px": mm_per_px},
        "dye": {"reference": "base"},
        "tissue": [
            {"name": "base", "polygon_mm": [[0, 0], [left, 0], [left, down], [0, down]], **base},
            {"name": "tip", "polygon_mm": [[right, 0], [across, 0], [across, down], [right, down]], **tip},
        ],
    }
    for name, section in sections.items():
        known = scene.get(name)
        scene[name] = {**known, **section} if isinstance(known, dict) and isinstance(section, Mapping) else section
    return scene


def as_toml(scene: Mapping[str, Any]) -> str:
    """The text of a scene file; numbers, texts and lists are written in TOML as in JSON."""
    lines = [f"{key} = {json.dumps(value)}" for key, value in scene.items() if isinstance(value, str)]
    for name, section in scene.items():
        tables = [section] if isinstance(section, Mapping) else section if isinstance(section, list) else []
        head = f"[{name}]" if isinstance(section, Mapping) else f"[[{name}]]"
        for table in tables:
            lines += [head, *(f"{key} = {json.dumps(value)}" for key, value in table.items())]
    return "\n".join(lines) + "\n"
