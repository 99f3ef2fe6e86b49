"""The command line, one file a command; each file's ``command`` is loaded only when it is asked for."""

import importlib
import json
import sys
from typing import Any

import click

from shared.errors import Refused

_COMMANDS = {
    "demo": "All of it on the simulated device, in a browser; no hardware.",
    "run": "The handheld itself, in the foreground.",
    "parts": "Whether dye, LED, filters, lens and sensor fit each other, and what to change.",
    "light-limits": "Exposure limits in front of a ring: shortest distance, allowed time.",
    "simulate": "Write a recording from a scene, as fast as it can.",
    "import": "Make a recording of a clip, TIFF stack or picture folder from any camera.",
    "recordings": "List recordings.",
    "analyse": "Curves and relative values of a recording, with intervals.",
    "compare": "Two recordings of the same view: what differs, with left-over dye taken out.",
    "dye": "Dye given to a case so far: beside the label's limit, and about how much is left.",
    "export": "Write a recording as files that other software opens.",
    "status": "What a running device is doing.",
    "light": "Switch the light of a running device, or step its level.",
    "exposure": "Choose exposure, gain and light level of a running device before a run.",
    "record": "Start or stop recording on a running device.",
    "check": "The check before a case: under a minute, pass or fail with what to do.",
    "target": "Printable targets for commissioning, true to scale.",
    "calibrate": "Measure what this handheld's camera and ring do, on a running device.",
}
_MODULES = {"import": "import_footage"}
"""Files that cannot bear their command's name."""


class _OnDemand(click.Group):
    """Loads a command's module when it is used, so that ``--help`` does not wait for numpy."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in _COMMANDS:
            return None
        module = _MODULES.get(cmd_name, cmd_name.replace("-", "_"))
        command = importlib.import_module(f"device.cli.{module}").command
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(_COMMANDS.items()))


@click.group(
    cls=_OnDemand,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110},
)
@click.version_option(package_name="tapetum", message="tapetum %(version)s")
@click.pass_context
def tapetum(context: click.Context) -> None:
    """Near-infrared fluorescence imager for indocyanine green, made by the surgeon who uses it.

    Shows relative intensity, never viability. Not a certified medical device: decisions stay with licensed practice and local
    rules. Every command takes --json for machines; exit status is 0 only when the thing asked for was done.
    """
    if context.invoked_subcommand is None:
        click.echo(context.get_help())


def answer(result: dict[str, Any], readable: str, as_json: bool) -> None:
    """Print one JSON object, or the form for people."""
    click.echo(json.dumps(result, allow_nan=False) if as_json else readable)


json_option = click.option("--json", "as_json", is_flag=True, help="Print one JSON object for machines.")


def main() -> None:
    """Run the command line; a Refused becomes one line and exit status 2."""
    try:
        code = tapetum.main(prog_name="tapetum", standalone_mode=False)
    except Refused as error:
        click.echo(f"tapetum: {error.line}", err=True)
        code = 2
    except click.ClickException as error:
        usage = error.ctx.command_path if isinstance(error, click.UsageError) and error.ctx else "tapetum"
        what = " ".join(error.format_message().split()).rstrip(".")
        click.echo(f"tapetum: {what[:1].lower()}{what[1:]}; see {usage} --help", err=True)
        code = 2
    except (click.Abort, KeyboardInterrupt):
        click.echo("tapetum: stopped", err=True)
        code = 130
    except BrokenPipeError:
        code = 0
    sys.exit(code if isinstance(code, int) else 0)
