"""A real `tapetum demo` with all its processes, and the two ways to it that a page has: requests and the stream of pictures."""

import http.client
import json
import select
import signal
import struct
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

import psutil
from websockets.sync.client import ClientConnection, connect

T = TypeVar("T")

START_S = 90.0
"""The first start on a machine compiles."""
STOP_S = 40.0
PATIENCE_S = 20.0
REPEAT_S = 0.2
MODULES = {"light guard": "device.light", "imager": "device.imager", "web": "web_ui"}


def wait_for(look: Callable[[], T | None], what: str, seconds: float = PATIENCE_S) -> T:
    """First true thing that ``look`` gives; fails with ``what`` after ``seconds``."""
    deadline, pause = time.monotonic() + seconds, threading.Event()
    while True:
        found = look()
        if found:
            return found
        assert time.monotonic() < deadline, f"not within {seconds:g} s: {what}"
        pause.wait(0.005)


class NotAnswered(Exception):
    """The web process was not there, or said something other than yes; ``status`` is 0 where it was not there."""

    def __init__(self, status: int, line: str) -> None:
        super().__init__(f"{status}: {line}")
        self.status = status
        self.line = line


@dataclass(frozen=True)
class Picture:
    """One picture of the stream."""

    header: dict[str, Any]
    jpeg: bytes
    age_ms: int

    @property
    def percents(self) -> dict[str, float | None]:
        """Values by the regions' names."""
        return {one["name"]: one["percent"] for one in self.header["values"]}


@dataclass
class Stream:
    """The picture stream as the page takes it: each picture acknowledged; states are kept as they come by."""

    line: ClientConnection
    states: list[dict[str, Any]] = field(default_factory=list)

    def picture(self, seconds: float = PATIENCE_S) -> Picture:
        """The next picture."""
        deadline = time.monotonic() + seconds
        while True:
            message = self.line.recv(timeout=max(0.01, deadline - time.monotonic()))
            if isinstance(message, str):
                self.states.append(json.loads(message))
                continue
            magic, age_ms, header_bytes = struct.unpack_from("<4sII", message)
            assert magic == b"tpm1"
            header = json.loads(message[12 : 12 + header_bytes])
            self.line.send(f"drawn {header['publication']}")
            return Picture(header, message[12 + header_bytes :], age_ms)

    def until(self, wanted: Callable[[Picture], bool], what: str, seconds: float = PATIENCE_S) -> Picture:
        """The first picture that is ``wanted``."""
        deadline = time.monotonic() + seconds
        while True:
            picture = self.picture(max(0.01, deadline - time.monotonic()))
            if wanted(picture):
                return picture
            assert time.monotonic() < deadline, f"no such picture within {seconds:g} s: {what}; last {picture.header}"


