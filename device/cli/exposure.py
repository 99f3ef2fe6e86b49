"""``tapetum exposure``."""

from pathlib import Path
from typing import Literal, cast

import click

from device.cli import answer, json_option
from device.cli.running import connected, run_dir_option
from shared.bounded import plain
from shared.protocol.control import ChooseExposure, ExposureChosen


@click.command()
@click.option("--apply", is_flag=True, help="Set it as well, and look again until it fits.")
@click.option(
    "--dye",
    type=click.Choice(["to come", "is in"]),
    default="to come",
    show_default=True,
    help="Whether room must be left for the dye.",
)
@run_dir_option
@json_option
def command(apply: bool, dye: str, run_dir: Path, as_json: bool) -> None:
    """Choose exposure, gain and light level by what the camera sees of the reference, or of the picture's middle.

    The light must be on (hold the button, or tapetum light on). Refused while a run is on: exposure stays as it is from "Dye in"
    to the end of the recording, and for ten minutes after the dye.
    """
    with connected(run_dir) as client:
        chosen = client.ask(ChooseExposure(apply, cast(Literal["to come", "is in"], dye)))
    assert isinstance(chosen, ExposureChosen)
    answer(plain(chosen), readable(chosen), as_json)


def readable(chosen: ExposureChosen) -> str:
    """One line for people."""
    what = f"{chosen.exposure_us / 1000:.2f} ms, gain {chosen.gain:g}, light {chosen.light_level:.0%}"
    seen = f"{chosen.area} at {chosen.seen_share:.0%} of full scale, wanted {chosen.target_share:.0%}"
    done = f"set in {chosen.steps} steps" if chosen.applied else "not set; --apply sets it"
    return f"{what} ({chosen.verdict}; {seen}; {done})"
