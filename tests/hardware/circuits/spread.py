"""Boards with parts drawn at random inside their classes: ``python -m tests.hardware.circuits.spread COUNT`` prints the spread."""

import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.hardware.circuits import bench
from tests.hardware.circuits.bench import driven, edges, even, run, supply

BEATS = even(0.02, 0.02, 25)
SLOW_BEATS = even(BEATS[-1] + 0.6, 0.06, 12)
RESISTORS = tuple(name for name in bench.BOARD.numbers if name.startswith("r_"))
NOMINAL = {"c_hold": 1e-6, "c_pump": 270e-9}
_PREFIXES = {"k": 1e3, "m": 1e-3, "u": 1e-6, "n": 1e-9, "p": 1e-12}


@dataclass(frozen=True)
class Drawn:
    """One board: seconds to light, seconds from the last edge to dark, and whether beats 60 ms apart kept it alive."""

    light_s: float
    drop_out_s: float
    slow_beats_held: bool


def draw(folder: Path, random: np.random.Generator) -> Drawn:
    """Every value flat over its class, which is harsher than how parts really spread.

    Resistors 1 %; film capacitors 5 % and 3 % of age and temperature; X7R from 40 % lost to 10 % over; comparators 5 mV and
    50 nA either way; thresholds 0.8 to 1.5 V; dirt of 20 Mohm or more; 4.5 to 5.5 V, 3.0 to 3.6 V, -10 to 60 degrees.
    """

    def within(low: float, high: float) -> float:
        return float(random.uniform(low, high))

    values = {name: _number(bench.BOARD.numbers[name]) * within(0.99, 1.01) for name in RESISTORS}
    values |= {name: nominal * within(0.92, 1.08) for name, nominal in NOMINAL.items()}
    values |= {"c_filter": 470e-9 * within(0.6, 1.1), "vth_n_small": within(0.8, 1.5)}
    values |= {"offset_comparator": within(-5e-3, 5e-3), "bias_comparator": within(-50e-9, 50e-9)}
    dirt = f"Rup fused held_1 {20e6 / within(0.01, 1):.6g}\nRdown held_1 0 {20e6 / within(0.01, 1):.6g}"
    beats = edges([*BEATS, *SLOW_BEATS], within(3.0, 3.6))
    traces = run(
        folder,
        [supply(within(4.5, 5.5)), driven("heartbeat", beats), dirt],
        SLOW_BEATS[-1],
        step_s=1e-3,
        keep=("alive1",),
        values=values,
        celsius=within(-10, 60),
        elements=bench.ONE_DEAD_MAN,
    )
    first = traces.between(1e-3, SLOW_BEATS[0] - 1e-3)
    alive_s = first.time_s[first.alive()]
    held = traces.between(SLOW_BEATS[3], SLOW_BEATS[-1]).alive().all()
    return Drawn(float(alive_s.min() - BEATS[0]), float(alive_s.max() - BEATS[-1]), bool(held))


def _number(text: str) -> float:
    return float(text[:-1]) * _PREFIXES[text[-1]] if text[-1] in _PREFIXES else float(text)


def main() -> None:
    """Print smallest, median and largest."""
    random = np.random.default_rng(2026)
    with tempfile.TemporaryDirectory() as folder:
        drawn = [draw(Path(folder), random) for _ in range(int(sys.argv[1]))]
    for name in ("drop_out_s", "light_s"):
        figures = 1e3 * np.array([getattr(board, name) for board in drawn])
        print(
            f"{name[:-2]:9} ms: min {figures.min():.1f}  median {np.median(figures):.1f}  max {figures.max():.1f}  of {len(drawn)}"
        )
    print(f"beats 60 ms apart held {sum(board.slow_beats_held for board in drawn)} of {len(drawn)}")


if __name__ == "__main__":
    main()
