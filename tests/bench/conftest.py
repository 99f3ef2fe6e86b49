"""A small scene of known levels, and a demo that runs on it."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.bench.running_demo import Demo, running_demo
from tests.scenes import as_toml, two_halves
from tests.web_ui.browser.conftest import opened, tablets  # noqa: F401 - fixtures

SCENE = as_toml(
    two_halves(
        728,
        544,
        0.25,
        {"arrival_s": 0.4, "alpha": 2.0, "beta": 0.5, "level": 1.0},
        {"arrival_s": 0.8, "alpha": 2.0, "beta": 0.7, "level": 0.35},
        title="Two halves on the harbour-town clinic's bench",
        camera={"fps": 30.0},
        optics={"vignetting": 0.2, "leakage": 0.05, "ambient": 0.01},
        dye={"half_life_s": 60.0, "recirculation": 0.6},
    )
)
"""The tip's peak is 35 % of the base's, and comes later: the relative value changes from moment to moment."""

BASE, TIP = "base:100,200,80,80", "tip:500,200,80,80"

SETTINGS = "[picture]\nsteadying = 0.0\n[recording]\nleast_free_mb = 50\n"
"""No steadying: a value is that of its own frame and can be compared with the truth of that moment."""


@pytest.fixture(scope="session")
def scene_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("scene") / "halves.toml"
    file.write_text(SCENE)
    return file


@pytest.fixture(scope="session")
def settings_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("settings") / "settings.toml"
    file.write_text(SETTINGS)
    return file


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory, scene_file: Path, settings_file: Path) -> Iterator[Demo]:
    """A demo for all tests of a file."""
    folder = tmp_path_factory.mktemp("demo")
    with running_demo(folder, "--scene", str(scene_file), "--settings", str(settings_file)) as running:
        yield running
