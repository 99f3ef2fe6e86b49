"""All three processes on one machine: the simulated device for rehearsal, or the real one at the bench."""

import json
import os
import shutil
import signal
import socket
import tempfile
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from device.supervisor import Child, Supervisor
from shared.errors import Refused

READY_WITHIN_S = 600.0
"""The first start compiles, and other work may have the machine; a part that ends by itself is told at once."""
"""The first start on a machine compiles the kernels, which takes a slow board a minute or two."""


@dataclass(frozen=True)
class Place:
    """Where a device runs: its run folder (sockets), data folder (recordings, stills), host and port of the page."""

    run_folder: Path
    data_folder: Path
    host: str
    port: int


def new_run_folder() -> Path:
    """A folder for sockets and shared memory, in memory where the machine has that."""
    memory = Path("/dev/shm")  # noqa: S108 - mkdtemp makes a private folder in it
    return Path(tempfile.mkdtemp(prefix="tapetum-", dir=memory if os.access(memory, os.W_OK | os.X_OK) else None))


def default_data_folder() -> Path:
    """Where rehearsals keep their recordings unless told otherwise (XDG base directories)."""
    home = os.environ.get("XDG_DATA_HOME")
    return (Path(home) if home else Path.home() / ".local" / "share") / "tapetum"


def free_port(host: str) -> int:
    """A port that is free now, with the next one free too."""
    for _ in range(100):
        with closing(socket.socket()) as first, closing(socket.socket()) as second:
            try:
                first.bind((host, 0))
                port: int = first.getsockname()[1]
                second.bind((host, port + 1))
            except (OSError, OverflowError):
                continue
            return port
    raise Refused("no two neighbouring free ports found", host, "give --port")


def children(place: Place, imager: Sequence[str], simulated: bool, override: Path | None) -> list[Child]:
    """Guard, imager and web, in the order in which they start."""
    laid_over = ["--settings-override", str(override)] if override else []
    folders = ["--run-dir", str(place.run_folder), "--data-dir", str(place.data_folder)]
    guard = ["-m", "device.light", "--run-dir", str(place.run_folder), *laid_over]
    web = ["-m", "web_ui", *folders, "--host", place.host, "--port", str(place.port)]
    return [
        Child("light guard", [*guard, "--simulated"] if simulated else guard),
        Child("imager", ["-m", "device.imager", *folders, *laid_over, *imager]),
        Child("web", web),
    ]


def run_device(
    place: Place,
    parts: Sequence[Child],
    on_ready: Callable[[str, str], None],
    note: Callable[[str], None],
    seconds: float | None,
) -> None:
    """Run until SIGTERM, SIGINT or ``seconds``; ``on_ready`` gets address and pairing word. Raises Refused if it does not start."""
    for folder in (place.run_folder, place.data_folder):
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise Refused(f"{folder}: cannot be made ({error.strerror})", remedy="choose another folder") from None
    supervisor = Supervisor(parts, note, place.run_folder)
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, supervisor.request_stop)
    try:
        supervisor.start()
        line = supervisor.wait_line("web", READY_WITHIN_S)
        if line is None:
            return
        ready = json.loads(line)
        if supervisor.wait_until((place.run_folder / "control.sock").exists, "imager", READY_WITHIN_S):
            on_ready(ready["url"], ready["pair"])
            supervisor.run(seconds)
    finally:
        supervisor.stop()


def remove_run_folder(folder: Path) -> None:
    """Take a temporary run folder away."""
    shutil.rmtree(folder, ignore_errors=True)
