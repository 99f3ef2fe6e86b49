"""``tapetum calibrate``: commissioning, step by step, on a running device."""

import math
import os
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from device.cli import answer, json_option
from device.cli.number import Number
from device.cli.progress import saying
from device.cli.running import asked, connected, run_dir_option, stop_tidily
from shared.bounded import plain
from shared.commissioning.step_name import StepName
from shared.data_folder import writable
from shared.errors import Refused
from shared.protocol.control import GetState
from shared.protocol.control_client import ControlClient

if TYPE_CHECKING:
    from device.commissioning.run import Done
    from device.commissioning.step import Step

Part = StepName | Literal["light"]
"""Of a commissioning: what the ring gives is kept apart from what the camera is."""

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
_KEPT = "in force from the device's next start; check with tapetum status"
_PROPOSED = "waits to be kept or discarded on the page"

_yes_option = click.option("--yes", is_flag=True, help="Do not ask; the target is in place.")
_propose_option = click.option(
    "--propose", is_flag=True, help="Leave the result to be kept or discarded on the page, instead of keeping it."
)
_NICENESS = 10
"""Of the reading of a proposed step: the live picture goes on meanwhile."""


_ORDER = (
    *("dark", "defects", "flat", "gain", "light", "scale", "sharpness", "leakage", "sensitivity"),
    *("all", "list", "use", "certificate"),
)


class _InOrder(click.Group):
    """Lists its commands as they are to be taken."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted(self.commands, key=_ORDER.index)


@click.group(cls=_InOrder)
def command() -> None:
    """Measure what this handheld's camera, lens and ring do, on a running device; each step says what to put before it.

    What a step finds is in force from the device's next start. Every calibration is kept under its date, and an older one can be
    taken up again. The ring lights in most of them: do not stare into it, goggles near the eyes. Each takes --json for machines.
    """


_distance_option = click.option(
    "--distance-mm",
    type=Number(30, 2000),
    default=250.0,
    show_default=True,
    help="From the lens to the sheet.",
)
_pitch_option = click.option(
    "--pitch-mm", type=Number(1, 100), default=10.0, show_default=True, help="From dot to dot, as measured."
)
_concentrations_option = click.option(
    "--concentrations", help="Of the eight wells, with commas between; one of them 0. Needed for sensitivity."
)
_unit_option = click.option("--unit", default="micromole/L", show_default=True, help="Of the concentrations.")


@dataclass(frozen=True)
class _Asked:
    """What the person said of targets, and how they want to be spoken to."""

    yes: bool
    run_dir: Path
    as_json: bool
    distance_mm: float = 250.0
    pitch_mm: float = 10.0
    concentrations: tuple[float, ...] = ()
    unit: str = "micromole/L"
    propose: bool = False


def _plain_step(name: Part, help_line: str) -> None:
    @command.command(name, help=help_line)
    @_propose_option
    @_yes_option
    @run_dir_option
    @json_option
    def run(propose: bool, yes: bool, run_dir: Path, as_json: bool) -> None:
        _take_steps((name,), _Asked(yes, run_dir, as_json, propose=propose))


_plain_step("dark", "Mean dark plane, noise, DSNU and dark current; lens capped.")
_plain_step("defects", "Pixels to be replaced by their neighbours; even target.")
_plain_step("flat", "Flat field of lens, ring and pixels; even target.")
_plain_step("gain", "Counts an electron, read noise, full well, linearity (EMVA 1288); even target.")
_plain_step("light", "Output of each level of the ring, on an even target, so that dimming changes no result.")
_plain_step("sharpness", "Contrast of fine detail (slanted edge, ISO 12233); printed sheet.")
_plain_step("leakage", "The ring's own light that passes the filter, over the picture; plain card.")


@command.command("scale")
@_distance_option
@_pitch_option
@_propose_option
@_yes_option
@run_dir_option
@json_option
def scale(distance_mm: float, pitch_mm: float, propose: bool, yes: bool, run_dir: Path, as_json: bool) -> None:
    """Millimetres a pixel and the lens's distortion, at a distance; printed sheet."""
    _take_steps(("scale",), _Asked(yes, run_dir, as_json, distance_mm, pitch_mm, propose=propose))


@command.command("sensitivity")
@_concentrations_option
@_unit_option
@_propose_option
@_yes_option
@run_dir_option
@json_option
def sensitivity(concentrations: str | None, unit: str, propose: bool, yes: bool, run_dir: Path, as_json: bool) -> None:
    """Limit of detection (three deviations of the blank, IUPAC) and linear range; eight wells of dye."""
    asked_for = _Asked(yes, run_dir, as_json, concentrations=_numbers(concentrations), unit=unit, propose=propose)
    _take_steps(("sensitivity",), asked_for)


_ALL: tuple[Part, ...] = ("dark", "defects", "flat", "gain", "scale", "sharpness", "leakage")


@command.command("all")
@_distance_option
@_pitch_option
@_concentrations_option
@_unit_option
@_yes_option
@run_dir_option
@json_option
def everything(
    distance_mm: float,
    pitch_mm: float,
    concentrations: str | None,
    unit: str,
    yes: bool,
    run_dir: Path,
    as_json: bool,
) -> None:
    """All steps, light last (sensitivity only with --concentrations); ends at the first that fails."""
    asked_for = _Asked(yes, run_dir, as_json, distance_mm, pitch_mm, _numbers(concentrations), unit)
    row: tuple[Part, ...] = ("sensitivity",) if concentrations else ()
    _take_steps((*_ALL, *row, "light"), asked_for)


