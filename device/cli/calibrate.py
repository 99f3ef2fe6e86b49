"""``tapetum calibrate``: commissioning, step by step, on a running device."""

import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from device.cli import answer, json_option
from device.cli.running import asked, connected, run_dir_option
from shared.bounded import plain
from shared.commissioning.step_name import StepName
from shared.errors import Refused
from shared.protocol.control import GetState
from shared.protocol.control_client import ControlClient

if TYPE_CHECKING:
    from device.commissioning.run import Done

_PATIENCE_S = 30.0
"""A simulated camera draws a new target in seconds."""
_LIGHT_GUIDE = """\
Light output: what each level of the ring really gives, so that dimming does not change a result.

  1  Let the ring rest for a minute. Fix the handheld over an even, dull target that glows or reflects a little in its filter: a
     dye card, or matt white card. It has to fill the middle third of the picture and must not move.
  2  Darken the room, or at least switch off lamps that flicker.
  3  The ring lights at each level, up and down again, for about half a second each. Do not stare into it; wear goggles near it,
     and keep others away.
"""

_yes_option = click.option("--yes", is_flag=True, help="Do not ask; the target is in place.")


@click.group()
def command() -> None:
    """Measure what this handheld's camera, lens and ring do, on a running device; each step says what to put before it.

    What a step finds is in force from the device's next start. Every calibration is kept under its date, and an older one can be
    taken up again. Steps in their order: dark, defects, flat, gain, light.
    """


def _step_command(name: StepName, help_line: str) -> Callable[..., None]:
    @command.command(name, help=help_line)
    @_yes_option
    @run_dir_option
    @json_option
    def run(yes: bool, run_dir: Path, as_json: bool) -> None:
        _take_steps((name,), yes, run_dir, as_json)

    return run


_LINES: dict[StepName, str] = {
    "dark": "Mean dark plane, noise, DSNU and dark current; lens capped.",
    "defects": "Pixels to be replaced by their neighbours; even target.",
    "flat": "Flat field of lens, ring and pixels; even target.",
    "gain": "Counts an electron, read noise, full well, linearity (EMVA 1288); even target.",
}
for _name, _line in _LINES.items():
    _step_command(_name, _line)


@command.command("all")
@_yes_option
@run_dir_option
@json_option
def everything(yes: bool, run_dir: Path, as_json: bool) -> None:
    """All steps that need no figures from you, one after the other; ends at the first that fails."""
    _take_steps(tuple(_LINES), yes, run_dir, as_json)


def _take_steps(names: tuple[StepName, ...], yes: bool, run_dir: Path, as_json: bool) -> None:
    from device.commissioning.bench import Bench
    from device.commissioning.run import take
    from device.commissioning.steps import BY_NAME

    if as_json and not yes:
        raise Refused("nobody can be asked with --json", remedy="put the target in place, and add --yes")
    say: Callable[[str], None] = (lambda _line: None) if as_json else click.echo
    found: dict[str, Any] = {}
    with connected(run_dir, timeout_s=_PATIENCE_S) as client:
        for name in names:
            step = BY_NAME[name]
            if not yes:
                click.echo(step.guide)
                click.confirm("Is everything in place?", abort=True)
            done = take(step, Bench(client, say, time.sleep), _now)
            found[name] = {
                "calibration": str(done.path),
                "recording": done.recording,
                **plain(done.kept.figures.of(name)),
            }
            say(_readable(done))
    result = found[names[0]] if len(names) == 1 else found
    words = "in force from the device's next start; check with tapetum status"
    answer(result, words, as_json)


def _readable(done: "Done") -> str:
    figures = plain(done.kept.figures.of(done.step.name))
    lines = [f"{key.replace('_', ' '):<28}{_number(value)}" for key, value in figures.items()]
    return "\n".join([*lines, f"kept as {done.path}, frames in {done.recording}", ""])


def _number(value: object) -> str:
    return f"{value:.5g}" if isinstance(value, float) else str(value)


def _now() -> str:
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


@command.command("list")
@run_dir_option
@json_option
def listing(run_dir: Path, as_json: bool) -> None:
    """Calibrations of this device's sensor, newest first; the first is in force."""
    from device.commissioning.run import sensor
    from shared.commissioning.calibration_folder import listed

    with connected(run_dir) as client:
        state = asked(client, GetState())
    found = listed(Path(state.data_folder), sensor(state))
    entries = [
        {
            "name": name,
            "steps": [one.step for one in figures.taken],
            "missing": list(figures.missing),
            "again_from": figures.again_from,
        }
        for name, figures in found
    ]
    lines = [
        f"{name}   {', '.join(one.step for one in figures.taken)}"
        + (f"; lacks {', '.join(figures.missing)}" if figures.missing else "")
        + (f"; again from {figures.again_from}" if figures.again_from else "")
        for name, figures in found
    ]
    answer({"calibrations": entries}, "\n".join(lines) or "none yet: start with tapetum calibrate dark", as_json)


@command.command("use")
@click.argument("name")
@run_dir_option
@json_option
def use(name: str, run_dir: Path, as_json: bool) -> None:
    """Take an older calibration up again: it is kept once more under today's date, and nothing is lost."""
    from device.commissioning.run import sensor
    from shared.commissioning.calibration_folder import again

    with connected(run_dir) as client:
        state = asked(client, GetState())
    path = again(Path(state.data_folder), sensor(state), name, _now())
    words = f"kept again as {path}; in force from the device's next start"
    answer({"calibration": str(path), "again_from": name}, words, as_json)


@command.command("light")
@_yes_option
@run_dir_option
@json_option
def light(yes: bool, run_dir: Path, as_json: bool) -> None:
    """Output of each level of the ring, on an even target, so that dimming changes no result."""
    from shared.optics.light_output import place

    if as_json and not yes:
        raise Refused("nobody can be asked with --json", remedy="put the target in place, and add --yes")
    with connected(run_dir, timeout_s=_PATIENCE_S) as client:
        place(Path(asked(client, GetState()).data_folder))  # before anything is lit for nothing
        if not yes:
            click.echo(_LIGHT_GUIDE)
            click.confirm("Is everything in place?", abort=True)
        result, words = _light_output(client, (lambda _line: None) if as_json else click.echo)
    answer(result, words, as_json)


def _light_output(client: ControlClient, say: Callable[[str], None]) -> tuple[dict[str, Any], str]:
    from device.commissioning.light_output import measured
    from device.commissioning.light_steps import LightSteps
    from shared.optics.light_output import keep
    from shared.recording import Recording

    state = asked(client, GetState())
    data_folder = Path(state.data_folder)
    name = LightSteps(client, say, time.sleep).recorded()
    with Recording.open(data_folder / "recordings" / f"{name}.zarr") as recording:
        result, evidence = measured(recording, _now(), state.ring)
    path = keep(data_folder, result, evidence)
    lines = [
        f"level {one.level:4.0%}   output {one.output:.4f} ± {one.u:.5f}   ({one.output / one.level - 1:+.1%} against linear)"
        for one in result.levels
    ]
    lines += [
        f"kept as {path}, readings beside it, frames in {result.recording}",
        "in force from the device's next start; check with tapetum status",
    ]
    return {"file": str(path), **plain(result)}, "\n".join(lines)
