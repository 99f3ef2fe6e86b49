"""The picture stream, spoken to by the websockets library's own client (RFC 6455) and by raw sockets."""

import asyncio
import itertools
import json
import os
import socket
import struct
from contextlib import asynccontextmanager

import pytest
import websockets
from hypothesis import given
from hypothesis import strategies as st
from websockets.asyncio.client import connect
from websockets.datastructures import Headers
from websockets.http11 import Request

from shared.errors import Refused
from shared.frame_bus import BusPicture, FrameBusWriter
from tests.web_ui.fake_device import _first_state
from web_ui.own_names import OwnNames
from web_ui.pictures import MOST_UNDER_WAY, PictureServer, PreparedPicture
from web_ui.sessions import COOKIE

GOOD = "good"
PATIENCE_S = 10


class Doorman:
    """Lets in whoever shows the good cookie, and remembers who came and went."""

    def __init__(self):
        self.seen = []
        self.good = {GOOD}

    def paired(self, cookie):
        return cookie in self.good

    def opened(self, cookie):
        self.seen.append("opened")

    def closed(self, cookie, said_goodbye):
        self.seen.append("said goodbye" if said_goodbye else "lost")


class Stream:
    """A picture server with its bus, its address, and a clock that stands."""

    def __init__(self, server, bus, clock, port):
        self.server, self.bus, self.clock, self.port = server, bus, clock, port
        self.sequence = 0

    def publish(self, jpeg=b"jpeg", age_ms=0):
        self.sequence += 1
        published_ns = self.clock.now_ns() - age_ms * 1_000_000
        header = b'{"sequence":%d}' % self.sequence
        return self.bus.publish(header, jpeg, sequence=self.sequence, published_ns=published_ns)

    def connect(self, cookie=GOOD, origin="http://127.0.0.1:8080", path="/pictures"):
        headers = {"Cookie": f"other=1; {COOKIE}={cookie}"} if cookie else {}
        url = f"ws://127.0.0.1:{self.port}{path}"
        return connect(url, origin=origin, additional_headers=headers, proxy=None)

    async def until(self, condition):
        async with asyncio.timeout(PATIENCE_S):
            while not condition():
                await asyncio.sleep(0)


@asynccontextmanager
async def streaming(folder, clock, **options):
    with FrameBusWriter(folder / "frame_bus") as bus:
        server = PictureServer(folder / "frame_bus", Doorman(), 8080, clock, **options)
        await server.start("127.0.0.1", 0)
        port = server._listening.sockets[0].getsockname()[1]
        try:
            yield Stream(server, bus, clock, port)
        finally:
            await server.close()


@pytest.fixture
def run(tmp_path, manual_clock):
    """Runs a test's coroutine with a stream."""

    def runner(scenario, **options):
        async def whole():
            async with streaming(tmp_path, manual_clock, **options) as stream, asyncio.timeout(30):
                await scenario(stream)

        asyncio.run(whole())

    return runner


async def picture_from(page):
    """(age_ms, header, jpeg) of the next message, which must be a picture."""
    message = await asyncio.wait_for(page.recv(), PATIENCE_S)
    assert isinstance(message, bytes), message
    magic, age_ms, header_bytes = struct.unpack_from("<4sII", message)
    assert magic == b"tpm1"
    return age_ms, json.loads(message[12 : 12 + header_bytes]), message[12 + header_bytes :]


async def nothing_from(stream, page):
    """Whether nothing but the answer to a ping comes."""
    waiter = await page.ping()
    await asyncio.wait_for(waiter, PATIENCE_S)
    with pytest.raises(TimeoutError):
        await asyncio.wait_for(page.recv(), 0.01)


def test_message_holds_age_header_with_publication_and_jpeg(run):
    async def scenario(stream):
        async with stream.connect() as page:
            publication = stream.publish(b"\xff\xd8 picture", age_ms=7)
            age_ms, header, jpeg = await picture_from(page)
            assert (age_ms, header, jpeg) == (7, {"publication": publication, "sequence": 1}, b"\xff\xd8 picture")

    run(scenario)


