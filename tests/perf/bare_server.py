"""The floor under any picture server: the same bytes by bare socket calls, handshake unchecked, answers thrown away.

``python -m tests.perf.bare_server BUS PORT`` prints ``ready`` and runs until it is ended.
"""

import selectors
import socket
import struct
import sys
from contextlib import suppress
from pathlib import Path

from shared.frame_bus import FrameBusReader


def main() -> None:
    port = int(sys.argv[2])
    viewers: set[socket.socket] = set()
    with FrameBusReader(Path(sys.argv[1])) as bus, selectors.DefaultSelector() as waiting:
        listener = socket.create_server(("127.0.0.1", port))
        waiting.register(listener, selectors.EVENT_READ)
        waiting.register(bus, selectors.EVENT_READ)
        print("ready", flush=True)
        while True:
            for key, _ in waiting.select():
                if key.fileobj is listener:
                    viewer = listener.accept()[0]
                    viewer.recv(4096)
                    viewer.sendall(b"HTTP/1.1 101 Switching Protocols\r\n\r\n")
                    viewer.setblocking(False)
                    viewer.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 1 << 20)
                    viewers.add(viewer)
                    waiting.register(viewer, selectors.EVENT_READ)
                elif key.fileobj is bus:
                    _send_newest(bus, viewers)
                else:
                    _hear(key.fileobj, viewers, waiting)


def _send_newest(bus: FrameBusReader, viewers: set[socket.socket]) -> None:
    if (picture := bus.latest()) is None:
        return
    header = b'{"publication":%d,%s' % (picture.publication, picture.header[1:])
    message = struct.pack("<4sII", b"tpm1", 0, len(header)) + header + picture.jpeg
    frame = struct.pack(">BBQ", 0x82, 127, len(message)) + message
    for viewer in viewers:
        with suppress(BlockingIOError):
            viewer.send(frame)


def _hear(viewer: socket.socket, viewers: set[socket.socket], waiting: selectors.BaseSelector) -> None:
    with suppress(ConnectionError):
        if viewer.recv(4096):
            return
    waiting.unregister(viewer)
    viewers.discard(viewer)
    viewer.close()


if __name__ == "__main__":
    main()
