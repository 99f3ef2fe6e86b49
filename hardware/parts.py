"""``python -m hardware.parts``: what to buy, how many, and about what it costs.

``parts.csv`` names classes and what matters of them, no makers. A quantity is a number, or ``ring`` (one an LED of
``ring.toml``), or ``circuit`` (as many as the driver's parts list in ``circuits/`` has of that class or narrower ones), so that no
number is written twice. Prices are estimates in euros of 2026, from memory, of single pieces.
"""

import argparse
import csv
import json
import sys
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from shared.bounded import read_toml
from shared.errors import Refused
from shared.optics.ring import read_ring

HERE = Path(__file__).resolve().parent
PARTS = HERE / "parts.csv"
RING = HERE / "ring.toml"
CIRCUIT = HERE / "circuits" / "parts.toml"
COLUMNS = ("name", "class", "parameters", "quantity", "each_eur_estimate_2026", "optional")


@dataclass(frozen=True)
class Part:
    """One line of the list. ``parameters`` are what the budget and the drawings read, by name with unit."""

    name: str
    part_class: str
    parameters: Mapping[str, float]
    quantity: int
    each_eur: float
    optional: bool

    @property
    def eur(self) -> float:
        """All pieces of the line."""
        return self.quantity * self.each_eur

    def number(self, name: str) -> float:
        """A parameter; raises Refused naming the part."""
        if name not in self.parameters:
            raise Refused(f"{PARTS}: {self.name} has no parameter", name, "add it, as name=value")
        return self.parameters[name]


def circuit_counts(classes: Iterable[str], path: Path = CIRCUIT) -> Counter[str]:
    """How many the ring's driver has of each class; a narrower class ("resistor, 1 W") counts for itself where it has a line.

    LEDs are the ring's. Raises Refused for a part of the circuit whose class has no line.
    """
    counts: Counter[str] = Counter()
    for part in read_toml(path)["part"]:
        fitting = [one for one in classes if part["class"].startswith(one)]
        if fitting:
            counts[max(fitting, key=len)] += 1
        elif not part["class"].startswith("LED"):
            raise Refused(f"{path}: {part['designator']} has no line in parts.csv", part["class"], "add one")
    return counts


def read_parts(path: Path = PARTS) -> dict[str, Part]:
    """Every line by name; raises Refused naming file, line and column."""
    if not path.is_file():
        raise Refused("no such file", str(path), "run this in the project's own folder")
    with path.open(encoding="utf-8", newline="") as file:
        reader = csv.DictReader(file)
        if tuple(reader.fieldnames or ()) != COLUMNS:
            raise Refused(f"{path}: columns", reader.fieldnames, f"expected {', '.join(COLUMNS)}")
        rows = [(f"{path}, line {reader.line_num}", row) for row in reader]
    of_circuit = [str(row["class"]) for _, row in rows if row["quantity"] == "circuit"]
    counts = {"ring": read_ring(RING).leds, **circuit_counts(of_circuit)}
    found: dict[str, Part] = {}
    for where, row in rows:
        part = _part(row, counts, where)
        if part.name in found:
            raise Refused(f"{where}: a second line for", part.name, "add to its quantity")
        found[part.name] = part
    return found


def total_eur(parts: Mapping[str, Part], *, optional: bool) -> float:
    """Sum of the list, with or without what may be left out."""
    return sum(part.eur for part in parts.values() if optional or not part.optional)


def _part(row: Mapping[str | None, str | None], counts: Mapping[str, int], where: str) -> Part:
    if None in row or None in row.values():
        raise Refused(f"{where}: not {len(COLUMNS)} columns", remedy="put text with commas in quotes")
    text = {str(key): str(value) for key, value in row.items()}
    if text["optional"] not in ("yes", "no"):
        raise Refused(f"{where}: optional is not yes or no", text["optional"], "write one of them")
    parameters = [item.partition("=") for item in text["parameters"].split("; ") if item]
    return Part(
        name=text["name"],
        part_class=text["class"],
        parameters={name: _number(value, f"{where}: {name}") for name, _, value in parameters},
        quantity=_quantity(text, counts, where),
        each_eur=_number(text["each_eur_estimate_2026"], f"{where}: price"),
        optional=text["optional"] == "yes",
    )


def _quantity(text: Mapping[str, str], counts: Mapping[str, int], where: str) -> int:
    wanted = text["quantity"]
    if wanted == "ring":
        return counts["ring"]
    if wanted == "circuit":
        if text["class"] not in counts:
            raise Refused(f"{where}: the circuit has no", text["class"], "see circuits/parts.toml")
        return counts[text["class"]]
    number = _number(wanted, f"{where}: quantity")
    if number < 1 or number != int(number):
        raise Refused(f"{where}: quantity", wanted, "write a whole number, ring or circuit")
    return int(number)


def _number(text: str, where: str) -> float:
    try:
        number = float(text)
    except ValueError:
        raise Refused(f"{where} is not a number", text, "write one, with a point") from None
    if not 0 <= number < 1e6:
        raise Refused(f"{where} is out of range", text, "write a number from 0 to 1000000")
    return number


def main(arguments: list[str] | None = None) -> int:
    """Print the list with its totals."""
    parser = argparse.ArgumentParser(prog="python -m hardware.parts", description="What to buy for one handheld.")
    parser.add_argument("--json", action="store_true", help="for machines")
    options = parser.parse_args(arguments)
    try:
        parts = read_parts()
    except Refused as refused:
        print(refused.line, file=sys.stderr)
        return 2
    least, most = (round(total_eur(parts, optional=optional), 2) for optional in (False, True))
    if options.json:
        lines = [
            {"name": p.name, "class": p.part_class, "quantity": p.quantity, "estimate_eur_2026": round(p.eur, 2)}
            for p in parts.values()
        ]
        print(json.dumps({"parts": lines, "estimate_eur_2026": least, "estimate_eur_2026_with_optional": most}))
        return 0
    for part in parts.values():
        figures = ", ".join(f"{name} {value:g}" for name, value in part.parameters.items())
        print(
            f"{part.quantity:4d}  {part.part_class}{' (optional)' if part.optional else ''}{f'  [{figures}]' if figures else ''}"
        )
    print(
        f"about {least:.0f} euros of 2026, {most:.0f} with everything optional: estimates from memory, single pieces, without tax"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