def test_latecomer_gets_newest_picture_and_state_at_once(run):
    async def scenario(stream):
        stream.server.put_state(_first_state())
        stream.publish(b"old")
        newest = stream.publish(b"new")
        await stream.until(lambda: stream.server.newest and stream.server.newest.publication == newest)
        stream.clock.advance_ms(1234)
        async with stream.connect() as page:
            state = json.loads(await page.recv())
            assert state["device"] == "up"
            assert state["state"]["camera"]["model"] == "fake"
            age_ms, _, jpeg = await picture_from(page)
            assert (age_ms, jpeg) == (1234, b"new")

    run(scenario)


def test_state_goes_to_all_when_it_changes_and_never_pretends(run):
    async def scenario(stream):
        async with stream.connect() as one, stream.connect() as other:
            await stream.until(lambda: len(stream.server.viewers) == 2)
            for state in (_first_state(), _first_state(), None, None, _first_state()):
                stream.server.put_state(state)
            for page in (one, other):
                told = [json.loads(await page.recv()) for _ in range(3)]
                assert [message["device"] for message in told] == ["up", "gone", "up"]
                assert told[1]["state"] is None
                await nothing_from(stream, page)

    run(scenario)


def test_two_pictures_under_way_and_then_the_newest(run):
    async def scenario(stream):
        async with stream.connect() as page, stream.connect() as brisk:
            for number in range(10):
                publication = stream.publish(b"%d" % number)
                await picture_from(brisk)  # so that the server has seen this one too
                await brisk.send(f"drawn {publication}")
            seen = [await picture_from(page) for _ in range(MOST_UNDER_WAY)]
            assert [jpeg for _, _, jpeg in seen] == [b"0", b"1"]
            await nothing_from(stream, page)
            stream.clock.advance_ms(50)
            await page.send(f"drawn {seen[0][1]['publication']}")
            age_ms, header, jpeg = await picture_from(page)
            assert (age_ms, jpeg, header["publication"]) == (50, b"9", publication)
            await page.send(f"drawn {header['publication']}")  # answers the one before as well
            await nothing_from(stream, page)  # nothing comes twice
            stream.publish(b"10")
            stream.publish(b"11")
            assert (await picture_from(page))[2] in (b"10", b"11")

    run(scenario)


def test_a_page_that_asks_how_late_it_is_hears_it_on_the_pictures_clock(run):
    async def scenario(stream):
        async with stream.connect() as page:
            stream.publish(b"one", age_ms=30)
            await picture_from(page)
            stream.clock.advance_ms(40)
            await page.send("clock 5123")
            now_ms = stream.clock.now_ns() // 1_000_000
            assert json.loads(await page.recv()) == {"asked_ms": 5123, "now_ms": now_ms}
            await nothing_from(stream, page)  # it is no answer to the picture, and brings none

    run(scenario)


def test_slow_reader_gets_few_and_fresh_pictures_and_others_all(run):
    """A viewer that takes 100 kB while 60 MB are published is never more than what the kernel holds behind."""

    async def scenario(stream):
        loop = asyncio.get_running_loop()
        big = os.urandom(1_000_000)
        slow = await raw_viewer(stream, receive_buffer=65_536)
        async with stream.connect() as brisk:
            await stream.until(lambda: len(stream.server.viewers) == 2)
            for _ in range(60):
                stream.publish(big)
                _, header, jpeg = await picture_from(brisk)
                assert jpeg == big
                await brisk.send(f"drawn {header['publication']}")
            kept = sum(viewer._transport.get_write_buffer_size() for viewer in stream.server.viewers)
            assert kept < 2 * len(big), "pictures queue up in the server"
            first = await raw_picture(loop, slow)
            second = await raw_picture(loop, slow)
            assert first["sequence"] == 1
            assert second["sequence"] == 60, "what comes next must be the newest"
        slow.close()

    run(scenario)


