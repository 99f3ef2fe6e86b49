"""``make perf``: every stage of this folder in turn, against its yardsticks and goals; written to results.md beside this file.

A stage is a module here with ``rows() -> list[dict]``: "stage", "size" and figures. Compare times within a row, not between
machines; what is judged are the goals below. ``python -m tests.perf live_path recorder`` measures only those and writes nothing.
"""

import importlib
import operator
import os
import platform
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

Row = dict[str, object]

STAGES = (
    "live_path",
    "simulated_camera",
    "recorder",
    "frame_bus",
    "picture_server",
    "live_beside_viewers",
    "demo_memory",
)
RESULTS = Path(__file__).with_name("results.md")


@dataclass(frozen=True)
class Goal:
    """A bound on one figure of every row whose stage and size begin so."""

    stage: str
    size: str
    figure: str
    sign: str
    bound: float

    def judged(self, row: Row) -> str | None:
        """One line of verdict; None where the row is another one."""
        if not (str(row["stage"]).startswith(self.stage) and str(row["size"]).startswith(self.size)):
            return None
        compare: Callable[[object, object], bool] = {">=": operator.ge, "<=": operator.le}[self.sign]
        value = row[self.figure]
        verdict = "met" if compare(value, self.bound) else "NOT MET"
        return f"| {row['stage']} | {self.figure} | {self.sign} {self.bound:g} | {value} | {verdict} |"


GOALS = (
    Goal("live path", "1456x1088", "plain/ours", ">=", 20),
    Goal("live path", "1456x1088", "opencv/ours", ">=", 1.7),
    Goal("live path", "1456x1088", "ours/floor", "<=", 1.25),
    Goal("simulated camera", "1456x1088", "frames_per_s", ">=", 30),
    Goal("recorder", "1456x1088", "ours_ms", "<=", 2.0),
    Goal("recorder", "1456x1088", "ratio", ">=", 2.5),
    Goal("picture server, 32", "", "processor_percent_a_viewer", "<=", 0.15),
    Goal("picture server, 32", "", "p99_ms", "<=", 8.0),
    Goal("live path beside", "1456x1088", "p99_ratio", "<=", 1.10),
    Goal("memory of the demo", "", "all_mb", "<=", 500),
)


def main() -> None:
    """Measure, print, and write the results where all stages ran."""
    chosen = tuple(sys.argv[1:]) or STAGES
    unknown = set(chosen) - set(STAGES)
    if unknown:
        sys.exit(f"no such stage: {', '.join(sorted(unknown))}; there are: {', '.join(STAGES)}")
    rows: list[Row] = []
    for name in chosen:
        began_s = time.monotonic()
        print(f"{name} ...", file=sys.stderr, flush=True)
        rows += importlib.import_module(f"tests.perf.{name}").rows()
        print(f"{name} took {time.monotonic() - began_s:.0f} s", file=sys.stderr, flush=True)
    text = report(rows)
    print(text)
    if set(chosen) == set(STAGES):
        RESULTS.write_text(text, encoding="utf-8")


def report(rows: list[Row]) -> str:
    """The whole as Markdown: where and when, goals, and every figure."""
    verdicts = [verdict for row in rows for goal in GOALS if (verdict := goal.judged(row))]
    busy = ", ".join(f"{one:.1f}" for one in os.getloadavg())
    lines = [
        "# Measured by `make perf`",
        "",
        f"{datetime.now(UTC):%Y-%m-%d %H:%M} UTC, {platform.machine()}, {os.cpu_count()} cores, {_processor()}, "
        f"Python {platform.python_version()}; load at the end {busy}. Other work shares the machine: read the ratios.",
        "",
        "| stage | figure | goal | measured | |",
        "|---|---|---|---|---|",
        *verdicts,
        "",
    ]
    for row in rows:
        figures = {key: value for key, value in row.items() if key not in ("stage", "size")}
        lines += [f"**{row['stage']}**, {row['size']}", "", f"| {' | '.join(figures)} |", "|" + "---|" * len(figures)]
        lines += [f"| {' | '.join(str(value) for value in figures.values())} |", ""]
    return "\n".join(lines)


def _processor() -> str:
    named = [line for line in Path("/proc/cpuinfo").read_text().splitlines() if line.startswith("model name")]
    return named[0].partition(":")[2].strip() if named else "processor not named"


if __name__ == "__main__":
    main()
