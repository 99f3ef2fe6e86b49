"""Every single fault of the ring's driver, simulated; ``python -m tests.hardware.circuits.faults`` writes faults.csv.

Strings 4 to 6 are built like string 3 and left out. An open input drifts; it is tried both ways.
"""

import csv
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path

from hardware.circuits.netlist import FOLDER, Element
from tests.hardware.circuits import bench
from tests.hardware.circuits.bench import driven, edges, even, run, supply

TABLE = FOLDER / "faults.csv"
TERMINALS = {
    "comparator": ("plus", "minus", "out", "supply", "ground"),
    "opamp": ("plus", "minus", "out", "supply", "ground"),
    "nand2": ("a", "b", "out", "supply", "ground"),
    "shunt_reference": ("cathode", "anode"),
}
CHANNEL = ("drain", "gate", "source")
RAILS = ("supply", "ground")

BEATS = even(0.02, 0.02, 20)
NO_ENABLE = (0.20, 0.26)
NO_PULSES = (0.28, 0.34)
STILL = 0.012
"""After a line fell, and before it rises again: the ring must be dark in between."""


@dataclass(frozen=True)
class Fault:
    """One thing broken."""

    part: str
    what: str
    elements: tuple[Element | str, ...]


@dataclass(frozen=True)
class Verdict:
    """What the ring does with one fault. Every line is wished high; ``dark_ms`` counts from the last edge, -1: never."""

    lights: bool
    lit_a: float
    dark_ms: float
    enable_darkens: bool
    pulses_darken: bool


def single_faults() -> Iterator[Fault]:
    """Each terminal open, each pair shorted; of integrated circuits, each signal open and shorted to either rail."""
    board = bench.BOARD.elements
    for element in board:
        if element.designator[1:-2] in ("4", "5", "6") or element.name in ("XU03b", "XU03c", "XU03d"):
            continue
        if not element.name.startswith("X"):
            yield Fault(element.designator, "open", _open(board, element, 0, "gnd"))
            yield Fault(element.designator, "short", (*board, f"Rfault {' '.join(element.nodes)} 10m"))
            continue
        names = TERMINALS.get(element.key, CHANNEL)
        for index, name in enumerate(names):
            if name in RAILS and element.name.endswith("b"):
                continue
            for drift in ("gnd", "fused") if name not in RAILS else ("gnd",):
                what = f"{name} open" if name in RAILS else f"{name} open, drifts {'low' if drift == 'gnd' else 'high'}"
                yield Fault(_section(element), what, _open(board, element, index, drift))
        for one, other in combinations(range(len(names)), 2):
            pair = (names[one], names[other])
            if (
                element.nodes[one] == element.nodes[other]
                or (len(names) == 5 and pair[1] not in RAILS)
                or pair == RAILS
            ):
                continue
            short = f"Rfault {element.nodes[one]} {element.nodes[other]} 10m"
            yield Fault(_section(element), f"{pair[0]} to {pair[1]}", (*board, short))
    yield from _wires()


def _wires() -> Iterator[Fault]:
    board = bench.BOARD.elements
    for one, other in combinations(("enable", "heartbeat", "pulses", "v5"), 2):
        yield Fault("lines", f"{one} bridged to {other}", (*board, f"Rfault {one} {other} 10m"))
    lifted = tuple(
        replace(part, nodes=tuple("lifted" if node == "gnd" else node for node in part.nodes)) for part in board
    )
    yield Fault("lines", "ground wire open", (*lifted, "Rfault lifted 0 10meg"))


def _section(element: Element) -> str:
    return element.designator + (element.name[-1] if element.name[-1] in "abcd" else "")


def _open(board: tuple[Element, ...], broken: Element, index: int, drift: str) -> tuple[Element | str, ...]:
    rail = index >= 3
    nodes = tuple("cut" if number == index else node for number, node in enumerate(broken.nodes))
    parts: list[Element | str] = []
    for part in board:
        same = part.designator == broken.designator if rail else part is broken
        parts.append(replace(part, nodes=(*part.nodes[:index], "cut", *part.nodes[index + 1 :])) if same else part)
    assert "cut" in nodes
    return (*parts, f"Rfault cut {drift} 10meg")


def verdict(folder: Path, fault: Fault) -> Verdict:
    """Beats that end low and beats that end high; enable and pulses each low for a while in between."""
    runs = [_traces(folder, fault, BEATS[:count]) for count in (19, 20)]
    lit = runs[0].between(0.16, NO_ENABLE[0] - 2e-3)
    lit_a = lit.mean(lit.string_a())
    darks_ms = []
    for traces, last_s in zip(runs, (BEATS[18], BEATS[19]), strict=True):
        late = traces.between(last_s + 0.3, 1.0)
        darks_ms.append(-1.0 if late.lit().any() else max(0.0, 1e3 * (traces.last_lit_s() - last_s)))
    return Verdict(
        lights=lit_a > bench.DARK_A,
        lit_a=lit_a,
        dark_ms=-1.0 if min(darks_ms) < 0 else max(darks_ms),
        enable_darkens=_dark_within(runs, NO_ENABLE),
        pulses_darken=_dark_within(runs, NO_PULSES),
    )


def _traces(folder: Path, fault: Fault, beats: list[float]) -> bench.Traces:
    stimuli = [
        supply(),
        driven("enable", _low_in(NO_ENABLE)),
        driven("pulses", _low_in(NO_PULSES)),
        driven("heartbeat", edges(beats)),
    ]
    return run(folder, stimuli, 0.75, step_s=1e-3, elements=fault.elements)


def _low_in(span: tuple[float, float]) -> list[tuple[float, float]]:
    return [(0.0, 3.3), (span[0], 3.3), (span[0] + 1e-5, 0.0), (span[1], 0.0), (span[1] + 1e-5, 3.3)]


def _dark_within(runs: list[bench.Traces], span: tuple[float, float]) -> bool:
    return not any(traces.between(span[0] + STILL, span[1] - 1e-3).lit().any() for traces in runs)


def row(fault: Fault, found: Verdict) -> list[str]:
    """A line of the table."""
    lights, enable, pulses = (
        "yes" if flag else "no" for flag in (found.lights, found.enable_darkens, found.pulses_darken)
    )
    dark = "never" if found.dark_ms < 0 else f"{found.dark_ms:.0f}"
    return [fault.part, fault.what, lights, f"{found.lit_a:.2f}", dark, enable, pulses]


def main() -> None:
    """Write the table, and print what a reader should look at first."""
    with tempfile.TemporaryDirectory() as folder, TABLE.open("w", newline="") as file:
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(
            ["part", "fault", "lights", "brightest_led_a", "dark_after_last_edge_ms", "enable_darkens", "pulses_darken"]
        )
        for fault in single_faults():
            found = verdict(Path(folder), fault)
            rows.writerow(row(fault, found))
            if not 0 <= found.dark_ms < 250 or found.lit_a > 0.4:
                print(fault.part, fault.what, found)


if __name__ == "__main__":
    main()
