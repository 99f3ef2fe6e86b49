"""``python -m tests.hardware.hazards_ran REPORT...``: were all tests that ``hardware/hazards.md`` leans on run, and did they pass?

The reports are pytest's own JUnit files, one a run of pytest; together they are what ``make test`` did. A test counts as passed
when it is there, and none of its cases failed, broke or was skipped. Exit 1 with one line for each that does not.
"""

import sys
import xml.etree.ElementTree as ElementTree
from collections import defaultdict
from collections.abc import Iterable, Mapping
from pathlib import Path

from tests.hardware.hazard_table import Hazard, hazards

Key = tuple[str, str]


def outcomes(reports: Iterable[Path]) -> Mapping[Key, list[str]]:
    """(file, function) -> what became of each of its cases: passed, failed, error or skipped."""
    found: dict[Key, list[str]] = defaultdict(list)
    for report in reports:
        for case in ElementTree.parse(report).iter("testcase"):
            file = case.get("classname", "").replace(".", "/") + ".py"
            function = case.get("name", "").partition("[")[0]
            ends = [one.tag for one in case if one.tag in ("failure", "error", "skipped")]
            found[file, function].append(ends[0] if ends else "passed")
    return found


def complaints(rows: Iterable[Hazard], ran: Mapping[Key, list[str]]) -> list[str]:
    """One line for each test that does not prove what the table says."""
    lines = []
    for row in rows:
        for key in row.tests:
            name = f"hazard {row.number} ({row.hazard}): {key[0]}::{key[1]}"
            if not ran.get(key):
                lines.append(f"{name} was not run")
            elif set(ran[key]) != {"passed"}:
                bad = sorted(set(ran[key]) - {"passed"})
                lines.append(f"{name}: {', '.join(bad)}")
    return lines


def main(arguments: list[str]) -> int:
    """Say what is missing, or how many tests prove how many hazards."""
    reports = [Path(argument) for argument in arguments]
    missing = [str(report) for report in reports if not report.is_file()]
    if missing or not reports:
        print(f"no report of pytest: {', '.join(missing) or 'none named'}; run make test", file=sys.stderr)
        return 2
    rows = hazards()
    found = complaints(rows, outcomes(reports))
    for line in found:
        print(line, file=sys.stderr)
    if found:
        return 1
    proven = [row for row in rows if row.tests]
    tests = {key for row in proven for key in row.tests}
    untested = [str(row.number) for row in rows if row.untested]
    print(
        f"{len(tests)} tests, run and passed, hold back {len(proven)} of {len(rows)} hazards; "
        f"no test for {', '.join(untested)}"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