def test_deaf_viewer_costs_nobody_memory_when_states_change(run):
    async def scenario(stream):
        deaf = await raw_viewer(stream, receive_buffer=4096)
        await stream.until(lambda: len(stream.server.viewers) == 1)
        stream.publish(os.urandom(3_000_000))
        (viewer,) = stream.server.viewers
        await stream.until(lambda: viewer._stuck)
        before = viewer._transport.get_write_buffer_size()
        for number in range(2000):
            stream.server.put_state(None if number % 2 else _first_state())
        assert viewer._transport.get_write_buffer_size() <= before
        deaf.close()

    run(scenario)


async def raw_viewer(stream, receive_buffer):
    """A socket that has shaken hands and reads only when told."""
    viewer = socket.socket()
    viewer.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, receive_buffer)
    viewer.setblocking(False)
    loop = asyncio.get_running_loop()
    await loop.sock_connect(viewer, ("127.0.0.1", stream.port))
    text = (
        f"GET /pictures HTTP/1.1\r\nHost: 127.0.0.1:{stream.port}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
        "Sec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\nSec-WebSocket-Version: 13\r\n"
        f"Origin: http://127.0.0.1:8080\r\nCookie: {COOKIE}={GOOD}\r\n\r\n"
    )
    await loop.sock_sendall(viewer, text.encode())
    answer = b""
    while not answer.endswith(b"\r\n\r\n"):
        answer += await loop.sock_recv(viewer, 1)
    assert answer.startswith(b"HTTP/1.1 101")
    return viewer


async def raw_picture(loop, viewer):
    """Header of the next picture, read to its last byte and answered."""

    async def exactly(count):
        data = b""
        while len(data) < count:
            more = await asyncio.wait_for(loop.sock_recv(viewer, count - len(data)), PATIENCE_S)
            assert more
            data += more
        return data

    kind, length = struct.unpack(">BB", await exactly(2))
    assert (kind, length) == (0x82, 127)
    message = await exactly(struct.unpack(">Q", await exactly(8))[0])
    header = json.loads(message[12 : 12 + struct.unpack_from("<I", message, 8)[0]])
    text = f"drawn {header['publication']}".encode()
    await loop.sock_sendall(viewer, bytes([0x81, 0x80 | len(text), 0, 0, 0, 0]) + text)
    return header


REFUSED = [
    ({"cookie": None}, 401),
    ({"cookie": "bad"}, 401),
    ({"cookie": f"x; {COOKIE}=bad; {COOKIE}=worse"}, 401),
    ({"origin": None}, 403),
    ({"origin": "http://evil.test:8080"}, 403),
    ({"origin": "http://127.0.0.1:8081"}, 403),
    ({"origin": "http://127.0.0.1"}, 403),
    ({"origin": "file://127.0.0.1:8080"}, 403),
    ({"origin": "null"}, 403),
    ({"origin": "http://127.0.0.1:99999"}, 403),
    ({"path": "/"}, 404),
    ({"path": "/pictures/more"}, 404),
]


@pytest.mark.parametrize(("options", "status"), REFUSED)
def test_whoever_is_not_paired_or_comes_from_another_page_gets_no_stream(run, options, status):
    async def scenario(stream):
        stream.publish()
        with pytest.raises(websockets.exceptions.InvalidStatus) as refused:
            async with stream.connect(**options):
                pass
        assert refused.value.response.status_code == status
        assert stream.server.viewers == set()

    run(scenario)


@pytest.mark.parametrize("said", ["hello", "drawn", "drawn x", "drawn -1", b"drawn 1", "drawn 1 2", "clock", "clock x"])
def test_whoever_says_anything_else_is_told_and_hung_up_on(run, said):
    async def scenario(stream):
        async with stream.connect() as page, stream.connect() as other:
            await page.send(said)
            with pytest.raises(websockets.exceptions.ConnectionClosed) as closed:
                await asyncio.wait_for(page.recv(), PATIENCE_S)
            assert closed.value.rcvd.code == 1008
            stream.publish(b"on")
            assert (await picture_from(other))[2] == b"on"

    run(scenario)