def _numbers(text: str | None) -> tuple[float, ...]:
    try:
        numbers = tuple(float(one) for one in text.split(",")) if text else ()
    except ValueError:
        numbers = (math.nan,)
    if not all(math.isfinite(one) for one in numbers):
        raise Refused("concentrations are numbers with commas between", text, "for example 0,0.1,0.2,0.5")
    return numbers


def _take_steps(names: tuple[Part, ...], told: _Asked) -> None:
    from device.commissioning.steps import step

    if told.as_json and not told.yes:
        raise Refused("nobody can be asked with --json", remedy="put the target in place, and add --yes")
    say = saying(told.as_json)
    more = told.distance_mm, told.pitch_mm, told.concentrations, told.unit
    # made before the first is taken, so that what was told wrongly is refused now
    steps = [(name, None if name == "light" else step(name, *more)) for name in names]
    found: dict[str, Any] = {}
    stop_tidily()
    with connected(told.run_dir, timeout_s=_PATIENCE_S) as client:
        if len(steps) > 1 and len(asked(client, GetState()).light_levels) == 1:
            steps = [(name, one) for name, one in steps if name != "light"]
            say("light is left out: the ring has one level only, so there is nothing to compare")
        for number, (name, one) in enumerate(steps, start=1):
            say(f"step {number} of {len(steps)}: {name}")
            found[name] = _light_taken(client, told) if one is None else _taken(client, one, told)
    result = found[names[0]] if len(names) == 1 else found
    answer(result, _PROPOSED if told.propose else _KEPT, told.as_json)


def _taken(client: ControlClient, step: "Step", told: _Asked) -> dict[str, Any]:
    from device.commissioning.bench import Bench
    from device.commissioning.run import in_force, take

    say = saying(told.as_json)
    step.check(in_force(asked(client, GetState())))  # before anyone puts a target in place for nothing
    _ask_whether_in_place(step.guide, told)
    walked: Callable[[], object] = (lambda: os.nice(_NICENESS)) if told.propose else (lambda: None)
    done = take(step, Bench(client, say, time.sleep), _now, told.propose, walked)
    if not told.as_json:
        click.echo(_readable(done))
    return {"calibration": str(done.path), "recording": done.recording, **plain(done.kept.figures.of(step.name))}


def _light_taken(client: ControlClient, told: _Asked) -> dict[str, Any]:
    from device.commissioning.light_output import measured
    from device.commissioning.light_steps import LightSteps
    from shared.commissioning.proposal import tray
    from shared.optics.light_output import FOLDER, keep
    from shared.recording import Recording

    say, state = saying(told.as_json), asked(client, GetState())
    data_folder = Path(state.data_folder)
    writable(data_folder / FOLDER)  # before anything is lit for nothing
    _ask_whether_in_place(_LIGHT_GUIDE, told)
    name = LightSteps(client, say, time.sleep).recorded()
    with Recording.open(data_folder / "recordings" / f"{name}.zarr") as recording:
        result, evidence = measured(recording, _now(), state.ring)
    path = keep(tray(data_folder) if told.propose else data_folder, result, evidence)
    lines = [
        f"level {one.level:4.0%}   output {one.output:.4f} ± {one.u:.5f}   ({one.output / one.level - 1:+.1%} against linear)"
        for one in result.levels
    ]
    say("\n".join([*lines, f"kept as {path}, readings beside it, frames in {result.recording}", ""]))
    return {"file": str(path), **plain(result)}


def _ask_whether_in_place(guide: str, told: _Asked) -> None:
    if not told.yes:
        click.echo(guide)
        click.confirm("Is everything in place?", abort=True)


def _readable(done: "Done") -> str:
    """Each figure beside its limit, as on the certificate."""
    from shared.commissioning.verdict import verdicts

    figures = done.kept.figures
    found = [one for one in verdicts(figures, (1 << figures.bit_depth) - 1) if one.step == done.step.name]
    words = {True: "pass", False: "FAIL", None: ""}
    lines = [f"{one.figure:<30}{one.words:<38}{one.limit:<18}{words[one.passed]}".rstrip() for one in found]
    if any(one.passed is False for one in found):
        lines.append("NOT PASSED: put that right and take the step again, or go back: tapetum calibrate use")
    return "\n".join([*lines, f"kept as {done.path}, frames in {done.recording}", ""])


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


@command.command("certificate")
@click.argument("out", metavar="OUT.pdf", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--of", "name", help="Name of a calibration, as listed.  [default: the newest]")
@run_dir_option
@json_option
def certificate(out: Path, name: str | None, run_dir: Path, as_json: bool) -> None:
    """Write a calibration as a dated certificate: figures beside limits, curves, cautions. Exit status 1 where one failed."""
    from device.certificate import Subject, write
    from device.commissioning.run import in_force
    from shared.commissioning.calibration_folder import load
    from shared.optics.light_output import newest

    with connected(run_dir) as client:
        state = asked(client, GetState())
    data_folder = Path(state.data_folder)
    kept = in_force(state) if name is None else load(data_folder, name)
    if not kept.name:
        raise Refused("nothing was calibrated yet", remedy="start with tapetum calibrate dark")
    good = write(Subject(kept, data_folder, newest(data_folder, state.ring), len(state.light_levels)), out)
    words = f"written as {out}: {'passed' if good else 'NOT PASSED'}"
    answer({"file": str(out), "calibration": kept.name, "passed": good}, words, as_json)
    if not good:
        raise SystemExit(1)