class Demo:
    """A demo that runs, seen from outside."""

    def __init__(self, process: subprocess.Popen[str], line: dict[str, str], data: Path, messages: Path) -> None:
        self.process = process
        self.url, self.word = line["url"], line["pair"]
        self.port = int(self.url.rpartition(":")[2])
        self.data = data
        self.messages = messages
        self.parent = psutil.Process(process.pid)
        words = self.child("web").cmdline()
        self.run_folder = Path(words[words.index("--run-dir") + 1])
        self.cookie = ""

    def child(self, name: str) -> psutil.Process:
        """A child process by what it is; fails where there is none."""
        return wait_for(lambda: self._child(name), f"{name} running")

    def _child(self, name: str) -> psutil.Process | None:
        for child in self.parent.children():
            try:
                if MODULES[name] in child.cmdline() and child.status() != psutil.STATUS_ZOMBIE:
                    return child
            except psutil.NoSuchProcess:
                continue
        return None

    def ask(self, method: str, path: str, body: dict[str, Any] | None = None) -> Any:
        """Answer of the interface under /api/v1/; raises NotAnswered for anything but success."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=10)
        headers = {"Origin": self.url, "Cookie": self.cookie, "Content-Type": "application/json"}
        try:
            connection.request(method, f"/api/v1/{path}", None if body is None else json.dumps(body), headers)
            answer = connection.getresponse()
            text = answer.read()
            if answer.status >= 300:
                raise NotAnswered(answer.status, text.decode())
            if answer.headers["Set-Cookie"]:
                self.cookie = answer.headers["Set-Cookie"].partition(";")[0]
            return json.loads(text)
        except OSError as error:
            raise NotAnswered(0, str(error)) from None
        except http.client.HTTPException as error:
            raise NotAnswered(0, repr(error)) from None
        finally:
            connection.close()

    def answering(self, method: str, path: str) -> Any | None:
        """As ``ask``, but None while nobody answers."""
        try:
            return self.ask(method, path)
        except NotAnswered as problem:
            if problem.status not in (0, 503):
                raise
            return None

    def pair(self) -> None:
        """Exchange the word for a cookie."""
        assert self.ask("POST", "pair", {"word": self.word}) == {"paired": True}
        assert self.cookie

    def state(self) -> dict[str, Any]:
        """What the page shows."""
        found: dict[str, Any] = self.ask("GET", "state")
        return found

    def light(self, act: str) -> dict[str, Any]:
        """State after an act on the light."""
        found: dict[str, Any] = self.ask("POST", "light", {"act": act})
        return found

    def full_light(self) -> None:
        """Brightest level."""
        for _ in range(len(self.state()["light_levels"])):
            self.light("brighter")

    @contextmanager
    def held_light(self) -> Iterator[None]:
        """A finger on the page's Light button, which says so again and again; lit from the start.

        A trip (a machine that was too busy for a frame's lease) is armed again, as an operator would.
        """
        let_go = threading.Event()

        def hold() -> None:
            while not let_go.wait(REPEAT_S):
                try:
                    if self.light("on")["light"]["state"] == "tripped":
                        self.light("off")  # lifted, and pressed again
                        self.light("rearm")
                except NotAnswered:
                    continue  # a process of the demo was killed: a finger does not notice

        finger = threading.Thread(target=hold, name="finger on the light")
        finger.start()
        try:
            self.light("on")
            wait_for(lambda: self.state()["light"]["state"] == "lit", "lit")
            yield
        finally:
            let_go.set()
            finger.join()
            if self.process.poll() is None and self.answering("GET", "state") is not None:
                self.light("off")

    @contextmanager
    def stream(self) -> Iterator[Stream]:
        """The picture stream, as from the page."""
        address = f"ws://127.0.0.1:{self.port + 1}/pictures"
        with connect(
            address, origin=self.url, additional_headers={"Cookie": self.cookie}, proxy=None, max_size=None
        ) as line:  # type: ignore[arg-type]
            yield Stream(line)

    def recording_written(self) -> None:
        """Wait until the last recording is on the disk."""
        wait_for(lambda: self.state()["recording"]["name"] is None, "the recording written")


@contextmanager
def running_demo(folder: Path, *options: str) -> Iterator[Demo]:
    """Start the demo on the data folder ``folder``/data, and stop it as Ctrl-C does."""
    data, messages = folder / "data", folder / "messages.txt"
    command = [sys.executable, "-m", "device", "demo", "--json", "--port", "0", "--data", str(data), *options]
    with (
        messages.open("w") as kept,
        subprocess.Popen(command, stdout=subprocess.PIPE, stderr=kept, text=True) as process,
    ):
        family: list[psutil.Process] = []
        try:
            assert process.stdout is not None
            ready, _, _ = select.select([process.stdout], [], [], START_S)
            line = process.stdout.readline() if ready else ""
            assert line, f"the demo did not come up: {messages.read_text()}"
            demo = Demo(process, json.loads(line), data, messages)
            demo.pair()
            yield demo
        finally:
            if process.poll() is None:
                family = psutil.Process(process.pid).children(recursive=True)
                process.send_signal(signal.SIGTERM)
            try:
                process.wait(STOP_S)
            except subprocess.TimeoutExpired:
                process.kill()
                raise
            finally:
                _, left = psutil.wait_procs(family, STOP_S)
                for one in left:
                    one.kill()
    assert not left, f"outlived the demo: {left}"
