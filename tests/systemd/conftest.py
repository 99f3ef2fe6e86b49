"""The units as they land on a handheld, below a folder instead of ``/``."""

import subprocess
from dataclasses import dataclass
from pathlib import Path

import pytest

SYSTEMD = Path(__file__).parents[2] / "systemd"
PROCESSES = ("light", "imager", "web")


@dataclass(frozen=True)
class Unit:
    """``(section, key, value)`` in order; a key may come several times, as systemd allows."""

    lines: tuple[tuple[str, str, str], ...]

    @classmethod
    def read(cls, path: Path) -> "Unit":
        section, lines = "", []
        for line in path.read_text().splitlines():
            if line.startswith("["):
                section = line.strip("[]")
            elif line and not line.startswith("#"):
                key, _, value = line.partition("=")
                lines.append((section, key, value))
        return cls(tuple(lines))

    def all(self, key: str) -> list[str]:
        return [value for _, name, value in self.lines if name == key]

    def one(self, key: str) -> str:
        (value,) = self.all(key)
        return value

    @property
    def groups(self) -> set[str]:
        return {self.one("Group"), *self.one("SupplementaryGroups").split()}


def install(root: Path, *more: str) -> subprocess.CompletedProcess[str]:
    command = [str(SYSTEMD / "install.sh"), "--root", str(root), "--files-only", *more]
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)


@pytest.fixture
def units() -> dict[str, Unit]:
    return {name: Unit.read(SYSTEMD / f"tapetum-{name}.service") for name in PROCESSES}


@pytest.fixture
def installed(tmp_path: Path) -> Path:
    root = tmp_path / "root"
    root.mkdir()
    done = install(root)
    assert done.returncode == 0, done.stderr
    python = root / "opt/tapetum/venv/bin/python"
    python.parent.mkdir(parents=True)
    python.write_text("#!/bin/sh\n")
    python.chmod(0o755)
    return root
