"""``tapetum target``: printable targets for commissioning."""

from pathlib import Path

import click

from device.cli import answer, json_option


@click.command()
@click.argument("out", metavar="OUT.pdf", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="Size, landscape.")
@json_option
def command(out: Path, paper: str, as_json: bool) -> None:
    """Write the sheets for tapetum calibrate: dot grid, slanted edge, places of the even target and of wells.

    They are true to scale: print at 100 %, with a laser printer on matt paper, and measure both rulers.
    """
    from device.target_sheets import PAPERS_MM, write

    write(out, paper)
    width, height = PAPERS_MM[paper]
    words = f"written as {out}: four pages of {width:g} x {height:g} mm; print at 100 % and measure both rulers"
    answer({"file": str(out), "pages": 4, "width_mm": width, "height_mm": height}, words, as_json)
