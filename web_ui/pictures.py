"""The picture stream: one WebSocket a viewer, every picture prepared once, newest wins.

A viewer has at most two pictures under way, until it says ``drawn N``. Nothing is ever queued for it: while something of an
earlier message still waits in this process, or two pictures are unanswered, it gets nothing, and then the newest. So a slow
viewer sees fewer, fresher pictures, and no viewer costs another anything. ``clock N`` asks how late it is here, as pictures
say when they were taken: the answer has N and this device's clock, both in ms.

The protocol is that of the websockets library, driven without its connection class (its Sans-I/O layer): see
``pictures_decision.md`` for what that saves.
"""

import asyncio
import json
import logging
import socket
import ssl
from collections import deque
from http import HTTPStatus
from pathlib import Path
from struct import pack
from urllib.parse import urlsplit

from websockets.frames import CloseCode, Frame, Opcode
from websockets.http11 import Request
from websockets.protocol import State as Phase
from websockets.server import ServerProtocol
from werkzeug.http import parse_cookie

from shared.bounded import plain
from shared.clock import Clock
from shared.frame_bus import BusPicture, FrameBusReader
from shared.protocol.control import State
from web_ui.admission import Admission
from web_ui.own_names import OwnNames
from web_ui.picture_message import age_ms, numbered_header, prefix
from web_ui.sessions import COOKIE

_log = logging.getLogger(__name__)

MOST_UNDER_WAY = 2
SEND_BUFFER_BYTES = 131_072
PATH = "/pictures"

_LONGEST_FROM_PAGE = 256
_RECEIVE_BYTES = 4096
_HANDSHAKE_S = 5.0
_CLOSE_S = 0.5
_PING_S = 15.0


class PreparedPicture:
    """A picture as WebSocket bytes: copied once, and then the same for every viewer served in the same millisecond of its age."""

    def __init__(self, picture: BusPicture) -> None:
        self.publication = picture.publication
        self._header = numbered_header(picture)
        self._jpeg = picture.jpeg
        self._published_ns = picture.published_ns
        self._age_ms = -1
        self._bytes = b""

    def at(self, now_ns: int) -> bytes:
        """The whole frame, its age counted up to ``now_ns``."""
        age = age_ms(self._published_ns, now_ns)
        if age != self._age_ms:
            before = prefix(age, self._header)
            head = _frame_head(len(before) + len(self._header) + len(self._jpeg))
            self._bytes = b"".join((head, before, self._header, self._jpeg))
            self._age_ms = age
        return self._bytes


def _frame_head(length: int) -> bytes:
    """Head of an unmasked, whole, binary frame (RFC 6455, section 5.2). The library's own writer copies the payload twice more."""
    if length < 126:
        return pack(">BB", 0x82, length)
    return pack(">BBH", 0x82, 126, length) if length < 65_536 else pack(">BBQ", 0x82, 127, length)


