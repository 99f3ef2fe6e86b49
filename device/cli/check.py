"""``tapetum check``: the check before a case, on a running device."""

import time
from collections.abc import Callable
from pathlib import Path

import click

from device.cli import answer, json_option
from device.cli.running import connected, run_dir_option, stop_tidily
from shared.bounded import plain
from shared.errors import Refused

_PATIENCE_S = 30.0


@click.command()
@click.option("--yes", is_flag=True, help="Do not ask; the handheld stands in its box on the plain card.")
@run_dir_option
@json_option
def command(yes: bool, run_dir: Path, as_json: bool) -> None:
    """Check the running device before a case, in under a minute: one line each, with what to do.

    Dark level, new defects, leakage, light that answers and trips, storage, supply, clock and age of the calibration. The ring
    lights for about a second: do not stare into it, goggles near the eyes. Exit status is 0 only when every line passes.
    """
    from device.commissioning.bench import Bench
    from device.commissioning.check import GUIDE, CaseCheck

    if as_json and not yes:
        raise Refused("nobody can be asked with --json", remedy="put the handheld in its box, and add --yes")
    if not yes:
        click.echo(GUIDE)
        click.confirm("Is everything in place?", abort=True)
    say: Callable[[str], None] = (lambda _line: None) if as_json else click.echo
    stop_tidily()
    started_s = time.monotonic()
    with connected(run_dir, timeout_s=_PATIENCE_S) as client:
        items = CaseCheck(Bench(client, say, time.sleep)).items()
    passed = all(one.passed for one in items)
    lines = [f"{'pass' if one.passed else 'FAIL'}  {one.name:<16} {one.words}" for one in items]
    lines.append("PASSED" if passed else "FAILED: put right what failed, and check again")
    result = {
        "passed": passed,
        "seconds": round(time.monotonic() - started_s, 1),
        "items": [plain(one) for one in items],
    }
    answer(result, "\n".join(lines), as_json)
    if not passed:
        raise SystemExit(1)
