"""The WSGI server under page and interface, in a thread of its own."""

import threading
from collections.abc import Mapping
from contextlib import suppress
from typing import Any

from flask import Flask
from waitress.server import create_server

from shared.errors import Refused

_THREADS = 8
_CONNECTIONS = 100
_WAITING_BYTES = 1 << 20  # of one answer, for whoever reads slowly; the thread then waits, and pictures stay young
_LONGEST_BODY_BYTES = 1 << 20  # the application refuses far less, with a line of its own


class PageServer:
    """Serves ``app`` from construction to ``close``. Raises Refused when the port is taken.

    Behind a TlsFront it gets ``addresses``, and takes what comes as encrypted.
    """

    def __init__(self, app: Flask, host: str, port: int, addresses: Mapping[int, str] | None = None) -> None:
        self._open: dict[int, Any] = {}
        if addresses is not None:
            app.wsgi_app = _RealAddress(app.wsgi_app, addresses)  # type: ignore[method-assign]
        try:
            self._server = create_server(
                app,
                map=self._open,
                host=host,
                port=port,
                threads=_THREADS,
                connection_limit=_CONNECTIONS,
                channel_timeout=30,
                outbuf_high_watermark=_WAITING_BYTES,
                max_request_body_size=_LONGEST_BODY_BYTES,
                url_scheme="http" if addresses is None else "https",
                ident=None,
            )
        except OSError as error:
            raise Refused(
                f"cannot serve the page on {host}:{port} ({error.strerror})", remedy="choose another --port"
            ) from None
        self._thread = threading.Thread(target=self._server.run, name="page server", daemon=True)
        self._thread.start()

    @property
    def port(self) -> int:
        """Where it listens."""
        return int(self._server.effective_port)

    @property
    def alive(self) -> bool:
        """Whether the thread still serves."""
        return self._thread.is_alive()

    def close(self) -> None:
        """Stop; returns when its threads have ended."""
        # An answer just then wakes its loop as well, which may have hung up, and closed the trigger, before this pulls it.
        with suppress(OSError):
            self._server.trigger.pull_trigger(self._hang_up)
        self._thread.join()
        self._server.task_dispatcher.shutdown(timeout=0.5)

    def _hang_up(self) -> None:
        """In the server's own thread: with nothing left to watch, its loop ends."""
        for part in list(self._open.values()):
            part.close()
        self._open.clear()


class _RealAddress:
    """Names the tablet that asks, not the front through which its request came."""

    def __init__(self, app: Any, addresses: Mapping[int, str]) -> None:
        self._app = app
        self._addresses = addresses

    def __call__(self, environ: dict[str, Any], start_response: Any) -> Any:
        environ["REMOTE_ADDR"] = self._addresses.get(int(environ["REMOTE_PORT"]), environ["REMOTE_ADDR"])
        return self._app(environ, start_response)
