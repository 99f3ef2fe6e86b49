"""``tapetum import``: a recording from any camera's footage."""

from pathlib import Path

import click

from device.cli import answer, json_option
from device.cli.number import Number
from device.cli.percent_done import PercentDone
from device.footage_import import Stated, import_footage


@click.command("import")
@click.argument("clip", type=click.Path(path_type=Path))
@click.option(
    "--out", required=True, type=click.Path(path_type=Path), metavar="REC", help="Recording to write; must not exist."
)
@click.option("--fps", type=Number(0.1, 1000), help="Frames a second, where the file does not say it or errs.")
@click.option("--black-level", type=Number(0, 65535), help="Count of a pixel that sees nothing. Else estimated.")
@click.option(
    "--bit-depth", type=click.IntRange(8, 16), help="Bits of the camera's counts. Else as many as are needed."
)
@click.option("--linear", is_flag=True, help="Counts are proportional to light.")
@click.option("--gamma", type=Number(0.2, 5), metavar="G", help="Counts go with light to 1/G; undone here.")
@click.option("--injected-at", type=Number(), metavar="S", help="When the dye went in, seconds after the first frame.")
@json_option
def command(
    clip: Path,
    out: Path,
    fps: float | None,
    black_level: float | None,
    bit_depth: int | None,
    linear: bool,
    gamma: float | None,
    injected_at: float | None,
    as_json: bool,
) -> None:
    """Make a recording of CLIP: a video (mp4, avi, mov), a TIFF stack or a folder of pictures from any camera.

    What nobody knows of it (gamma, exposure, gain, light) is marked in the recording and said with every result. The file's name,
    which may be a patient's, is not kept.
    """
    if linear and gamma is not None:
        raise click.UsageError("--linear and --gamma exclude each other")
    stated = Stated(fps, black_level, bit_depth, 1.0 if linear else gamma, injected_at)
    done = import_footage(clip, out, stated, PercentDone())
    result = {
        "recording": str(out),
        "frames": done.frames,
        "duration_s": round(done.duration_s, 6),
        "width_px": done.camera.width,
        "height_px": done.camera.height,
        "bit_depth": done.camera.bit_depth,
        "black_level_counts": done.camera.black_level,
        "frame_interval_s": round(done.camera.frame_interval_us / 1e6, 9),
        "injected_at_s": injected_at,
        "unknown": list(done.unknown),
    }
    readable = (
        f"{out}: {done.frames} frames of {done.camera.width} x {done.camera.height}, {done.duration_s:g} s, "
        f"{1e6 / done.camera.frame_interval_us:.4g} a second; {done.camera.bit_depth} bits, black at {done.camera.black_level:g}\n"
        f"unknown: {', '.join(done.unknown)}"
    )
    answer(result, readable, as_json)
