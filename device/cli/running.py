"""The device that is running on this machine, as the small commands see it."""

from pathlib import Path

import click

from shared.errors import Refused
from shared.protocol.control import State
from shared.protocol.control_client import ControlClient

run_dir_option = click.option(
    "--run-dir", default="/run/tapetum", show_default=True, type=click.Path(path_type=Path), help="Where it has its sockets."
)  # fmt: skip


def connected(run_folder: Path) -> ControlClient:
    """Client of the running device; raises Refused when there is none."""
    socket = run_folder / "control.sock"
    if not socket.exists():
        raise Refused(
            "no device is running here", str(socket), "start one with tapetum run or tapetum demo, or give --run-dir"
        )
    return ControlClient(socket)


def asked(client: ControlClient, request: object) -> State:
    """State after ``request``."""
    answer = client.ask(request)
    assert isinstance(answer, State)
    return answer
