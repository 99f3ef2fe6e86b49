"""Draws the ring's driver, three sheets as SVG, from the netlist: ``python -m hardware.circuits.drawing``."""

from collections.abc import Callable
from pathlib import Path

from hardware.circuits.netlist import FOLDER, Netlist, read
from hardware.circuits.sheet import Sheet


def board(netlist: Netlist) -> Sheet:
    """Supply, lines from the board, the two switches, and what the strings are asked for."""
    sheet = Sheet(netlist)
    sheet.note(
        "Ring driver: supply, lines, the two channels' switches, and what the strings are asked for", (0, 4.2), 12
    )

    sheet.tag("v5", (0, 2), left=True, says="5 V in")
    sheet.two("F01", (0, 2), (3, 2))
    sheet.wire((3, 2), (11, 2))
    sheet.supply((11, 2))
    for number, name in enumerate(("C01", "C02", "C03")):
        x = 4 + 2.6 * number
        sheet.two(name, (x, 2), (x, -0.2), side="bottom")
        sheet.ground((x, -0.2))
        sheet.dot((x, 2))

    for row, (line, net, series, down) in enumerate(
        (("heartbeat", "beat", "R01", "R02"), ("enable", "enabled", "R03", "R04"), ("pulses", "pulsing", "R05", "R06"))
    ):
        y = -3.5 - 3.6 * row
        sheet.tag(line, (0, y), left=True)
        sheet.two(series, (0, y), (3, y))
        sheet.wire((3, y), (5, y))
        sheet.tag(net, (5, y))
        sheet.two(down, (3.5, y), (3.5, y - 2.2), side="bottom")
        sheet.ground((3.5, y - 2.2))
        sheet.dot((3.5, y))

    sheet.note("Channel 1 takes the strings' supply away", (10.5, -0.2))
    _switch(sheet, "alive1", "R07", "Q01", (15, -4.5))
    sheet.wire((15, -4.5), (15, -5.2), (17, -5.2))
    sheet.tag("supply", (17, -5.2))

    sheet.note("Channel 2 takes away what the strings are asked for", (10.5, -6.4))
    _switch(sheet, "alive2", "R08", "Q02", (15, -10.3))
    sheet.wire((15, -10.3), (15, -11))
    sheet.two("R09", (15, -11), (18, -11))
    sheet.wire((18, -11), (19, -11))
    sheet.reference("U01", (18.5, -11), (18.5, -13.2))
    sheet.ground((18.5, -13.2))
    sheet.two("R10", (19, -11), (22, -11))
    sheet.wire((22, -11), (27, -11))
    for name, x in (("R11", 22.5), ("R13", 24.3)):
        sheet.two(name, (x, -11), (x, -13.2), side="bottom")
        sheet.ground((x, -13.2))
        sheet.dot((x, -11))
    sheet.tag("wish", (27, -11))
    sheet.dot((18.5, -11), (26, -11))

    sheet.note("Enable and pulses together lift the clamp", (10.5, -14.4))
    gate = sheet.nand("U02", (16, -17))
    sheet.wire((14, gate["0"][1]), gate["0"])
    sheet.wire((14, gate["1"][1] - 0.6), (14, gate["1"][1]), gate["1"])
    sheet.wire((14, gate["0"][1]), (14, gate["0"][1] + 0.6))
    sheet.tag("enabled", (14, gate["0"][1] + 0.6), left=True)
    sheet.tag("pulsing", (14, gate["1"][1] - 0.6), left=True)
    sheet.two("R12", (19, -14.5), (19, -17), side="bottom")
    sheet.supply((19, -14.5))
    clamp = sheet.fet("Q03", (26, -16.25))
    sheet.wire((16, -17), clamp["1"])
    sheet.wire((26, -11), (26, -16.25))
    sheet.ground(clamp["2"])
    sheet.dot((19, -17))
    return sheet


