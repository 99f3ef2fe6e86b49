"""``tapetum run``: the handheld itself, in the foreground."""

import json
from pathlib import Path

import click

from device.cli import json_option
from device.cli.running import page_fingerprint
from device.demo import Place, children, run_device


@click.command()
@click.option(
    "--run-dir",
    default="/run/tapetum",
    show_default=True,
    type=click.Path(path_type=Path),
    help="Folder of the sockets.",
)
@click.option(
    "--data",
    "data",
    metavar="DIR",
    default="/var/lib/tapetum",
    show_default=True,
    type=click.Path(path_type=Path),
    help="Folder of recordings and stills.",
)
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to serve on; 0.0.0.0 lets tablets in.")
@click.option(
    "--port",
    default=8080,
    show_default=True,
    type=click.IntRange(1, 65534),
    help="Port of the page; pictures use the next one.",
)
@click.option("--settings", metavar="F", type=click.Path(path_type=Path), help="Settings laid over the vendor's.")
@json_option
def command(run_dir: Path, data: Path, host: str, port: int, settings: Path | None, as_json: bool) -> None:
    """Camera, ring and button of a real handheld, supervised in the foreground for work at the bench.

    Installed handhelds are run by systemd instead (tapetum.target). Do not stare into the ring; wear goggles near it.
    """

    def ready(url: str, word: str) -> None:
        if as_json:
            click.echo(json.dumps({"url": url, "pair": word}))
            return
        click.echo(f"open {url} and type {word}; Ctrl-C ends it")
        if (fingerprint := page_fingerprint(run_dir)) is not None:
            click.echo(f"tablets trust {url}/api/v1/certificate.pem with the fingerprint {fingerprint}")

    place = Place(run_dir, data.absolute(), host, port)
    run_device(
        place, children(place, [], False, settings), ready, lambda line: click.echo(f"tapetum: {line}", err=True), None
    )
