"""A stranger, in a process of its own, that pesters sockets: ``python -m tests.faults.flood KIND ADDRESS SECONDS SEED``.

ADDRESS is a path, or a port of this machine. Kinds: ``garbage`` (connect, random bytes, hang up, again), ``half-open`` (as many
connections as may be, saying little), ``long`` (one line without an end), ``requests`` (good ones, as fast as they are taken).
"""

import contextlib
import random
import resource
import socket
import sys
import time

HELD_AT_MOST = 3000


def connected(address: str) -> socket.socket:
    """A connection that waits for nothing long."""
    if address.isdigit():
        return socket.create_connection(("127.0.0.1", int(address)), timeout=1.0)
    kind = socket.SOCK_SEQPACKET if address.endswith("light.sock") else socket.SOCK_STREAM
    line = socket.socket(socket.AF_UNIX, kind)
    line.settimeout(1.0)
    line.connect(address)
    return line


def garbage(address: str, rng: random.Random) -> None:
    """One stranger comes and goes."""
    with connected(address) as line:
        line.send(rng.randbytes(rng.randint(1, 3000)))
        if rng.random() < 0.3:
            line.recv(100)


def long_line(address: str, rng: random.Random) -> None:
    """More than any line may hold."""
    with connected(address) as line:
        for _ in range(64):
            line.sendall(bytes(rng.choices(b"abc{[", k=16_384)))


def requests(address: str, _rng: random.Random) -> None:
    """Good words, and many."""
    with connected(address) as line:
        if address.isdigit():
            line.sendall(b"GET /api/v1/state HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
            line.recv(65_536)
            return
        line.sendall(b'{"kind":"Hello","version":1}\n')
        for _ in range(200):
            line.sendall(b'{"kind":"GetState"}\n')
            line.recv(65_536)


def half_open(address: str, rng: random.Random, until_s: float) -> None:
    """Connections that are held and never finish a word."""
    _soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (min(hard, HELD_AT_MOST + 100), hard))
    with contextlib.ExitStack() as held:
        lines = 0
        while time.monotonic() < until_s:
            if lines >= HELD_AT_MOST:
                time.sleep(0.01)
                continue
            with contextlib.suppress(OSError):
                line = held.enter_context(connected(address))
                line.send(rng.choice([b"G", b"{", b"\x16\x03\x01", b"POST /api/v1/light HTTP/1.1\r\nContent-Le"]))
                lines += 1


def main(kind: str, address: str, seconds: str, seed: str) -> None:
    """Pester until time is up."""
    rng, until_s = random.Random(seed), time.monotonic() + float(seconds)
    if kind == "half-open":
        half_open(address, rng, until_s)
        return
    act = {"garbage": garbage, "long": long_line, "requests": requests}[kind]
    while time.monotonic() < until_s:
        with contextlib.suppress(OSError):
            act(address, rng)


if __name__ == "__main__":
    main(*sys.argv[1:])
