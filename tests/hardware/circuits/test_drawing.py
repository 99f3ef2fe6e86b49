"""Netlist, parts list and drawings say the same: every part with its value, and every line where the netlist has it."""

import tomllib
import xml.etree.ElementTree as ET

import pytest

from hardware.circuits import drawing, parts
from hardware.circuits.netlist import FOLDER, Element, read

BOARD = read()
SECTIONS = dict(zip("3456", "abcd", strict=True))


def sheets():
    return {name: draw(BOARD) for name, draw in drawing.SHEETS.items()}


def test_the_parts_list_is_the_netlists():
    listed = tomllib.loads(parts.PARTS.read_text())["part"]
    assert {part["designator"]: (part["class"], part["value"]) for part in listed} == {
        designator: (part.kind, part.value) for designator, part in BOARD.parts().items()
    }
    assert parts.PARTS.read_text() == parts.text(BOARD)


def test_every_value_has_a_class_and_a_purpose():
    for part in BOARD.parts().values():
        assert part.kind not in ("", "-")
        assert part.purpose


def labels(name):
    """Words of each label in a committed drawing."""
    texts = (element for element in ET.parse(FOLDER / f"{name}.svg").iter() if element.tag.endswith("}text"))
    return [" ".join(part.strip() for part in text.itertext() if part.strip()) for text in texts]


def test_every_part_is_drawn_with_its_value():
    drawn = set()
    for name, sheet in sheets().items():
        words = labels(name)
        for local in sheet.terminals:
            section = local[-1] if local[-1] in "ab" else ""
            for designator in sheet.names(local.removesuffix(section)):
                label = next(label for label in words if designator + section in label.split())
                assert label.endswith(BOARD.parts()[designator].value)
                drawn.add(designator)
    assert drawn == BOARD.parts().keys()


@pytest.mark.parametrize("name", drawing.SHEETS)
def test_the_committed_drawing_is_the_one_the_netlist_gives(tmp_path, name):
    drawing.SHEETS[name](BOARD).save(tmp_path / "again.svg")
    assert (tmp_path / "again.svg").read_text() == (FOLDER / f"{name}.svg").read_text()


@pytest.mark.parametrize("name", drawing.SHEETS)
def test_drawn_lines_join_what_the_netlist_joins(name):
    """Found from the lines alone. Terminals of a net may be in several sheets; here each sheet against its own share."""
    sheet = sheets()[name]
    by_name = {element.name.lstrip("X").removeprefix("RF"): element for element in BOARD.elements}
    for place in sheet.places:
        wires: dict[frozenset[str], set[str]] = {}
        for net in sheet.joined():
            nodes = {_node(terminal, place, by_name) for terminal in net}
            assert len(nodes) == 1, f"{name}: drawn as one, {sorted(net)}, but the netlist has {nodes}"
            wires.setdefault(frozenset(nodes), set()).update(net)
        for node, terminals in wires.items():
            split = [net for net in sheet.joined() if net & terminals]
            assert len(split) == 1, f"{name}: {sorted(node)} is drawn in pieces that no name joins: {split}"


def _node(terminal: str, place: str, by_name: dict[str, Element]) -> str:
    if terminal.startswith("="):
        net = terminal[1:]
        local = {"alive": f"alive{place}", "mark": f"mark_{place}"} if place in ("1", "2") else {}
        return local.get(net, net)
    local_name, index = terminal.split(".")
    if local_name == "U03":
        element = by_name[f"U03{SECTIONS[place]}"]
    elif local_name == "F01":
        element = by_name["01"]
    else:
        element = by_name[f"{local_name[0]}{place}{local_name[1:]}"]
    return element.nodes[int(index)]
