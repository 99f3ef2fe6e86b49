"""How the kernels of the maps are compiled: a change in any file of the maps makes all of them stale."""

from pathlib import Path

from shared.lanes import compiler

_SOURCES = sorted(Path(__file__).parent.glob("maps*.py"))

compiled = compiler(*_SOURCES)
summing = compiler(*_SOURCES, reorder=True)