@pytest.mark.parametrize("cuts", [(), (1,), (3,), (6,), (7, 9), tuple(range(1, 24))])
def test_words_may_come_in_any_pieces(run, cuts):
    """However TCP cuts the frames of RFC 6455 (here: drawn, ping, drawn), they mean the same."""

    async def scenario(stream):
        loop = asyncio.get_running_loop()
        viewer = await raw_viewer(stream, receive_buffer=65_536)
        publication = stream.publish()
        await stream.until(lambda: stream.server.newest)
        mask = b"\x11\x22\x33\x44"
        frames = b""
        for kind, payload in ((0x81, b"drawn 1"), (0x89, b"?"), (0x81, b"drawn %d" % publication)):
            masked = bytes(byte ^ mask[at % 4] for at, byte in enumerate(payload))
            frames += bytes([kind, 0x80 | len(payload)]) + mask + masked
        (one,) = stream.server.viewers
        assert list(one._under_way) == [publication]
        viewer.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        pieces = [frames[a:b] for a, b in itertools.pairwise((0, *cuts, len(frames)))]
        for piece in pieces:
            await loop.sock_sendall(viewer, piece)
            for _ in range(3):
                await asyncio.sleep(0)  # let the server read this piece by itself
        await stream.until(lambda: not one._under_way)
        stream.publish(b"next")
        await stream.until(lambda: len(one._under_way) == 1)
        viewer.close()

    run(scenario)


def test_long_words_are_cut_off(run):
    async def scenario(stream):
        async with stream.connect() as page:
            await page.send("drawn " + "1" * 1000)
            with pytest.raises(websockets.exceptions.ConnectionClosed) as closed:
                await asyncio.wait_for(page.recv(), PATIENCE_S)
            assert closed.value.rcvd.code == 1009

    run(scenario)


@pytest.mark.parametrize("said", [b"\x16\x03\x01\x02", b"GET / HTTP/1.1\r\n\r\n", b"\r\n" * 100, os.urandom(100_000)])
def test_garbage_harms_nobody(run, said):
    async def scenario(stream):
        loop = asyncio.get_running_loop()
        with socket.socket() as rude:
            rude.setblocking(False)
            await loop.sock_connect(rude, ("127.0.0.1", stream.port))
            try:
                await loop.sock_sendall(rude, said)
                rude.shutdown(socket.SHUT_WR)
            except OSError:  # hung up on already
                pass
            async with stream.connect() as page:
                stream.publish(b"on")
                assert (await picture_from(page))[2] == b"on"
        await stream.until(lambda: not stream.server.viewers)

    run(scenario)


def test_no_more_viewers_than_allowed(run):
    async def scenario(stream):
        async with stream.connect(), stream.connect():
            with pytest.raises(websockets.exceptions.InvalidStatus) as refused:
                async with stream.connect():
                    pass
            assert refused.value.response.status_code == 503
        await stream.until(lambda: not stream.server.viewers)
        async with stream.connect():
            pass

    run(scenario, most_viewers=2)


def test_vanished_viewers_and_ended_sessions_are_found(run):
    async def scenario(stream):
        mute = await raw_viewer(stream, receive_buffer=65_536)
        async with stream.connect() as page:
            await stream.until(lambda: len(stream.server.viewers) == 2)
            for viewer in tuple(stream.server.viewers):
                viewer.ping()
            await stream.until(lambda: sum(viewer._heard for viewer in stream.server.viewers) == 1)  # the page's pong
            for viewer in tuple(stream.server.viewers):
                viewer.ping()
            await stream.until(lambda: len(stream.server.viewers) == 1)
            stream.server.admission.good.clear()
            await stream.until(lambda: all(viewer._heard for viewer in stream.server.viewers))
            for viewer in tuple(stream.server.viewers):
                viewer.ping()
            with pytest.raises(websockets.exceptions.ConnectionClosed) as closed:
                await asyncio.wait_for(page.recv(), PATIENCE_S)
            assert closed.value.rcvd.code == 1008
        mute.close()

    run(scenario)


