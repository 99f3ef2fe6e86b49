"""``tapetum check``: the check before a case, on a running device."""

import time
from datetime import UTC, datetime
from pathlib import Path

import click

from device.cli import answer, json_option
from device.cli.progress import saying, tell
from device.cli.running import asked, connected, run_dir_option, stop_tidily
from shared.bounded import plain
from shared.errors import Refused
from shared.protocol.commissioning import CheckItem, CheckRecord
from shared.protocol.control import GetState

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
    from device.commissioning.kept_checks import keep

    if as_json and not yes:
        raise Refused("nobody can be asked with --json", remedy="put the handheld in its box, and add --yes")
    items: list[CheckItem] = []
    with connected(run_dir, timeout_s=_PATIENCE_S) as client:
        stop_tidily()
        if not yes:
            click.echo(GUIDE)
            click.confirm("Is everything in place?", abort=True)
        started_s, made_at = time.monotonic(), datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        for item in CaseCheck(Bench(client, saying(as_json), time.sleep)).items():
            items.append(item)
            if as_json:
                tell(item=item)
            else:
                click.echo(f"{'pass' if item.passed else 'FAIL'}  {item.name:<16} {item.words}")
        state = asked(client, GetState())
    passed = all(one.passed for one in items)
    record = CheckRecord(made_at, passed, tuple(items), state.calibrated_at)
    file = keep(Path(state.data_folder), record)
    seconds = round(time.monotonic() - started_s, 1)
    result = {"passed": passed, "seconds": seconds, "file": str(file), "items": [plain(one) for one in items]}
    answer(result, "PASSED" if passed else "FAILED: put right what failed, and check again", as_json)
    if not passed:
        raise SystemExit(1)
