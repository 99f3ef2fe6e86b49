"""Reading ``hardware/hazards.md``: one row a hazard, and what proves its control."""

import re
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
TABLE = ROOT / "hardware" / "hazards.md"
_TEST = re.compile(r"`(tests/[\w/]+\.py)::(\w+)`")


@dataclass(frozen=True)
class Hazard:
    """A row; ``tests`` are (file, function), ``step`` a step of ASSEMBLY.md, ``untested`` the words after "none:"."""

    number: int
    hazard: str
    cause: str
    control: str
    proof: str

    @property
    def tests(self) -> tuple[tuple[str, str], ...]:
        return tuple(_TEST.findall(self.proof))

    @property
    def steps(self) -> tuple[int, ...]:
        return tuple(map(int, re.findall(r"ASSEMBLY\.md step (\d+)", self.proof)))

    @property
    def untested(self) -> str:
        return self.proof.removeprefix("none: ") if self.proof.startswith("none: ") else ""


def hazards(text: str | None = None) -> list[Hazard]:
    """Every row of the table, in order."""
    rows = [line for line in (TABLE.read_text() if text is None else text).splitlines() if re.match(r"\| \d", line)]
    cells = [[cell.strip() for cell in row.strip("| ").split(" | ")] for row in rows]
    return [Hazard(int(number), *rest) for number, *rest in cells]
