"""``tapetum calibrate``: commissioning steps, on a running device."""

import time
from datetime import UTC, datetime
from pathlib import Path

import click

from device.cli import answer, json_option
from device.cli.running import asked, connected, run_dir_option
from shared.bounded import plain
from shared.errors import Refused
from shared.optics.light_output import LightOutput, keep, place
from shared.protocol.control import GetState

_GUIDE = """\
Light output: what each level of the ring really gives, so that dimming does not change a result.

  1  Let the ring rest for a minute. Fix the handheld over an even, dull target that glows or reflects a little in its filter: a
     dye card, or matt white card. It has to fill the middle third of the picture and must not move.
  2  Darken the room, or at least switch off lamps that flicker.
  3  The ring lights at each level, up and down again, for about half a second each. Do not stare into it; wear goggles near it,
     and keep others away.
"""


@click.command()
@click.argument("step", metavar="STEP", type=click.Choice(["light"]))
@click.option("--yes", is_flag=True, help="Do not ask; the target is in place.")
@run_dir_option
@json_option
def command(step: str, yes: bool, run_dir: Path, as_json: bool) -> None:
    """Measure what this handheld's camera and ring do, on a running device; says what to put before it.

    STEP is light: the output of each level, on a flat target, so that dimming changes no result. It is in force from the
    device's next start.
    """
    from device.commissioning.light_output import measured
    from device.commissioning.light_steps import LightSteps
    from shared.recording import Recording

    if as_json and not yes:
        raise Refused("nobody can be asked with --json", remedy="put the target in place, and add --yes")
    with connected(run_dir) as client:
        state = asked(client, GetState())
        data_folder = Path(state.data_folder)
        place(data_folder)  # before anything is lit for nothing
        if not yes:
            click.echo(_GUIDE)
            click.confirm("Is everything in place?", abort=True)
        say = (lambda _line: None) if as_json else click.echo
        name = LightSteps(client, say, time.sleep).recorded()
    made_at = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    with Recording.open(data_folder / "recordings" / f"{name}.zarr") as recording:
        result, evidence = measured(recording, made_at, state.ring)
    path = keep(data_folder, result, evidence)
    answer({"file": str(path), **plain(result)}, _readable(result, path), as_json)


def _readable(result: LightOutput, path: Path) -> str:
    lines = [
        f"level {one.level:4.0%}   output {one.output:.4f} ± {one.u:.5f}   ({one.output / one.level - 1:+.1%} against linear)"
        for one in result.levels
    ]
    return "\n".join(
        [
            *lines,
            f"kept as {path}, readings beside it, frames in {result.recording}",
            "in force from the device's next start; check with tapetum status",
        ]
    )
