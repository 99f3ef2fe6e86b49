"""Encryption before the page's server, which has none of its own: each connection is decrypted and passed on to it on loopback.

``tls_decision.md`` says why and what it costs.
"""

import asyncio
import contextlib
import ssl

_HANDSHAKE_S = 5.0
_MOST = 100
_PIECE_BYTES = 65_536


class TlsFront:
    """Listens on the address of tablets and passes plain HTTP to ``behind``. Lives in one event loop.

    ``addresses`` tells the page's server who really asks: a tablet's address, by the port from which its connection is passed on.
    """

    def __init__(self, behind: tuple[str, int], addresses: dict[int, str]) -> None:
        self._addresses = addresses
        self._behind = behind
        self._server: asyncio.Server | None = None
        self._connections: set[asyncio.Task[None]] = set()

    async def start(self, host: str, port: int, context: ssl.SSLContext) -> None:
        """Listen; raises OSError when the port is taken."""
        self._server = await asyncio.start_server(
            self._accept, host, port, ssl=context, ssl_handshake_timeout=_HANDSHAKE_S, ssl_shutdown_timeout=_HANDSHAKE_S
        )

    @property
    def port(self) -> int:
        """Where it listens."""
        assert self._server is not None
        found: int = self._server.sockets[0].getsockname()[1]
        return found

    async def close(self) -> None:
        """Stop, and hang up on everyone. May be called twice."""
        if self._server is not None:
            self._server.close()
            self._server = None
        for task in tuple(self._connections):
            task.cancel()
        await asyncio.gather(*self._connections, return_exceptions=True)

    async def _accept(self, tablet: asyncio.StreamReader, back: asyncio.StreamWriter) -> None:
        if len(self._connections) >= _MOST:
            back.transport.abort()
            return
        task = asyncio.current_task()
        assert task is not None
        self._connections.add(task)
        try:
            await self._serve(tablet, back)
        except (OSError, asyncio.CancelledError):
            pass  # one of the two hung up, or the process ends: nothing is left to be said
        finally:
            self._connections.discard(task)
            with contextlib.suppress(AttributeError):  # Python 3.11 before 3.11.4: what is closed cannot be aborted
                back.transport.abort()

    async def _serve(self, tablet: asyncio.StreamReader, back: asyncio.StreamWriter) -> None:
        page, onward = await asyncio.open_connection(*self._behind)
        own_port: int = onward.get_extra_info("sockname")[1]
        self._addresses[own_port] = back.get_extra_info("peername")[0]
        try:
            asking = asyncio.ensure_future(_passed_on(tablet, onward))
            try:
                await _passed_on(page, back)
                with contextlib.suppress(TimeoutError):
                    back.close()
                    await asyncio.wait_for(back.wait_closed(), _HANDSHAKE_S)
            finally:
                asking.cancel()
                await asyncio.gather(asking, return_exceptions=True)
        finally:
            self._addresses.pop(own_port, None)
            onward.transport.abort()


async def _passed_on(source: asyncio.StreamReader, target: asyncio.StreamWriter) -> None:
    """Everything from one to the other, no faster than that one takes it."""
    while piece := await source.read(_PIECE_BYTES):
        target.write(piece)
        await target.drain()
    if target.can_write_eof():
        target.write_eof()
