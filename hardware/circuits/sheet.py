"""One sheet of the drawing: symbols labelled from the netlist, and what the drawing itself says is joined to what.

A symbol knows which parts it stands for, so its designators and value are the netlist's. Which terminals the drawn lines join is
worked out from the lines alone, so that the drawing can be compared with the netlist.
"""

from collections.abc import Mapping, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Literal

import schemdraw
import schemdraw.elements as elm
from schemdraw import logic

from hardware.circuits.netlist import Netlist, Value

Point = tuple[float, float]
_TWO = {"resistor": elm.Resistor, "capacitor": elm.Capacitor, "fuse": elm.Fuse, "diode": elm.Diode, "LED": elm.LED}
_NEAR = 0.02


class Sheet:
    """Draws parts between points. ``places`` are those for which the sheet stands: two channels, four strings."""

    def __init__(self, netlist: Netlist, places: Sequence[str] = ("",)) -> None:
        schemdraw.use("svg")
        self._netlist, self.places = netlist, places
        self._values = netlist.parts()
        self._drawing = schemdraw.Drawing(show=False, fontsize=9, unit=2.4, lw=1.2)
        self._lines: list[tuple[Point, Point]] = []
        self._tags: list[tuple[str, Point]] = []
        self.terminals: dict[str, dict[str, Point]] = {}
        """Where each terminal of each drawn part lies, by local name (letters and last two digits)."""

    def two(self, name: str, start: Point, end: Point, *, side: str = "top") -> None:
        """A part with two terminals, in the netlist's order from ``start`` to ``end``."""
        kind = self._value(name).kind
        symbol = next(symbol for word, symbol in _TWO.items() if word in kind)
        drawn = symbol().at(start).to(end)
        self._drawing.add(drawn.label(self._label(name), loc=side, fontsize=8))
        self._place(name, {"0": start, "1": end})

    def fet(self, name: str, drain: Point) -> Mapping[str, Point]:
        """A MOSFET with its gate on the left; an N type hangs from its drain, a P type stands on it."""
        x, y = drain
        p_type = self._value(name).kind.startswith("P")
        symbol = elm.PFet().at((x, y + 1.5)) if p_type else elm.NFet().at(drain)
        self._drawing.add(symbol.right().reverse())
        ends = {"0": drain, "1": (x - 1.37, y + 0.75 if p_type else y - 0.75), "2": (x, y + 1.5 if p_type else y - 1.5)}
        self._text(name, (x + 0.25, y + 0.75 if p_type else y - 0.75), "left")
        return self._place(name, ends)

    def amplifier(self, name: str, plus: Point, *, plus_on_top: bool, label_above: bool = False) -> Mapping[str, Point]:
        """A section of a comparator or amplifier, from its plus input. Supply terminals are not drawn: every package has them."""
        x, y = plus
        middle = y - 0.625 if plus_on_top else y + 0.625
        symbol = elm.Opamp().at((x, middle)).right()
        self._drawing.add(symbol.flip() if plus_on_top else symbol)
        minus = (x, y - 1.25 if plus_on_top else y + 1.25)
        self._text(name, (x + 1.1, middle + 1.6 if label_above else middle - 1.75), "center")
        return self._place(name, {"0": plus, "1": minus, "2": (x + 2.17, middle)})

    def nand(self, name: str, out: Point) -> Mapping[str, Point]:
        """A NAND gate of two inputs, from its output."""
        drawn = self._drawing.add(logic.Nand().anchor("out").at(out).right())
        ends = {"0": drawn.absanchors["in1"], "1": drawn.absanchors["in2"]}
        points = {key: (float(point.x), float(point.y)) for key, point in ends.items()}
        self._text(name, (out[0] - 1.2, out[1] - 1.5), "center")
        return self._place(name, points | {"2": out})

    def reference(self, name: str, cathode: Point, anode: Point) -> None:
        """A shunt reference, drawn as the diode it replaces."""
        self._drawing.add(elm.Zener().at(anode).to(cathode).label(self._label(name), loc="bottom", fontsize=8))
        self._place(name, {"0": cathode, "1": anode})

    def wire(self, *points: Point) -> None:
        """A line through points; it joins what lies on it."""
        for start, end in pairwise(points):
            self._drawing.add(elm.Line().at(start).to(end))
            self._lines.append((start, end))

    def dot(self, *points: Point) -> None:
        """A blob where lines meet."""
        for point in points:
            self._drawing.add(elm.Dot(radius=0.07).at(point))

    def ground(self, *points: Point) -> None:
        """Ground symbols."""
        for point in points:
            self._drawing.add(elm.Ground().at(point))
            self._tags.append(("gnd", point))

    def supply(self, *points: Point) -> None:
        """The ring's supply behind the fuse."""
        for point in points:
            self._drawing.add(elm.Vdd().at(point).label("5 V", fontsize=8))
            self._tags.append(("fused", point))

    def tag(self, net: str, point: Point, *, left: bool = False, says: str = "") -> None:
        """A net's name at the end of a line."""
        flag = elm.Tag(width=1.9).at(point)
        self._drawing.add((flag.left() if left else flag.right()).label(says or net, fontsize=8))
        self._tags.append((net, point))

    def note(self, text: str, point: Point, size: float = 10) -> None:
        """Words beside the drawing."""
        self._drawing.add(elm.Label().at(point).label(text, halign="left", fontsize=size))

    def save(self, path: Path) -> None:
        """Write the sheet as SVG."""
        self._drawing.save(str(path))

    def joined(self) -> set[frozenset[str]]:
        """Nets as drawn: each a set of terminals ("R01.0") and tags ("=wish")."""
        ends = {f"{name}.{key}": point for name, points in self.terminals.items() for key, point in points.items()}
        names = [*ends, *(f"={net}" for net, _point in self._tags)]
        points = [*ends.values(), *(point for _net, point in self._tags)]
        group = list(range(len(points) + len(self._lines)))

        def root(index: int) -> int:
            while group[index] != index:
                index = group[index]
            return index

        for number, (start, end) in enumerate(self._lines):
            line = len(points) + number
            for index, point in enumerate(points):
                if _on(point, start, end):
                    group[root(index)] = root(line)
            for other, (other_start, other_end) in enumerate(self._lines):
                if any(_on(point, start, end) for point in (other_start, other_end)):
                    group[root(len(points) + other)] = root(line)
        for one, point in enumerate(points):
            for other in range(one):
                same_name = names[one].startswith("=") and names[one] == names[other]
                if same_name or _on(point, points[other], points[other]):
                    group[root(one)] = root(other)
        nets: dict[int, set[str]] = {}
        for index, name in enumerate(names):
            nets.setdefault(root(index), set()).add(name)
        return {frozenset(net) for net in nets.values()}

    def names(self, local: str) -> list[str]:
        """Designators a symbol stands for; a package that serves every place has one, and a section a place."""
        placed = [f"{local[0]}{place}{local[1:]}" for place in self.places]
        return placed if placed[0] in self._values else [local]

    def _value(self, name: str) -> Value:
        return self._values[self.names(name.rstrip("ab"))[0]]

    def _label(self, name: str) -> str:
        section = name[-1] if name[-1] in "ab" else ""
        names = [designator + section for designator in self.names(name.rstrip("ab"))]
        rows = [" ".join(names[at : at + 2]) for at in range(0, len(names), 2)]
        if len(names) < len(self.places):
            rows = [f"{names[0]} (a to {'abcd'[len(self.places) - 1]})"]
        part = self._value(name)
        return "\n".join([*rows, *([part.kind] if name[0] == "U" else []), part.value])

    def _text(self, name: str, point: Point, align: Literal["left", "center"]) -> None:
        self._drawing.add(elm.Label().at(point).label(self._label(name), halign=align, fontsize=8))

    def _place(self, name: str, ends: dict[str, Point]) -> Mapping[str, Point]:
        if name in self.terminals:
            raise ValueError(f"{name} is drawn twice")
        self.terminals[name] = ends
        return ends


def _on(point: Point, start: Point, end: Point) -> bool:
    """Whether a point lies on an upright or level line."""
    low_x, high_x = sorted((start[0], end[0]))
    low_y, high_y = sorted((start[1], end[1]))
    return low_x - _NEAR <= point[0] <= high_x + _NEAR and low_y - _NEAR <= point[1] <= high_y + _NEAR