def _switch(sheet: Sheet, alive: str, pull_up: str, fet: str, drain: tuple[float, float]) -> None:
    x, y = drain
    ends = sheet.fet(fet, drain)
    gate_x, gate_y = ends["1"]
    sheet.wire((gate_x - 2.2, gate_y), (gate_x, gate_y))
    sheet.tag(alive, (gate_x - 2.2, gate_y), left=True)
    sheet.two(pull_up, (gate_x - 0.8, gate_y + 2.2), (gate_x - 0.8, gate_y), side="bottom")
    sheet.wire((gate_x - 0.8, gate_y + 2.2), (x, gate_y + 2.2), (x, y + 1.5))
    sheet.supply((x, gate_y + 2.2))
    sheet.dot((gate_x - 0.8, gate_y))


def dead_man(netlist: Netlist) -> Sheet:
    """One channel of the dead-man; both are built alike."""
    sheet = Sheet(netlist, ("1", "2"))
    sheet.note("Dead-man, channel 1 and channel 2 alike: alive is pulled low only while edges come", (0, 5), 12)

    sheet.tag("beat", (0, 0), left=True)
    sheet.two("R01", (0, 0), (3, 0))
    sheet.two("C01", (3, 0), (3, -2.4), side="bottom")
    sheet.ground((3, -2.4))
    sheet.two("R02", (3, 0), (6.4, 0))
    slicer = sheet.amplifier("U01a", (7.6, 0), plus_on_top=True)
    sheet.wire((6.4, 0), (7.6, 0))
    out_x, out_y = slicer["2"]
    sheet.wire((6.9, 0), (6.9, 2.4))
    sheet.two("R03", (6.9, 2.4), (10.6, 2.4))
    sheet.wire((10.6, 2.4), (10.6, out_y))
    sheet.wire(slicer["1"], (6.6, slicer["1"][1]))
    sheet.tag("mark", (6.6, slicer["1"][1]), left=True)
    sheet.dot((3, 0), (6.9, 0), (10.6, out_y), (12.2, out_y))

    sheet.wire((out_x, out_y), (13.2, out_y))
    sheet.two("R04", (12.2, out_y + 3), (12.2, out_y), side="bottom")
    sheet.supply((12.2, out_y + 3))
    _pump(sheet, (13.2, out_y), ("R06", "C02", "D01", "D02"))

    turned_y = -7.2
    turner = sheet.fet("Q01", (12.2, turned_y))
    sheet.wire((10.6, out_y), (10.6, turner["1"][1]), turner["1"])
    sheet.ground(turner["2"])
    sheet.two("R05", (12.2, turned_y + 2.6), (12.2, turned_y), side="bottom")
    sheet.supply((12.2, turned_y + 2.6))
    sheet.wire((12.2, turned_y), (13.2, turned_y))
    sheet.dot((12.2, turned_y))
    _pump(sheet, (13.2, turned_y), ("R07", "C03", "D03", "D04"))

    held_x = 22.6
    sheet.wire((held_x, out_y), (held_x, turned_y))
    held_y = out_y - 2.2
    sheet.wire((held_x, held_y), (29, held_y))
    for name, x in (("C04", 23.6), ("R08", 25.9)):
        sheet.two(name, (x, held_y), (x, held_y - 2.4), side="bottom")
        sheet.ground((x, held_y - 2.4))
        sheet.dot((x, held_y))
    sheet.dot((held_x, held_y))

    judge = sheet.amplifier("U01b", (29, held_y - 1.25), plus_on_top=False)
    alive_x, alive_y = judge["2"]
    mark_y = judge["0"][1]
    sheet.wire(judge["0"], (28, mark_y), (28, mark_y - 1.6), (33.4, mark_y - 1.6))
    sheet.two("R09", (28, mark_y + 6), (28, mark_y + 3.4), side="top")
    sheet.supply((28, mark_y + 6))
    sheet.tag("mark", (28, mark_y + 3.4), left=True)
    sheet.two("R10", (28, mark_y - 1.6), (28, mark_y - 4.2), side="bottom")
    sheet.ground((28, mark_y - 4.2))
    sheet.tag("mark", (33.4, mark_y - 1.6))
    sheet.wire((alive_x, alive_y), (33.4, alive_y))
    sheet.two("R11", (32.2, alive_y), (32.2, mark_y - 1.6), side="bottom")
    sheet.tag("alive", (33.4, alive_y))
    sheet.dot((28, mark_y - 1.6), (32.2, alive_y), (32.2, mark_y - 1.6))

    sheet.two("C05", (2, -6), (2, -8.4), side="bottom")
    sheet.supply((2, -6))
    sheet.ground((2, -8.4))
    return sheet


