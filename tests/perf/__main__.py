"""``python -m tests.perf [STAGE ...]``: time every stage and write the table with date and machine to ``results.md``.

A stage is a module of this package with ``rows() -> list[dict[str, object]]``; a row names its ``stage`` and ``size``, and
every other key is a figure with its unit in its name (ratios as ``over/under``). Read the ratios: milliseconds are this machine's.
"""

import pkgutil
import platform
import sys
import time
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import tests.perf
from tests.perf.one_stage import rows_of

RESULTS = Path(__file__).with_name("results.md")


@dataclass(frozen=True)
class Goal:
    """A limit for one figure of the rows whose stage begins with ``stage`` (and of ``size``, where given)."""

    stage: str
    figure: str
    limit: float
    at_most: bool = True
    size: str = ""

    def verdict(self, row: dict[str, object]) -> str:
        """``met`` or ``missed`` with figures; empty when the row is not meant."""
        value = row.get(self.figure)
        meant = str(row["stage"]).startswith(self.stage) and self.size in ("", row["size"])
        if not meant or not isinstance(value, int | float):
            return ""
        met = value <= self.limit if self.at_most else value >= self.limit
        sign = "<=" if self.at_most else ">="
        return f"{self.figure} {value:g}, goal {sign} {self.limit:g}: {'met' if met else 'MISSED'}"


GOALS = (
    Goal("live path", "plain/ours", 20.0, at_most=False, size="1456x1088"),
    Goal("live path", "opencv/ours", 1.7, at_most=False, size="1456x1088"),
    Goal("live path", "ours/floor", 1.25, size="1456x1088"),
    Goal("picture server, 32", "processor_percent_a_viewer", 0.15),
    Goal("picture server, 32", "p99_ms", 8.0),
    Goal("live path beside", "p99_ratio", 1.10),
    Goal("drawn on the page", "p99_ms", 66.7),
    Goal("dye in", "trips", 0),
    Goal("recorder", "ours_ms", 2.0),
    Goal("recorder", "ratio", 2.5, at_most=False),
    Goal("simulated camera", "frames_per_s", 30.0, at_most=False),
    Goal("inflow maps", "ours_ms", 1.3),
    Goal("inflow maps", "plain/ours", 13.0, at_most=False),
    Goal("inflow maps", "ready_s", 1.0),
    Goal("analysis", "real_time", 10.0, at_most=False),
    Goal("hand's motion", "ours_rms_px", 0.3),
    Goal("hand's motion", "plain/ours", 5.0, at_most=False),
    Goal("hand's motion", "ours_ms", 1.0),
    Goal("memory", "all_mb", 500.0),
    Goal("memory", "trips", 0.0),
    Goal("scrubbing", "touch_p95_ms", 500.0),
    Goal("scrubbing", "moving_p95_ms", 500.0),
)


def stages() -> list[str]:
    """Names of the modules here that time something."""
    names = (module.name for module in pkgutil.iter_modules(tests.perf.__path__) if module.name != "__main__")
    return [name for name in names if "def rows(" in Path(tests.perf.__path__[0], f"{name}.py").read_text()]


def table(rows: list[dict[str, object]]) -> str:
    """Rows as text: one line of figures each, then its goals."""
    lines = []
    for row in rows:
        figures = ", ".join(f"{key} {value}" for key, value in row.items() if key not in ("stage", "size"))
        verdicts = [verdict for goal in GOALS if (verdict := goal.verdict(row))]
        lines.append(f"| {row['stage']} | {row['size']} | {figures} | {'; '.join(verdicts) or '-'} |")
    return "\n".join(["| stage | size | figures | goals |", "|---|---|---|---|", *lines])


def machine() -> str:
    """Processor, system and interpreter."""
    model = platform.processor()
    cpuinfo = Path("/proc/cpuinfo")
    if cpuinfo.exists():
        found = [line.partition(":")[2].strip() for line in cpuinfo.read_text().splitlines() if "model name" in line]
        model = f"{found[0]} x {len(found)}" if found else model
    return (
        f"{model or platform.machine()}, {platform.system()} {platform.machine()}, Python {platform.python_version()}"
    )


def main() -> int:
    """Time what was asked for, all by default; a stage that fails is named and makes the exit code 1."""
    known = stages()
    chosen = sys.argv[1:] or known
    if unknown := sorted(set(chosen) - set(known)):
        print(f"no such stage: {', '.join(unknown)}; there are: {', '.join(known)}")
        return 2
    rows: list[dict[str, object]] = []
    failed = []
    for name in chosen:
        began = time.monotonic()
        print(f"{name} ...", end=" ", flush=True)
        try:
            found = rows_of(name)
        except Exception as error:  # noqa: BLE001 - one stage's failure must not lose the others' figures
            failed.append(f"{name}: {error!r}")
            print(f"FAILED: {error!r}")
            continue
        print(f"{time.monotonic() - began:.0f} s")
        rows += found
    text = table(rows)
    print(text)
    if not sys.argv[1:]:
        when = datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC")
        missing = "".join(f"\n\nFailed: {line}" for line in failed)
        RESULTS.write_text(f"# Timings of {when}\n\n{machine()}. Made by `make perf`.\n\n{text}{missing}\n")
        print(f"written to {RESULTS}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
