"""A stage in a process of its own: no heap is that of another stage, and no library counts as shared with the demo whose memory is
measured.
"""

import importlib
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context


def rows_of(name: str) -> list[dict[str, object]]:
    """Rows of the module of that name here; what it raises is raised."""
    with ProcessPoolExecutor(1, get_context("spawn")) as alone:
        return alone.submit(_rows, name).result()


def _rows(name: str) -> list[dict[str, object]]:
    found: list[dict[str, object]] = importlib.import_module(f"tests.perf.{name}").rows()
    return found
