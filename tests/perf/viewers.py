"""Viewers for the timing of the picture server: raw sockets in one process, answering each picture at once.

``python -m tests.perf.viewers HOST PORT ORIGIN COOKIE COUNT SECONDS`` prints one line of JSON: latencies in ms and pictures seen.
"""

import json
import os
import selectors
import socket
import struct
import sys
import time

_MARK = b'"published_ns":'


class RawViewer:
    """One connection; knows just enough of RFC 6455 to count whole messages and to answer them."""

    def __init__(self, host: str, port: int, origin: str, cookie: str) -> None:
        self.socket = socket.create_connection((host, port), timeout=10)
        self.latencies_ms: list[float] = []
        self._received = bytearray()
        key = "AAAAAAAAAAAAAAAAAAAAAA=="
        self.socket.sendall(
            (
                f"GET /pictures HTTP/1.1\r\nHost: {host}:{port}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
                f"Sec-WebSocket-Key: {key}\r\nSec-WebSocket-Version: 13\r\nOrigin: {origin}\r\nCookie: {cookie}\r\n\r\n"
            ).encode()
        )
        while b"\r\n\r\n" not in self._received:
            if not (data := self.socket.recv(4096)):
                raise ConnectionError("the server hung up in the handshake")
            self._received += data
        answer, _, rest = bytes(self._received).partition(b"\r\n\r\n")
        if b" 101 " not in answer.split(b"\r\n")[0]:
            raise ConnectionError(answer.decode(errors="replace"))
        self._received = bytearray(rest)
        self.socket.settimeout(0)

    def receive(self, buffer: memoryview) -> None:
        """Take what has come; note the latency of each whole picture and answer it."""
        try:
            size = self.socket.recv_into(buffer)
        except BlockingIOError:
            return
        if size == 0:
            raise ConnectionError("the server hung up")
        self._received += buffer[:size]
        while self._whole_message():
            pass

    def _whole_message(self) -> bool:
        data = self._received
        if len(data) < 10:
            return False
        size, at = data[1] & 0x7F, 2
        if size == 126:
            size, at = struct.unpack_from(">H", data, 2)[0], 4
        elif size == 127:
            size, at = struct.unpack_from(">Q", data, 2)[0], 10
        if len(data) < at + size:
            return False
        if data[0] & 0x0F == 2:
            now_ns = time.monotonic_ns()
            header = json.loads(data[at + 12 : at + 12 + struct.unpack_from("<I", data, at + 8)[0]])
            self.latencies_ms.append((now_ns - header["published_ns"]) / 1e6)
            self._answer(b"drawn %d" % header["publication"])
        del data[: at + size]
        return True

    def _answer(self, text: bytes) -> None:
        mask = os.urandom(4)
        masked = bytes(byte ^ mask[index % 4] for index, byte in enumerate(text))
        self.socket.send(bytes([0x81, 0x80 | len(text)]) + mask + masked)


def main() -> None:
    host, port, origin, cookie, count, seconds = sys.argv[1:]
    viewers = [RawViewer(host, int(port), origin, cookie) for _ in range(int(count))]
    print("connected", flush=True)
    buffer = memoryview(bytearray(1 << 18))
    end = time.monotonic() + float(seconds)
    with selectors.DefaultSelector() as waiting:
        for viewer in viewers:
            waiting.register(viewer.socket, selectors.EVENT_READ, viewer)
        while time.monotonic() < end:
            for key, _ in waiting.select(0.1):
                key.data.receive(buffer)
    for viewer in viewers:
        viewer.socket.close()
    latencies = [latency for viewer in viewers for latency in viewer.latencies_ms[2:]]
    print(json.dumps({"latencies_ms": latencies, "pictures": [len(v.latencies_ms) for v in viewers]}), flush=True)


if __name__ == "__main__":
    main()