def _pump(sheet: Sheet, start: tuple[float, float], names: tuple[str, str, str, str]) -> None:
    x, y = start
    series, pump, clamp, feed = names
    sheet.two(series, (x, y), (x + 3, y))
    sheet.two(pump, (x + 3, y), (x + 6, y))
    sheet.two(clamp, (x + 6, y - 2.4), (x + 6, y), side="bottom")
    sheet.ground((x + 6, y - 2.4))
    sheet.two(feed, (x + 6, y), (x + 9.4, y))
    sheet.dot((x + 6, y))


def string(netlist: Netlist) -> Sheet:
    """One string with its current sink; four are built alike."""
    sheet = Sheet(netlist, ("3", "4", "5", "6"))
    sheet.note("String, four alike: two LEDs and a current sink", (-6, 3.4), 12)

    sheet.tag("supply", (6, 2))
    sheet.two("D01", (6, 2), (6, -0.6), side="bottom")
    sheet.two("D02", (6, -0.6), (6, -3.2), side="bottom")
    sink = sheet.fet("Q01", (6, -3.2))
    source = sink["2"]
    gate = sink["1"]
    sheet.wire(source, (6, -6))
    sheet.two("R01", (6, -6), (6, -8.6), side="bottom")
    sheet.ground((6, -8.6))

    sheet.two("R02", (gate[0] - 4, gate[1]), (gate[0] - 1, gate[1]))
    sheet.wire((gate[0] - 1, gate[1]), gate)
    sheet.two("R03", (gate[0] - 0.6, gate[1]), (gate[0] - 0.6, gate[1] - 2.0), side="top")
    sheet.ground((gate[0] - 0.6, gate[1] - 2.0))
    out = (gate[0] - 4, gate[1])
    holder = sheet.amplifier("U03", (out[0] - 2.9, out[1] + 0.625), plus_on_top=True, label_above=True)
    sheet.wire(holder["2"], out)
    sheet.wire((holder["0"][0] - 1, holder["0"][1]), holder["0"])
    sheet.tag("wish", (holder["0"][0] - 1, holder["0"][1]), left=True)
    back = holder["1"]
    low_y = -9.6
    left_x = back[0] - 0.6
    sheet.wire(back, (left_x, back[1]), (left_x, low_y))
    sheet.wire((6, -6), (4.4, -6), (4.4, low_y))
    sheet.two("R04", (4.4, low_y), (left_x, low_y), side="bottom")
    sheet.wire((out[0] - 0.4, out[1]), (out[0] - 0.4, -7))
    sheet.two("C01", (out[0] - 0.4, -7), (left_x, -7), side="top")
    sheet.two("R05", (left_x - 3, low_y), (left_x, low_y), side="bottom")
    sheet.wire((left_x - 3, low_y), (left_x - 3, low_y + 0.8))
    sheet.supply((left_x - 3, low_y + 0.8))
    sheet.dot((6, -6), (gate[0] - 0.6, gate[1]), (out[0] - 0.4, out[1]), (left_x, -7), (left_x, low_y))
    return sheet


SHEETS: dict[str, Callable[[Netlist], Sheet]] = {"board": board, "dead_man": dead_man, "string": string}


def write(folder: Path = FOLDER) -> None:
    """Draw every sheet anew."""
    netlist = read()
    for name, draw in SHEETS.items():
        draw(netlist).save(folder / f"{name}.svg")


if __name__ == "__main__":
    write()
