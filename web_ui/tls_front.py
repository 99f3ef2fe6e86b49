"""Encryption before the page's server, which has none of its own: each connection is decrypted and passed on to it on loopback.

``tls_decision.md`` says why and what it costs. A browser that comes unencrypted, as where no https:// was typed, is sent on.
"""

import asyncio
import contextlib
import re
import socket
import ssl

_HANDSHAKE_S = 5.0
_MOST = 100
_PIECE_BYTES = 65_536
_LONGEST_HEAD_BYTES = 8192
_TLS_HANDSHAKE = b"\x16"
"""First byte of every TLS connection (RFC 8446, section 5.1: ContentType handshake)."""
_ASKED_FOR = re.compile(
    rb"\A(?:GET|HEAD) (/[!-~]*) HTTP/1\.[01]\r\n(?s:.*?)(?<=\r\n)Host: *([A-Za-z0-9.:\[\]-]{1,255})\r\n", re.IGNORECASE
)


class TlsFront:
    """Listens on the address of tablets and passes plain HTTP to ``behind``. Lives in one event loop.

    ``addresses`` tells the page's server who really asks: a tablet's address, by the port from which its connection is passed on.
    """

    def __init__(self, behind: tuple[str, int], addresses: dict[int, str]) -> None:
        self._addresses = addresses
        self._behind = behind
        self._listening: socket.socket | None = None
        self._accepting: asyncio.Task[None] | None = None
        self._connections: set[asyncio.Task[None]] = set()

    async def start(self, host: str, port: int, context: ssl.SSLContext) -> None:
        """Listen; raises OSError when the port is taken."""
        family = socket.AF_INET6 if ":" in host else socket.AF_INET
        self._listening = socket.create_server((host, port), family=family, backlog=_MOST)
        self._listening.setblocking(False)
        self._accepting = asyncio.create_task(self._accept(self._listening, context))

    @property
    def port(self) -> int:
        """Where it listens."""
        assert self._listening is not None
        found: int = self._listening.getsockname()[1]
        return found

    async def close(self) -> None:
        """Stop, and hang up on everyone. May be called twice."""
        if self._listening is None or self._accepting is None:
            return
        self._accepting.cancel()
        for task in tuple(self._connections):
            task.cancel()
        await asyncio.gather(self._accepting, *self._connections, return_exceptions=True)
        self._listening.close()
        self._listening = None

    async def _accept(self, listening: socket.socket, context: ssl.SSLContext) -> None:
        loop = asyncio.get_running_loop()
        while True:
            try:
                tablet, _ = await loop.sock_accept(listening)
            except OSError:  # it hung up before it was let in, or there are no more files to be had for a moment
                await asyncio.sleep(0.05)
                continue
            if len(self._connections) >= _MOST:
                tablet.close()
                continue
            task = asyncio.create_task(self._met(tablet, context))
            self._connections.add(task)
            task.add_done_callback(self._connections.discard)

    async def _met(self, tablet: socket.socket, context: ssl.SSLContext) -> None:
        try:
            async with asyncio.timeout(_HANDSHAKE_S):
                first = await _first_byte(tablet)
            encrypted = context if first == _TLS_HANDSHAKE else None
            reader, writer = await _streams(tablet, encrypted)
        except (
            OSError,
            TimeoutError,
            asyncio.CancelledError,
        ):  # nothing was said, no handshake came about, or all ends
            tablet.close()
            return
        try:
            await (self._serve(reader, writer) if encrypted else _send_on(reader, writer))
        except (OSError, TimeoutError, asyncio.CancelledError):
            pass  # one of the two hung up or fell silent, or all ends: nothing is left to be said
        finally:
            with contextlib.suppress(AttributeError):  # Python 3.11 before 3.11.4: what is closed cannot be aborted
                writer.transport.abort()

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


async def _first_byte(tablet: socket.socket) -> bytes:
    """What a connection begins with, left where it is; empty where it ended."""
    loop = asyncio.get_running_loop()
    said = asyncio.Event()
    loop.add_reader(tablet, said.set)
    try:
        await said.wait()
    finally:
        loop.remove_reader(tablet)
    return tablet.recv(1, socket.MSG_PEEK)


async def _streams(
    tablet: socket.socket, context: ssl.SSLContext | None
) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
    loop = asyncio.get_running_loop()
    reader = asyncio.StreamReader()
    protocol = asyncio.StreamReaderProtocol(reader)
    patience = None if context is None else _HANDSHAKE_S
    transport, _ = await loop.connect_accepted_socket(
        lambda: protocol, tablet, ssl=context, ssl_handshake_timeout=patience, ssl_shutdown_timeout=patience
    )
    return reader, asyncio.StreamWriter(transport, protocol, reader, loop)


async def _send_on(tablet: asyncio.StreamReader, back: asyncio.StreamWriter) -> None:
    """Tell a browser that spoke plain HTTP the encrypted address of what it asked for; anything else is only told no."""
    async with asyncio.timeout(_HANDSHAKE_S):
        try:
            head = await tablet.readuntil(b"\r\n\r\n")
        except (asyncio.IncompleteReadError, asyncio.LimitOverrunError):
            return
        asked = _ASKED_FOR.match(head) if len(head) <= _LONGEST_HEAD_BYTES else None
        answer = b"HTTP/1.1 400 Bad Request\r\n"
        if asked is not None:
            answer = b"HTTP/1.1 307 Temporary Redirect\r\nLocation: https://%b%b\r\n" % (asked[2], asked[1])
        words = b"This device speaks https only.\n"
        more = b"Content-Type: text/plain\r\nCache-Control: no-store\r\nContent-Length: %d\r\nConnection: close\r\n\r\n"
        back.write(answer + more % len(words) + words)
        await back.drain()
        back.close()
        await back.wait_closed()


async def _passed_on(source: asyncio.StreamReader, target: asyncio.StreamWriter) -> None:
    """Everything from one to the other, no faster than that one takes it."""
    while piece := await source.read(_PIECE_BYTES):
        target.write(piece)
        await target.drain()
    if target.can_write_eof():
        target.write_eof()
