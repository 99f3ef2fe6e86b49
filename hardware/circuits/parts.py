"""Writes parts.toml, the circuit's parts by designator, from the netlist: ``python -m hardware.circuits.parts``."""

from pathlib import Path

from hardware.circuits.netlist import FOLDER, Netlist, read

PARTS = FOLDER / "parts.toml"
_HEAD = """\
# Parts of the ring's driver by designator. Made from ring_driver.cir by `python -m hardware.circuits.parts`; do not edit.
# class: what to buy. value: as in the netlist. tolerance: empty where the class has none. sheet: where it stands in the drawing.
"""
_SHEETS = {"1": "dead-man, channel 1", "2": "dead-man, channel 2"} | {place: f"string {place}" for place in "3456"}


def text(netlist: Netlist) -> str:
    """The file's text, one table a part."""
    tables = [_HEAD]
    for designator, part in sorted(netlist.parts().items(), key=lambda item: (item[0][0], len(item[0]), item[0])):
        place = designator[1:-2]
        tables.append(
            f'[[part]]\ndesignator = "{designator}"\nclass = "{part.kind}"\nvalue = "{part.value}"\n'
            f'tolerance = "{part.tolerance.strip("-")}"\nsheet = "{_SHEETS.get(place, "lines, switches and wish")}"\n'
        )
    return "\n".join(tables)


def write(path: Path = PARTS) -> None:
    """Write it anew."""
    path.write_text(text(read()))


if __name__ == "__main__":
    write()
