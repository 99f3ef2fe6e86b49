"""Every figure and every flag is defined."""

from pathlib import Path

import shared.inflow
import shared.inflow.reading as reading
from shared.inflow.parameters import InflowParameters

TEXT = (Path(shared.inflow.__file__).parent / "DEFINITIONS.md").read_text()


def test_every_figure_is_defined_once() -> None:
    for name in set(InflowParameters.__annotations__) - {"flags"}:
        assert TEXT.count(f"| `{name}` |") == 1, name


def test_every_flag_is_explained() -> None:
    flags = [value for name, value in vars(reading).items() if name.isupper() and isinstance(value, str)]
    assert len(flags) >= 6
    for flag in flags:
        if flag != reading.TOO_FEW:  # refused before it can be read
            assert f"| {flag.partition(':')[0]}" in TEXT, flag


def test_the_figure_is_there() -> None:
    assert "](definitions.svg)" in TEXT
    assert (Path(shared.inflow.__file__).parent / "definitions.svg").read_text().startswith("<?xml")
