"""The web process: page and interface on one port, pictures on the next.

Prints one line of JSON when both answer: ``{"url": ..., "pair": ...}``, and the ``fingerprint`` to trust where it serves tablets.
On a loopback address it serves plain HTTP, on any other HTTPS only. SIGTERM stops it cleanly.
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
import time
from collections.abc import Callable
from contextlib import AsyncExitStack
from pathlib import Path
from typing import TYPE_CHECKING

import sdnotify
from flask import Flask

from shared.clock import SystemClock
from shared.errors import Refused
from web_ui.access import Access
from web_ui.app import close_app, create_app
from web_ui.device_link import DeviceLink, StatePoll
from web_ui.one_heap import share_one_heap
from web_ui.own_names import OwnNames, is_loopback, own_names
from web_ui.page_server import PageServer
from web_ui.pictures import PictureServer
from web_ui.tls_front import TlsFront

if TYPE_CHECKING:
    from web_ui.encryption import Encryption

_log = logging.getLogger("web_ui")

_CHECK_S = 1.0
_CERTIFICATE_S = 60.0


def main() -> int:
    """Run until told to stop; returns the exit status."""
    logging.basicConfig(level=logging.INFO, format="web: %(levelname)s %(name)s: %(message)s", stream=sys.stderr)
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    logging.getLogger("websockets.server").setLevel(logging.WARNING)
    share_one_heap()
    try:
        return asyncio.run(_serve(_arguments()))
    except Refused as refusal:
        print(refusal.line, file=sys.stderr)
        return 2


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m web_ui", description=__doc__)
    parser.add_argument("--run-dir", type=Path, required=True, help="folder of control.sock and frame_bus")
    parser.add_argument("--data-dir", type=Path, required=True, help="folder of recordings and stills")
    parser.add_argument(
        "--state-dir", type=Path, help="folder of the page's certificate (default: page/ in --data-dir)"
    )
    parser.add_argument(
        "--name", action="append", default=[], help="a further host name of this device; may be repeated"
    )
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
    clock, stop = SystemClock(), _stop_signal()
    device = DeviceLink(run_folder / "control.sock")
    access = Access.kept_in(run_folder, device, clock, arguments.pair_word)
    names = (*own_names(), *arguments.name)
    tls = None if is_loopback(host) else _encryption(arguments.state_dir or arguments.data_dir / "page", names, host)
    async with AsyncExitStack() as opened:
        pictures = PictureServer(run_folder / "frame_bus", access, port, clock, names=OwnNames(names))
        opened.push_async_callback(pictures.close)
        app = create_app(
            run_folder=run_folder,
            data_folder=arguments.data_dir,
            access=access,
            device=device,
            picture_port=port + 1,
            names=names,
            certificate=tls.certificate.authority_pem if tls else None,
        )
        opened.callback(close_app, app)
        await _pictures_listening(pictures, host, port + 1, tls)
        page = await _page_listening(app, host, port, tls, opened)
        loop = asyncio.get_running_loop()
        access.roles.on_end = lambda: _soon(loop, pictures.part_from_unpaired)
        poll = StatePoll(
            run_folder / "control.sock", lambda state: _soon(loop, pictures.put_state, state, access.state())
        )
        opened.push_async_callback(asyncio.to_thread, poll.close)
        gc.freeze()  # what is loaded by now stays: no collection need walk through it while pictures wait
        _say_ready(run_folder, _url(host, port, tls), access.pairing.word, tls)
        opened.callback(sdnotify.SystemdNotifier().notify, "STOPPING=1")
        return await _watch(stop, page, poll, tls)


def _encryption(folder: Path, names: tuple[str, ...], host: str) -> "Encryption":
    from web_ui.encryption import Encryption  # here: its library takes 6 MB, which a page on loopback does not need

    return Encryption(folder, names, host)


def _say_ready(run_folder: Path, url: str, word: str, tls: "Encryption | None") -> None:
    """One line for whoever started this, and the fingerprint where ``tapetum status`` looks for it."""
    line = {"url": url, "pair": word}
    kept = run_folder / "fingerprint"
    kept.unlink(missing_ok=True)
    if tls is not None:
        line["fingerprint"] = tls.certificate.fingerprint
        kept.write_text(f"{tls.certificate.fingerprint}\n")
    print(json.dumps(line), flush=True)
    sdnotify.SystemdNotifier().notify("READY=1")


def _stop_signal() -> asyncio.Event:
    stop = asyncio.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        asyncio.get_running_loop().add_signal_handler(number, stop.set)
    return stop


async def _pictures_listening(pictures: PictureServer, host: str, port: int, tls: "Encryption | None") -> None:
    try:
        await pictures.start(host, port, tls.context if tls else None)
    except OSError as error:
        raise Refused(
            f"cannot serve pictures on {host}:{port} ({error.strerror})", remedy="choose another --port"
        ) from None


async def _page_listening(
    app: Flask, host: str, port: int, tls: "Encryption | None", opened: AsyncExitStack
) -> PageServer:
    """The page's server; encrypted, it listens on loopback behind a front, which answers on ``host`` and ``port``."""
    if tls is None:
        page = PageServer(app, host, port)
        opened.push_async_callback(asyncio.to_thread, page.close)
        return page
    addresses: dict[int, str] = {}
    page = PageServer(app, "127.0.0.1", 0, addresses)
    opened.push_async_callback(asyncio.to_thread, page.close)
    front = TlsFront(("127.0.0.1", page.port), addresses)
    opened.push_async_callback(front.close)
    try:
        await front.start(host, port, tls.context)
    except OSError as error:
        raise Refused(
            f"cannot serve the page on {host}:{port} ({error.strerror})", remedy="choose another --port"
        ) from None
    return page


def _soon(loop: asyncio.AbstractEventLoop, act: Callable[..., object], *arguments: object) -> None:
    if not loop.is_closed():
        loop.call_soon_threadsafe(act, *arguments)


async def _watch(stop: asyncio.Event, page: PageServer, poll: StatePoll, tls: "Encryption | None") -> int:
    """Wait for the stop signal; feed systemd's watchdog while every thread lives, and end when one does not."""
    notifier = sdnotify.SystemdNotifier()
    look_again = time.monotonic() + _CERTIFICATE_S
    while not stop.is_set():
        if not (page.alive and poll.alive):
            _log.critical("a thread of the web process died; ending, to be started again")
            return 1
        if os.environ.get("WATCHDOG_USEC"):
            notifier.notify("WATCHDOG=1")
        if tls is not None and time.monotonic() >= look_again:
            look_again = time.monotonic() + _CERTIFICATE_S
            if tls.keep_up():
                _log.info("the page has a new certificate; tablets that trust the device notice nothing")
        try:
            await asyncio.wait_for(stop.wait(), _CHECK_S)
        except TimeoutError:
            continue
    return 0


def _url(host: str, port: int, tls: "Encryption | None") -> str:
    if host in ("0.0.0.0", "::"):  # noqa: S104 - compared, not bound
        host = _own_address()
    scheme = "http" if tls is None else "https"
    return f"{scheme}://[{host}]:{port}" if ":" in host else f"{scheme}://{host}:{port}"


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
