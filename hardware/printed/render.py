"""``python -m hardware.printed.render FOLDER``: every printed part as STL, and with ``--pictures`` as PNG too.

The number of LEDs and their circle come from ``hardware/ring.toml``, the file that the light limits are computed from, so a ring
that was judged and a ring that is printed cannot differ. Anything else of ``dimensions.scad`` may be set, as in
``--set filter_thickness_mm=2``.
Pictures need a display; ``xvfb-run`` makes one where there is none.
"""

import argparse
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

from shared.errors import Refused
from shared.optics.ring import Ring, read_ring

HERE = Path(__file__).resolve().parent
RING = HERE.parent / "ring.toml"
PARTS = (
    "ring",
    "led_collar",
    "filter_holder",
    "filter_spacer",
    "camera_mount",
    "body",
    "lid",
    "grip",
    "drape_clip",
)
VIEWS = {  # degrees about x and z
    "ring": (40, 30),
    "camera_mount": (45, 30),
    "body": (50, 150),
    "grip": (60, 150),
    "assembly": (68, 112),
}


def dimension(name: str) -> float:
    """A plain number of ``dimensions.scad``; raises Refused for a name that is none there."""
    found = re.search(rf"^{re.escape(name)} = ([\d.]+);", (HERE / "dimensions.scad").read_text(), re.MULTILINE)
    if found is None:
        raise Refused("no such dimension", name, "see hardware/printed/dimensions.scad")
    return float(found.group(1))


def definitions(ring: Ring, fineness: int, more: Mapping[str, float]) -> list[str]:
    """OpenSCAD's ``-D`` arguments; raises Refused for a name that no part knows."""
    for name in more:
        dimension(name)
    values = {"$fn": fineness, "leds": ring.leds, "ring_radius_mm": ring.radius_mm, **more}
    return [argument for name, value in values.items() for argument in ("-D", f"{name}={value:g}")]


def render(part: str, target: Path, given: list[str]) -> None:
    """One part into one file, whose suffix says what it becomes. Raises Refused with OpenSCAD's own first complaint."""
    command = ["openscad", "-q", *given, "-o", str(target)]
    if target.suffix == ".png":
        about_x, about_z = VIEWS.get(part, (50, 30))
        camera = f"--camera=0,0,0,{about_x},0,{about_z},0"
        command += ["--imgsize=1400,900", "--colorscheme=Tomorrow", "--viewall", "--autocenter", camera]
        if not os.environ.get("DISPLAY"):
            command = ["xvfb-run", "-a", *command]
    if shutil.which(command[0]) is None:
        raise Refused(f"{command[0]} is missing", remedy="apt-get install openscad xvfb xauth")
    done = subprocess.run([*command, str(HERE / f"{part}.scad")], capture_output=True, text=True, check=False)
    if done.returncode != 0 or not target.is_file():
        complaints = [line for line in done.stderr.splitlines() if line.startswith(("ERROR", "WARNING", "Current top"))]
        raise Refused(f"OpenSCAD refused {part}", complaints[0] if complaints else done.stderr, "see its .scad file")


def main(arguments: list[str] | None = None) -> int:
    """Render what was asked for; exit 2 with one line where that is not possible."""
    options = _parser().parse_args(arguments)
    try:
        given = definitions(read_ring(options.ring), options.fineness, dict(map(_setting, options.set)))
        options.folder.mkdir(parents=True, exist_ok=True)
        targets = [(part, f"{part}.stl") for part in PARTS]
        if options.pictures:
            targets += [(part, f"{part}.png") for part in (*PARTS, "assembly")]
        for part, name in targets:
            render(part, options.folder / name, given)
            print(options.folder / name)
    except Refused as refused:
        print(refused.line, file=sys.stderr)
        return 2
    return 0


def _setting(text: str) -> tuple[str, float]:
    name, _, value = text.partition("=")
    try:
        return name, float(value)
    except ValueError:
        raise Refused("not a dimension and a number", text, "write --set name=number") from None


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m hardware.printed.render", description="Printed parts of the handheld."
    )
    parser.add_argument("folder", type=Path, help="where the files go")
    parser.add_argument("--pictures", action="store_true", help="PNG pictures too")
    parser.add_argument("--ring", type=Path, default=RING, help="ring description (default: hardware/ring.toml)")
    parser.add_argument("--fineness", type=int, default=96, help="straight pieces of a circle")
    parser.add_argument("--set", action="append", default=[], metavar="NAME=MM", help="a dimension, in millimetres")
    return parser


if __name__ == "__main__":
    sys.exit(main())