def test_closing_says_goodbye_and_cuts_off_who_does_not_answer(tmp_path, manual_clock):
    async def scenario():
        async with streaming(tmp_path, manual_clock) as stream:
            mute = await raw_viewer(stream, receive_buffer=65_536)
            page = await stream.connect()
            loop = asyncio.get_running_loop()
            started = loop.time()
            await stream.server.close()
            assert loop.time() - started < 1.0
            assert stream.server._connections == set()
            with pytest.raises(websockets.exceptions.ConnectionClosed) as closed:
                await page.recv()
            assert closed.value.rcvd.code == 1001
            await page.close()
            mute.close()

    asyncio.run(scenario())


@given(
    header=st.dictionaries(st.text(max_size=5), st.integers(), max_size=4),
    jpeg=st.binary(max_size=200),
    publication=st.integers(0, 2**60),
    age_ns=st.integers(-(10**9), 10**19),
)
def test_prepared_bytes_are_one_frame_of_the_message(header, jpeg, publication, age_ns):
    text = json.dumps(header).encode()
    prepared = PreparedPicture(BusPicture(publication, 1, 0, text, jpeg)).at(age_ns)
    assert prepared[0] == 0x82
    at = {126: 4, 127: 10}.get(prepared[1], 2)
    magic, age_ms, header_bytes = struct.unpack_from("<4sII", prepared, at)
    assert magic == b"tpm1"
    assert age_ms == min(max(0, age_ns) // 1_000_000, 2**32 - 1)
    told = json.loads(prepared[at + 12 : at + 12 + header_bytes])
    assert told == {"publication": publication, **header}
    assert prepared[at + 12 + header_bytes :] == jpeg


def test_header_that_is_no_object_is_refused():
    with pytest.raises(Refused, match="not a JSON object"):
        PreparedPicture(BusPicture(1, 1, 0, b"[]", b""))


@pytest.mark.parametrize(
    ("origin", "host", "status"),
    [
        ("http://127.0.0.1:8080", "127.0.0.1:8081", None),
        ("http://quay.local:8080", "quay.local:8081", None),
        ("http://evil.test:8080", "evil.test:8081", 403),  # a foreign name that was made to lead here
        ("http://evil.test:8080", "127.0.0.1:8081", 403),
        ("https://127.0.0.1:8080", "127.0.0.1:8081", 403),  # encrypted pages come from an encrypted server
        ("http://127.0.0.1:9999", "127.0.0.1:8081", 403),
        ("null", "127.0.0.1:8081", 403),
    ],
)
def test_only_pages_of_this_device_under_its_own_names_open_streams(tmp_path, manual_clock, origin, host, status):
    with FrameBusWriter(tmp_path / "frame_bus"):
        server = PictureServer(tmp_path / "frame_bus", Doorman(), 8080, manual_clock, names=OwnNames(["quay.local"]))
        headers = Headers([("Origin", origin), ("Host", host), ("Cookie", f"{COOKIE}={GOOD}")])
        refused = server.refusal(Request("/pictures", headers))
        assert (refused and refused[0]) == status
        server._reader.close()


def test_pages_that_say_goodbye_are_told_from_those_that_are_lost(run):
    async def scenario(stream):
        doorman = stream.server.admission
        async with stream.connect():
            await stream.until(lambda: doorman.seen == ["opened"])
        await stream.until(lambda: doorman.seen == ["opened", "said goodbye"])
        page = await stream.connect()
        await stream.until(lambda: len(doorman.seen) == 3)
        page.transport.abort()
        await stream.until(lambda: doorman.seen[2:] == ["opened", "lost"])

    run(scenario)
