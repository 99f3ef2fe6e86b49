"""``tapetum demo``: the whole on the simulated device."""

import json
from pathlib import Path

import click

from device.cli import json_option
from device.cli.number import Number
from device.cli.running import page_fingerprint
from device.demo import Place, children, default_data_folder, free_port, new_run_folder, remove_run_folder, run_device

_CAUTIONS = """\
Not a certified medical device. It shows relative intensity, not viability; decisions stay with licensed practice and local
rules. On a real handheld: do not stare into the ring, and give goggles to patient and staff near the eyes."""


@click.command()
@click.option("--scene", metavar="F", help="Scene file, or a ready scene: flap, limb, nodes.  [default: flap]")
@click.option(
    "--replay",
    metavar="CLIP",
    type=click.Path(path_type=Path, exists=False),
    help="Replay a recording, clip, stack or picture folder instead.",
)
@click.option("--fps", type=Number(0.1, 1000), help="Frames a second of a clip that does not say.")
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to serve on; 0.0.0.0 lets tablets in.")
@click.option(
    "--port",
    default=8080,
    show_default=True,
    type=click.IntRange(0, 65534),
    help="Port of the page; the next one is for pictures. 0: any.",
)
@click.option(
    "--data",
    "data",
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="Folder of recordings and stills.  [default: ~/.local/share/tapetum]",
)
@click.option("--seconds", type=Number(0.1), help="Stop after so long.")
@click.option(
    "--seed", default=0, show_default=True, type=click.IntRange(0, 2**31 - 1), help="Seed of the simulated noise."
)
@click.option("--settings", metavar="F", type=click.Path(path_type=Path), help="Settings laid over the vendor's.")
@json_option
def command(
    scene: str | None,
    replay: Path | None,
    fps: float | None,
    host: str,
    port: int,
    data: Path | None,
    seconds: float | None,
    seed: int,
    settings: Path | None,
    as_json: bool,
) -> None:
    """Light guard, imager and page on the simulated device: no hardware, and nothing that can dazzle anyone.

    Prints an address and a pairing word. Open the address in a browser, type the word, hold Light, touch healthy skin for
    the reference, touch Dye in. Ctrl-C ends it.
    """
    if scene is not None and replay is not None:
        raise click.UsageError("--scene and --replay exclude each other")
    imager = ["--replay", str(replay)] if replay is not None else ["--scene", scene or "flap", "--seed", str(seed)]
    if fps is not None:
        imager += ["--fps", str(fps)]
    serving = port or free_port(host)
    run_folder = new_run_folder()
    place = Place(run_folder, (data or default_data_folder()).absolute(), host, serving)

    def ready(url: str, word: str) -> None:
        if as_json:
            click.echo(json.dumps({"url": url, "pair": word}))
            return
        source = f"replay of {replay}" if replay is not None else f"simulated scene {scene or 'flap'}"
        click.echo(f"{source}\n\n    open   {url}/#pair={word}\n    or     {url}   and type   {word}\n")
        if (fingerprint := page_fingerprint(run_folder)) is not None:
            click.echo(f"tablets trust {url}/api/v1/certificate.pem with the fingerprint\n    {fingerprint}\n")
        click.echo(
            f"recordings go to {place.data_folder}; Ctrl-C ends it\n"
            f"other commands find it by --run-dir {run_folder}, for example tapetum check\n\n{_CAUTIONS}"
        )

    def note(line: str) -> None:
        click.echo(f"tapetum: {line}", err=True)

    try:
        if not as_json:
            click.echo(
                "starting light guard, imager and page (the first start compiles, which takes a minute) ...", err=True
            )
        run_device(place, children(place, imager, True, settings), ready, note, seconds)
    finally:
        remove_run_folder(run_folder)
