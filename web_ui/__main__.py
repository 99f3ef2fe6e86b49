"""The web process: page and interface on one port, pictures on the next.

Prints one line of JSON when both answer: ``{"url": ..., "pair": ...}``. SIGTERM stops it cleanly.
"""

import argparse
import asyncio
import gc
import json
import logging
import os
import signal
import socket
import sys
from pathlib import Path

import sdnotify

from shared.clock import SystemClock
from shared.errors import Refused
from shared.protocol.control import State
from web_ui.app import close_app, create_app
from web_ui.device_link import StatePoll
from web_ui.page_server import PageServer
from web_ui.pairing import Pairing
from web_ui.pictures import PictureServer

_CHECK_S = 1.0


def main() -> int:
    """Run until told to stop; returns the exit status."""
    logging.basicConfig(level=logging.INFO, format="web: %(levelname)s %(name)s: %(message)s", stream=sys.stderr)
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    logging.getLogger("websockets.server").setLevel(logging.WARNING)
    try:
        return asyncio.run(_serve(_arguments()))
    except Refused as refusal:
        print(refusal.line, file=sys.stderr)
        return 2


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m web_ui", description=__doc__)
    parser.add_argument("--run-dir", type=Path, required=True, help="folder of control.sock and frame_bus")
    parser.add_argument("--data-dir", type=Path, required=True, help="folder of recordings and stills")
    parser.add_argument("--host", default="127.0.0.1", help="address to serve on (default: this machine only)")
    parser.add_argument("--port", type=int, required=True, help="port of the page; pictures stream from the next one")
    parser.add_argument("--pair-word", help="word that pairs a browser (default: a new one at each boot)")
    return parser.parse_args()


async def _serve(arguments: argparse.Namespace) -> int:
    host, port, run_folder = arguments.host, arguments.port, arguments.run_dir
    if not 1 <= port <= 65_534:
        raise Refused("port must be from 1 to 65534", port, "choose another; the next one serves the pictures")
    if not run_folder.is_dir():
        raise Refused("no such run folder", str(run_folder), "start the imager first, or name its folder")
    clock = SystemClock()
    pairing = Pairing.kept_in(run_folder, clock, arguments.pair_word)
    stop = _stop_signal()
    pictures = PictureServer(run_folder / "frame_bus", pairing.paired, port, clock)
    app = create_app(run_folder=run_folder, data_folder=arguments.data_dir, pairing=pairing, picture_port=port + 1)
    try:
        await _listening(pictures, host, port + 1)
        page = PageServer(app, host, port)
    except BaseException:
        await pictures.close()
        close_app(app)
        raise
    loop = asyncio.get_running_loop()
    poll = StatePoll(run_folder / "control.sock", lambda state: _tell(loop, pictures, state))
    gc.freeze()  # what is loaded by now stays: no collection need walk through it while pictures wait
    print(json.dumps({"url": _url(host, port), "pair": pairing.word}), flush=True)
    sdnotify.SystemdNotifier().notify("READY=1")
    try:
        return await _watch(stop, page, poll)
    finally:
        sdnotify.SystemdNotifier().notify("STOPPING=1")
        await pictures.close()
        await asyncio.to_thread(page.close)
        await asyncio.to_thread(poll.close)
        close_app(app)


def _stop_signal() -> asyncio.Event:
    stop = asyncio.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        asyncio.get_running_loop().add_signal_handler(number, stop.set)
    return stop


async def _listening(pictures: PictureServer, host: str, port: int) -> None:
    try:
        await pictures.start(host, port)
    except OSError as error:
        raise Refused(
            f"cannot serve pictures on {host}:{port} ({error.strerror})", remedy="choose another --port"
        ) from None


def _tell(loop: asyncio.AbstractEventLoop, pictures: PictureServer, state: State | None) -> None:
    if not loop.is_closed():
        loop.call_soon_threadsafe(pictures.put_state, state)


async def _watch(stop: asyncio.Event, page: PageServer, poll: StatePoll) -> int:
    """Wait for the stop signal; feed systemd's watchdog while every thread lives, and end when one does not."""
    notifier = sdnotify.SystemdNotifier()
    while not stop.is_set():
        if not (page.alive and poll.alive):
            logging.getLogger("web_ui").critical("a thread of the web process died; ending, to be started again")
            return 1
        if os.environ.get("WATCHDOG_USEC"):
            notifier.notify("WATCHDOG=1")
        try:
            await asyncio.wait_for(stop.wait(), _CHECK_S)
        except TimeoutError:
            continue
    return 0


def _url(host: str, port: int) -> str:
    if host in ("0.0.0.0", "::"):  # noqa: S104 - compared, not bound
        host = _own_address()
    return f"http://[{host}]:{port}" if ":" in host else f"http://{host}:{port}"


def _own_address() -> str:
    """Address of this machine on its network. Connecting a datagram socket only chooses a route; nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # TEST-NET-1, RFC 5737: belongs to nobody
        except OSError:
            return "127.0.0.1"
        return str(probe.getsockname()[0])


if __name__ == "__main__":
    sys.exit(main())
