"""Runs the ring's driver in ngspice: stimuli on its lines, faults in its parts, traces out."""

import subprocess
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from hardware.circuits.netlist import DEVICES, Element, read

NGSPICE = Path("/usr/bin/ngspice")
BOARD = read()
ONE_DEAD_MAN = tuple(
    part for part in BOARD.elements if part.designator in ("F01", "R01", "R02", "R07") or part.designator[1:-2] == "1"
)
"""Channel 1 by itself, for what concerns the dead-man alone."""

DARK_A = 10e-6
"""An LED that passes less is dark: 1/34,000 of its full current, under 6 uW/sr, all eight under 50 uW/sr (README.md)."""

LINE_OHM = 50
EDGE_S = 2e-6


@dataclass(frozen=True)
class Traces:
    """Node voltages (V) and LED currents (A) against time."""

    time_s: NDArray[np.float64]
    columns: Mapping[str, NDArray[np.float64]]

    def __getitem__(self, name: str) -> NDArray[np.float64]:
        return self.columns[name]

    def string_a(self) -> NDArray[np.float64]:
        """Current of the brightest LED at each moment; every LED counts by itself."""
        return np.max([trace for name, trace in self.columns.items() if name.startswith("@d")], axis=0)

    def between(self, start_s: float, end_s: float) -> "Traces":
        chosen = (self.time_s >= start_s) & (self.time_s <= end_s)
        return Traces(self.time_s[chosen], {name: trace[chosen] for name, trace in self.columns.items()})

    def mean(self, trace: NDArray[np.float64]) -> float:
        """Mean over time; the simulator's steps are not equal."""
        return float(np.trapezoid(trace, self.time_s) / (self.time_s[-1] - self.time_s[0]))

    def lit(self) -> NDArray[np.bool_]:
        return self.string_a() >= DARK_A

    def last_lit_s(self) -> float:
        """Latest moment of light, or -inf."""
        return float(np.max(self.time_s[self.lit()], initial=-np.inf))

    def first_lit_s(self) -> float:
        return float(np.min(self.time_s[self.lit()], initial=np.inf))

    def alive(self) -> NDArray[np.bool_]:
        """What channel 1 says of itself."""
        return self.columns["v(alive1)"] < 2.0


def supply(volts: float | Sequence[tuple[float, float]] = 5.0) -> str:
    """The ring's 5 V, steady or by (time, volts)."""
    return f"Vsupply v5_ideal 0 {wave(volts)}\nRsupply v5_ideal v5 30m"


def driven(line: str, volts: float | Sequence[tuple[float, float]]) -> str:
    """A board's pin that drives."""
    return f"V{line} {line}_pin 0 {wave(volts)}\nRpin{line} {line}_pin {line} {LINE_OHM}"


def pulled(line: str, volts: float, ohm: float) -> str:
    """A board's pin that does not drive but has a pull."""
    return f"V{line} {line}_pull 0 {volts}\nRpin{line} {line}_pull {line} {ohm}"


def leaking(line: str, amperes: float) -> str:
    """A floating pin with a leak; positive flows into the line."""
    return f"I{line} 0 {line} {amperes}\nRpin{line} {line} 0 1g"


def pulses(line: str, volts: float, period_s: float, duty: float) -> str:
    """A square wave."""
    wave = f"PULSE(0 {volts} {period_s / 4} 20n 20n {duty * period_s - 20e-9:.9g} {period_s:.9g})"
    return f"V{line} {line}_pin 0 {wave}\nRpin{line} {line}_pin {line} {LINE_OHM}"


def edges(times_s: Iterable[float], volts: float = 3.3) -> list[tuple[float, float]]:
    """Level that changes at each time, beginning low."""
    points, level = [(0.0, 0.0)], 0.0
    for time_s in times_s:
        points += [(time_s, level), (time_s + EDGE_S, volts - level)]
        level = volts - level
    return points


def even(start_s: float, interval_s: float, count: int) -> list[float]:
    """Evenly spaced times."""
    return [start_s + interval_s * number for number in range(count)]


def run(
    folder: Path,
    stimuli: Iterable[str],
    stop_s: float,
    *,
    step_s: float = 2e-4,
    largest_step_s: float | None = None,
    keep: Sequence[str] = (),
    values: Mapping[str, float] | None = None,
    celsius: float = 27.0,
    elements: Iterable[Element | str] = BOARD.elements,
    start: str = "",
) -> Traces:
    """Simulate from an operating point (or from ``start``, e.g. "uic"), and return LED currents and what else to ``keep``."""
    if not NGSPICE.exists():
        pytest.fail("ngspice is not installed; run: apt-get install ngspice (make packages does it)")
    lines = [element if isinstance(element, str) else element.line for element in elements]
    currents = [
        f"@{line.split()[0].lower()}[id]" for line in lines if line.split()[0].startswith("D") and "led" in line
    ]
    wanted = [*currents, *(f"v({node})" for node in keep)]
    numbers = BOARD.numbers | {name: f"{value:.9g}" for name, value in (values or {}).items()}
    deck = [
        "ring driver under test",
        f".include {DEVICES}",
        *(f".param {name} = {value}" for name, value in numbers.items()),
        *lines,
        *stimuli,
        f".options method=gear temp={celsius}",
        f".tran {step_s} {stop_s} 0 {largest_step_s or ''} {start}",
        ".save " + " ".join(wanted),
        ".control",
        "set wr_singlescale",
        "run",
        f"wrdata {folder}/traces.dat " + " ".join(wanted),
        ".endc",
        ".end",
    ]
    (folder / "deck.cir").write_text("\n".join(deck))
    (folder / "traces.dat").unlink(missing_ok=True)
    told = subprocess.run(
        [NGSPICE, "-b", folder / "deck.cir"], capture_output=True, text=True, timeout=110, check=False, cwd=folder
    )
    if not (folder / "traces.dat").exists():
        raise AssertionError(f"ngspice gave nothing: {told.stdout[-1500:]} {told.stderr[-1500:]}")
    table = np.loadtxt(folder / "traces.dat", ndmin=2)
    assert table[-1, 0] > 0.999 * stop_s, f"ngspice stopped at {table[-1, 0]} s: {told.stderr[-1500:]}"
    return Traces(table[:, 0], {name: table[:, number + 1] for number, name in enumerate(wanted)})


def wave(volts: float | Sequence[tuple[float, float]]) -> str:
    if isinstance(volts, (int, float)):
        return str(volts)
    return "PWL(" + " ".join(f"{time_s:.9g} {level:.6g}" for time_s, level in volts) + ")"
