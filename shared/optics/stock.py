"""What comes with the program, by name: published spectra of the dye, estimated sensors, and ready sets of parts."""

from pathlib import Path
from typing import Literal

from shared.errors import Refused

PARTS = Path(__file__).parent / "parts"
Kind = Literal["dyes", "sensors", "ready"]


def stock(kind: Kind) -> dict[str, Path]:
    """Files of a kind, by name."""
    return {path.stem: path for path in sorted((PARTS / kind).glob("*.toml"))}


def stock_path(kind: Kind, name: str) -> Path:
    """The file of a name; raises Refused naming those there are."""
    there = stock(kind)
    if name not in there:
        raise Refused(
            f"nothing of this name among the {kind} that come with the program", name, f"choose {', '.join(there)}"
        )
    return there[name]