class PictureServer:
    """Streams the frame bus of ``bus_path``, and the state, to whom ``admission`` lets look. Lives in one event loop.

    ``page_port`` is the port of the page that may open streams, ``names`` are those by which it may call this device.
    """

    def __init__(
        self,
        bus_path: Path,
        admission: Admission,
        page_port: int,
        clock: Clock,
        *,
        names: OwnNames | None = None,
        most_viewers: int = 64,
        send_buffer_bytes: int = SEND_BUFFER_BYTES,
    ) -> None:
        self.clock = clock
        self.viewers: set[Viewer] = set()
        self.newest: PreparedPicture | None = None
        self.state = b""
        self.send_buffer_bytes = send_buffer_bytes
        self._most_viewers = most_viewers
        self.admission = admission
        self._names = names or OwnNames(())
        self._scheme = "http"
        self._page_port = page_port
        self._reader = FrameBusReader(bus_path)
        self._connections: set[Viewer] = set()
        self._listening: asyncio.Server | None = None
        self._pinging: asyncio.Task[None] | None = None

    async def start(self, host: str, port: int, tls: ssl.SSLContext | None = None) -> None:
        """Listen; raises OSError when the port is taken."""
        loop = asyncio.get_running_loop()
        self._scheme = "http" if tls is None else "https"
        patience = None if tls is None else _HANDSHAKE_S
        self._listening = await loop.create_server(
            lambda: Viewer(self), host, port, ssl=tls, ssl_handshake_timeout=patience, ssl_shutdown_timeout=patience
        )
        loop.add_reader(self._reader.fileno(), self._rung)
        self._pinging = loop.create_task(self._ping())
        self._rung()

    async def close(self) -> None:
        """Say goodbye to every viewer and stop; takes at most half a second. May be called twice."""
        if self._listening is not None and self._pinging is not None:
            asyncio.get_running_loop().remove_reader(self._reader.fileno())
            self._pinging.cancel()
            self._listening.close()
            self._listening = self._pinging = None
        gone = [viewer.gone for viewer in self._connections]
        for viewer in tuple(self._connections):
            viewer.say_goodbye()
        if gone:
            await asyncio.wait(gone, timeout=_CLOSE_S)
        for viewer in tuple(self._connections):
            viewer.cut()
        self._reader.close()

    def put_state(self, state: State | None, access: object = None) -> None:
        """Tell every viewer the newest state (None when the imager is gone, and nothing is pretended), and who may do what."""
        said = {"state": plain(state), "device": "gone" if state is None else "up", "access": plain(access)}
        text = json.dumps(said, separators=(",", ":"))
        message = Frame(Opcode.TEXT, text.encode()).serialize(mask=False)
        if message != self.state:
            self.state = message
            for viewer in tuple(self.viewers):
                viewer.serve()

    def part_from_unpaired(self) -> None:
        """Hang up on whoever may look no longer."""
        for viewer in tuple(self.viewers):
            viewer.part_if_unpaired()

    def refusal(self, request: Request) -> tuple[HTTPStatus, str] | None:
        """Why this handshake gets no stream, or None when it does."""
        if urlsplit(request.path).path != PATH:
            return HTTPStatus.NOT_FOUND, f"pictures are at {PATH}"
        if len(self.viewers) >= self._most_viewers:
            return HTTPStatus.SERVICE_UNAVAILABLE, "too many viewers; close one"
        if not self._own_page(request):
            return HTTPStatus.FORBIDDEN, "the request comes from another site's page"
        if not self.admission.paired(_cookie(request)):
            return HTTPStatus.UNAUTHORIZED, "this browser is not paired"
        return None

    def connected(self, viewer: "Viewer") -> None:
        """A connection exists, not yet a viewer; of those not many are let wait."""
        self._connections.add(viewer)
        if len(self._connections) > 2 * self._most_viewers:
            viewer.cut()

    def disconnected(self, viewer: "Viewer") -> None:
        """It is no more."""
        self._connections.discard(viewer)
        self.viewers.discard(viewer)

    def _own_page(self, request: Request) -> bool:
        """Whether the page that opens the stream came from this host and the page's port. Every browser names its page here."""
        origins, hosts = request.headers.get_all("Origin"), request.headers.get_all("Host")
        if len(origins) != 1 or len(hosts) != 1:
            return False
        try:
            origin, host = urlsplit(origins[0]), urlsplit(f"//{hosts[0]}")
            port = origin.port or {"http": 80, "https": 443}.get(origin.scheme)
        except ValueError:
            return False
        if self._names.host_of(hosts[0]) is None:
            return False
        return origin.scheme == self._scheme and origin.hostname == host.hostname and port == self._page_port

    def _rung(self) -> None:
        """Something was published: one look, one preparation, and everyone who is free gets it."""
        picture = self._reader.latest(self.newest.publication if self.newest else -1)
        if picture is None:
            return
        self.newest = PreparedPicture(picture)
        now_ns = self.clock.now_ns()  # once for all, so that they all get the same bytes
        for viewer in tuple(self.viewers):
            viewer.serve(now_ns)

    async def _ping(self) -> None:
        """Find those who vanished without a word, or whose session has ended."""
        while True:
            await asyncio.sleep(_PING_S)
            for viewer in tuple(self.viewers):
                viewer.ping()


