"""The ring's driver as its netlist says it: every part with designator, wires, class, value and tolerance.

The netlist is the one source. Parts list (``parts.toml``), drawing and simulated faults are made from what is read here.
"""

import re
from dataclasses import dataclass
from pathlib import Path

FOLDER = Path(__file__).parent
NETLIST = FOLDER / "ring_driver.cir"
DEVICES = FOLDER / "devices.lib"

_PARAM = re.compile(r"\.param (\w+) = (\S+)\s*;\s*(.+)")
_DEVICE = re.compile(r"\*part (\w+)\s*;\s*(.+)")
_ELEMENT = re.compile(r"(RF|XQ|XU|R|C|D)(\d\d)([a-d]?)$")
_DESIGNATORS = {"RF": "F", "XQ": "Q", "XU": "U", "R": "R", "C": "C", "D": "D"}


@dataclass(frozen=True)
class Value:
    """What the head of the netlist says of a value or a device. ``tolerance`` is empty where the class has none."""

    kind: str
    value: str
    tolerance: str
    purpose: str


@dataclass(frozen=True)
class Element:
    """One line of the flat netlist. A package of several sections has one element a section (U101a, U101b)."""

    name: str
    designator: str
    nodes: tuple[str, ...]
    rest: str

    @property
    def key(self) -> str:
        """Name of the value or device in the netlist's head."""
        braced = re.match(r"\{(\w+)\}$", self.rest)
        return braced.group(1) if braced else self.rest.split()[0]

    @property
    def line(self) -> str:
        """As ngspice reads it."""
        return " ".join((self.name, *self.nodes, self.rest))


@dataclass(frozen=True)
class Netlist:
    """Parts and ``.param`` numbers of the head, by name, and elements of the whole board, sub-circuits written out."""

    values: dict[str, Value]
    numbers: dict[str, str]
    elements: tuple[Element, ...]

    def parts(self) -> dict[str, Value]:
        """Every part to be bought, by designator."""
        return {element.designator: self.values[element.key] for element in self.elements}


def read(path: Path = NETLIST) -> Netlist:
    """Read the netlist, its sub-circuits written out. Raises ValueError at a line that follows none of its forms."""
    values: dict[str, Value] = {}
    numbers: dict[str, str] = {}
    bodies: dict[str, list[str]] = {"": []}
    ports: dict[str, list[str]] = {}
    inside = ""
    for line in path.read_text().splitlines():
        if found := _PARAM.match(line):
            kind, tolerance, purpose = (word.strip() for word in found.group(3).split("|"))
            numbers[found.group(1)] = found.group(2)
            values[found.group(1)] = Value(kind, found.group(2), tolerance, purpose)
        elif found := _DEVICE.match(line):
            kind, value, purpose = (word.strip() for word in found.group(2).split("|"))
            values[found.group(1)] = Value(kind, value, "", purpose)
        elif line.startswith(".subckt"):
            _, inside, *ports[inside] = line.split()
            bodies[inside] = []
        elif line.startswith(".ends"):
            inside = ""
        elif line and not line.startswith("*"):
            bodies[inside].append(line)
    return Netlist(values, numbers, tuple(_written_out(bodies, ports)))


def _written_out(bodies: dict[str, list[str]], ports: dict[str, list[str]]) -> list[Element]:
    elements: list[Element] = []
    for line in bodies[""]:
        name, *words = line.split()
        if name.startswith("X") and words[-1] in ports:
            place, kind = name[1:], words[-1]
            wires = dict(zip(ports[kind], words[:-1], strict=True)) | {"gnd": "gnd"}
            elements += [_element(inner, place, wires) for inner in bodies[kind]]
        else:
            elements.append(_element(line, "", {}))
    return elements


def _element(line: str, place: str, wires: dict[str, str]) -> Element:
    name, *words = line.split()
    found = _ELEMENT.match(name)
    if found is None:
        raise ValueError(f"{name}: a part is R, C, D, RF, XQ or XU and two digits")
    letters, digits, section = found.groups()
    count = _terminals(letters, words)
    nodes = tuple(wires.get(node, f"{node}_{place}" if place else node) for node in words[:count])
    designator = f"{_DESIGNATORS[letters]}{place}{digits}"
    return Element(f"{letters}{place}{digits}{section}", designator, nodes, " ".join(words[count:]))


def _terminals(letters: str, words: list[str]) -> int:
    """How many words are wires: two, or all before the device's name."""
    return len([word for word in words if "=" not in word]) - 1 if letters.startswith("X") else 2
