"""``tapetum simulate``: a recording from a scene."""

from pathlib import Path

import click

from device.cli import answer, json_option
from device.cli.number import Number
from device.cli.percent_done import PercentDone
from device.simulate import DEFAULT_INJECTION_S, simulate
from shared.scene.description import Scene, ready_scenes, scene_path


@click.command()
@click.option("--scene", required=True, metavar="F", help=f"Scene file, or a ready scene: {', '.join(ready_scenes())}.")
@click.option(
    "--out", required=True, type=click.Path(path_type=Path), metavar="REC", help="Recording to write; must not exist."
)
@click.option("--seconds", default=60.0, show_default=True, type=Number(0.03, 7200), help="Length of the recording.")
@click.option("--seed", default=0, show_default=True, type=click.IntRange(0, 2**31 - 1), help="Same seed, same frames.")
@click.option("--from-s", default=0.0, show_default=True, type=Number(0, 36_000), help="Scene time of the first frame.")
@click.option(
    "--dye-in-s",
    "injections_s",
    multiple=True,
    type=Number(0, 36_000),
    help="Scene time of a further injection; may be repeated.",
)
@json_option
def command(
    scene: str,
    out: Path,
    seconds: float,
    seed: int,
    from_s: float,
    injections_s: tuple[float, ...],
    as_json: bool,
) -> None:
    """Write a recording from a scene, as fast as it can.

    The scene's numbers are the truth that analysis can be checked against; its text and the seed are kept in the
    recording. Where the scene leaves the injection to an operator, it is given after 5 seconds. A second look, for
    `tapetum compare`: the same scene with --dye-in-s 5 --dye-in-s 605 and --from-s 600.
    """
    path = scene_path(scene)
    description = Scene.load(path)
    text = path.read_text(encoding="utf-8")
    summary = simulate(description, out, seconds, seed, PercentDone(), text, from_s, injections_s)
    result = {
        "recording": str(out),
        "scene": str(path),
        "seed": seed,
        "frames": summary.frames,
        "duration_s": summary.duration_s,
        "injected_at_s": summary.injected_at_s,
        "injection_assumed": summary.injection_assumed,
        "width_px": description.camera.width,
        "height_px": description.camera.height,
        "wall_s": round(summary.wall_s, 3),
        "frames_per_s": round(summary.frames / summary.wall_s, 1),
    }
    injection = f"dye in at {summary.injected_at_s:g} s"
    if summary.injection_assumed:
        injection += f" (the scene leaves it open; {DEFAULT_INJECTION_S:g} s is the default)"
    if summary.injected_at_s >= from_s + summary.duration_s:
        injection += ", which is after its end"
    readable = (
        f"{out}: {summary.frames} frames, {summary.duration_s:g} s, {injection}; "
        f"took {summary.wall_s:.1f} s ({summary.duration_s / summary.wall_s:.1f} times real time)"
    )
    answer(result, readable, as_json)