class Viewer(asyncio.BufferedProtocol):
    """One connection, from handshake to goodbye."""

    def __init__(self, server: PictureServer) -> None:
        self._server = server
        self._protocol = ServerProtocol(max_size=_LONGEST_FROM_PAGE)
        self._transport: asyncio.Transport | None = None
        self._under_way: deque[int] = deque()
        self._sent_publication = -1
        self._sent_state = b""
        self._stuck = False
        self._heard = True
        self._received = bytearray(_RECEIVE_BYTES)
        # A view, as asyncio's TLS layer fills the buffer by slices, and a slice of the bytes themselves would be a copy.
        self._room = memoryview(self._received)
        # True while all that came since the handshake came as one short whole frame at a time, as ``drawn N`` does. Then the
        # library need not parse it: a third of the processor that Python takes for a viewer.
        self._whole_frames = False
        self._cookie: str | None = None
        self._deadline: asyncio.TimerHandle | None = None
        self.gone: asyncio.Future[None] = asyncio.get_running_loop().create_future()

    # ---- called by the server ----

    def serve(self, now_ns: int | None = None) -> None:
        """Send what is new to this viewer, as far as it keeps up."""
        if self._stuck or self._transport is None or self._protocol.state is not Phase.OPEN:
            return
        state, newest = self._server.state, self._server.newest
        if state is not self._sent_state:
            self._sent_state = state
            self._transport.write(state)
        if newest is None or len(self._under_way) >= MOST_UNDER_WAY or self._stuck:
            return
        if newest.publication != self._sent_publication:
            self._sent_publication = newest.publication
            self._under_way.append(newest.publication)
            self._transport.write(newest.at(self._server.clock.now_ns() if now_ns is None else now_ns))

    def ping(self) -> None:
        """Ask for a sign of life; hang up when the last question got none, or when the session has ended."""
        if not self._heard:
            self.cut()
            return
        self._heard = False
        self.part_if_unpaired()
        if self._protocol.state is Phase.OPEN:
            self._protocol.send_ping(b"")
            self._flush()

    def part_if_unpaired(self) -> None:
        """Close in order once the session has ended."""
        if self._protocol.state is Phase.OPEN and not self._server.admission.paired(self._cookie):
            self._protocol.send_close(CloseCode.POLICY_VIOLATION, "this browser is not paired")
            self._flush()

    def say_goodbye(self) -> None:
        """Close in order; whoever does not answer is cut off soon."""
        if self._protocol.state is Phase.OPEN:
            self._protocol.send_close(CloseCode.GOING_AWAY)
            self._flush()
        else:
            self.cut()

    def cut(self) -> None:
        """Close at once."""
        if self._transport is not None:
            self._transport.abort()

    # ---- called by the event loop ----

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Cap what the kernel keeps for this viewer, and give it a moment to introduce itself."""
        if not isinstance(transport, asyncio.Transport):
            raise TypeError(f"a stream transport is needed, not {transport!r}")
        self._transport = transport
        # Encrypted, a limit of 0 is reached by nothing at all (asyncio compares differently there).
        transport.set_write_buffer_limits(high=0 if transport.get_extra_info("sslcontext") is None else 1)
        transport.get_extra_info("socket").setsockopt(
            socket.SOL_SOCKET, socket.SO_SNDBUF, self._server.send_buffer_bytes
        )
        self._cut_after(_HANDSHAKE_S)
        self._server.connected(self)

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the viewer."""
        self._keep_for_now()
        if self in self._server.viewers:
            self._server.admission.closed(self._cookie, self._protocol.close_rcvd is not None)
        self._server.disconnected(self)
        self._transport = None
        self.gone.set_result(None)

    def get_buffer(self, sizehint: int) -> memoryview:
        """Where to put what comes: a small place, as little ever comes."""
        return self._room

    def buffer_updated(self, nbytes: int) -> None:
        """Handshake, ``drawn``, or the library's own business (pong, close)."""
        self._heard = True
        if self._whole_frames:
            self._whole_frames = nbytes > 6 and self._received[1] == 0x80 | nbytes - 6 and nbytes < 132
            if self._whole_frames and self._received[0] == 0x81:
                self._take_word(_unmasked(self._received[2:nbytes]))
                return
        self._protocol.receive_data(bytes(self._received[:nbytes]))
        for event in self._protocol.events_received():
            if isinstance(event, Request):
                self._shake_hands(event)
            elif isinstance(event, Frame):
                self._hear(event)
        self._flush()

    def eof_received(self) -> None:
        """The other side sends no more: neither do we."""
        self._protocol.receive_eof()
        self._flush()

    def pause_writing(self) -> None:
        """Something waits in this process: add nothing."""
        self._stuck = True

    def resume_writing(self) -> None:
        """All has gone to the kernel: on with the newest."""
        self._stuck = False
        self.serve()

    # ---- own ----

    def _shake_hands(self, request: Request) -> None:
        refusal = self._server.refusal(request)
        if refusal is not None:
            self._protocol.send_response(self._protocol.reject(*refusal))
            return
        self._protocol.send_response(self._protocol.accept(request))
        self._flush()
        if self._protocol.state is Phase.OPEN:
            self._keep_for_now()
            self._cookie = _cookie(request)
            self._whole_frames = True
            self._server.viewers.add(self)
            self._server.admission.opened(self._cookie)
            self.serve()

    def _hear(self, frame: Frame) -> None:
        if frame.opcode in (Opcode.CLOSE, Opcode.PING, Opcode.PONG):
            return
        self._take_word(bytes(frame.data) if frame.opcode is Opcode.TEXT and frame.fin else b"")

    def _take_word(self, text: bytes) -> None:
        word, _, number = text.partition(b" ")
        if word == b"clock" and number.isdigit():
            self._tell_time(number)
            return
        if word != b"drawn" or not number.isdigit():
            self._protocol.send_close(CloseCode.POLICY_VIOLATION, "say: drawn N, or clock N")
            self._flush()
            return
        while self._under_way and self._under_way[0] <= int(number):
            self._under_way.popleft()
        self.serve()

    def _tell_time(self, asked_ms: bytes) -> None:
        """To whoever reads; nothing is queued for who does not."""
        if self._transport is not None and not self._stuck:
            told = b'{"asked_ms":%d,"now_ms":%d}' % (int(asked_ms), self._server.clock.now_ns() // 1_000_000)
            self._transport.write(Frame(Opcode.TEXT, told).serialize(mask=False))

    def _flush(self) -> None:
        """Send what the library has to say; end the stream where it says so."""
        if self._transport is None:
            return
        for data in self._protocol.data_to_send():
            if data:
                self._transport.write(data)
            elif self._transport.can_write_eof():
                self._transport.write_eof()
        if self._protocol.close_expected() and self._deadline is None:
            self._cut_after(_CLOSE_S)

    def _cut_after(self, seconds: float) -> None:
        self._deadline = asyncio.get_running_loop().call_later(seconds, self.cut)

    def _keep_for_now(self) -> None:
        if self._deadline is not None:
            self._deadline.cancel()
            self._deadline = None


def _unmasked(data: bytearray) -> bytes:
    """Payload of a short frame from its mask (4 bytes) on (RFC 6455, section 5.3)."""
    size = len(data) - 4
    mask = (data[:4] * (size // 4 + 1))[:size]
    return (int.from_bytes(data[4:]) ^ int.from_bytes(mask)).to_bytes(size)


def _cookie(request: Request) -> str | None:
    """Value of the session cookie; None when there is none, or more than one header tries."""
    headers = request.headers.get_all("Cookie")
    return parse_cookie(headers[0]).get(COOKIE) if len(headers) == 1 else None
