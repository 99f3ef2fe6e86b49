"""The web process as it is started on the device: ports, ready line, pictures, signals."""

import asyncio
import http.client
import json
import os
import signal
import socket
import struct
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path

import pytest
from websockets.asyncio.client import connect

from shared.protocol import control as c
from tests.web_ui.fake_device import FakeDevice

WORD = "harbour-anchor-1234"
ROOT = Path(__file__).parents[2]


def command(run_folder, port, *more):
    folders = ("--run-dir", str(run_folder), "--data-dir", str(run_folder))
    return [sys.executable, "-m", "web_ui", *folders, "--port", str(port), "--pair-word", WORD, *more]


@contextmanager
def web(run_folder, port, environment=None, more=()):
    process = subprocess.Popen(
        command(run_folder, port, *more),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=ROOT,
        env={**os.environ, **(environment or {})},
    )
    try:
        yield process, json.loads(process.stdout.readline())
    finally:
        process.kill()
        process.communicate()


def cookie_of(port):
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    connection.request("POST", "/api/v1/pair", json.dumps({"word": WORD}), {"Content-Type": "application/json"})
    answer = connection.getresponse()
    assert answer.status == 200
    cookie = answer.headers["Set-Cookie"].partition(";")[0]
    connection.close()
    return cookie


def page_on(port, cookie):
    origin = f"http://127.0.0.1:{port}"
    return connect(
        f"ws://127.0.0.1:{port + 1}/pictures", origin=origin, additional_headers={"Cookie": cookie}, proxy=None
    )


def test_ready_line_page_pictures_and_a_clean_stop(run_folder, port_pair):
    async def watch(cookie, process):
        async with page_on(port_pair, cookie) as page, asyncio.timeout(20):
            numbers, states = [], []
            while len(numbers) < 5 or not states:
                message = await page.recv()
                if isinstance(message, str):
                    states.append(json.loads(message))
                    continue
                header = json.loads(message[12 : 12 + struct.unpack_from("<I", message, 8)[0]])
                assert message.endswith(b"\xff\xd9")
                numbers.append(header["sequence"])
                await page.send(f"drawn {header['publication']}")
            assert numbers == sorted(set(numbers))
            assert states[-1]["device"] == "up"
            process.terminate()  # with a viewer connected
            await page.wait_closed()
            assert page.close_code == 1001

    with FakeDevice(run_folder), web(run_folder, port_pair) as (process, ready):
        assert ready == {"url": f"http://127.0.0.1:{port_pair}", "pair": WORD}
        asyncio.run(watch(cookie_of(port_pair), process))
        started = time.monotonic()
        assert process.wait(10) == 0
        assert time.monotonic() - started < 1.0
        assert process.stdout.read() == ""
        assert process.stderr.read() == ""
    assert list((run_folder / "frame_bus.readers").iterdir()) == []


def test_imager_that_dies_is_gone_on_the_page_and_comes_back(run_folder, port_pair):
    async def until(page, device):
        async with asyncio.timeout(20):
            while True:
                message = await page.recv()
                if isinstance(message, str) and json.loads(message)["device"] == device:
                    return json.loads(message)
                if isinstance(message, bytes):
                    publication = json.loads(message[12 : 12 + struct.unpack_from("<I", message, 8)[0]])["publication"]
                    await page.send(f"drawn {publication}")

    async def watch(cookie):
        async with page_on(port_pair, cookie) as page:
            assert (await until(page, "gone"))["state"] is None
            for _ in range(2):
                with FakeDevice(run_folder):
                    assert (await until(page, "up"))["state"]["camera"]["model"] == "fake"
                await until(page, "gone")

    with web(run_folder, port_pair):
        asyncio.run(watch(cookie_of(port_pair)))


def asked(port, cookie, method, path, body=None):
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    headers = {"Cookie": cookie, "Content-Type": "application/json"}
    connection.request(method, f"/api/v1/{path}", None if body is None else json.dumps(body), headers)
    answer = connection.getresponse()
    found = json.loads(answer.read())
    connection.close()
    return found


def test_who_is_revoked_sees_no_further_picture_and_who_gives_control_gives_the_light(run_folder, port_pair):
    async def watch(controller, viewer):
        async with page_on(port_pair, controller), page_on(port_pair, viewer) as watching:
            asking = asyncio.to_thread(asked, port_pair, viewer, "POST", "control")
            assert (await asking)["state"] == "asked"
            number = asked(port_pair, viewer, "GET", "access")["you"]["number"]
            asked(port_pair, controller, "POST", "light", {"act": "on"})
            device.requests.clear()
            asked(port_pair, controller, "POST", "control/consent", {"number": number, "give": True})
            assert c.Light("off") in device.requests
            own = asked(port_pair, controller, "GET", "access")["you"]["number"]
            assert asked(port_pair, viewer, "DELETE", f"pairings/{number}") == {"paired": False}
            async with asyncio.timeout(5):  # a third of the time between two pings, by which it would be noticed anyway
                await watching.wait_closed()
            assert watching.close_code == 1008
            assert asked(port_pair, controller, "GET", "access")["you"]["number"] == own

    with FakeDevice(run_folder) as device, web(run_folder, port_pair):
        asyncio.run(watch(cookie_of(port_pair), cookie_of(port_pair)))


def test_restarted_web_process_still_knows_the_browser(run_folder, port_pair):
    with FakeDevice(run_folder):
        with web(run_folder, port_pair):
            cookie = cookie_of(port_pair)
        with web(run_folder, port_pair):
            connection = http.client.HTTPConnection("127.0.0.1", port_pair, timeout=10)
            connection.request("GET", "/api/v1/state", headers={"Cookie": cookie})
            assert connection.getresponse().status == 200
            connection.close()


@pytest.mark.parametrize(("offset", "what"), [(0, "page"), (1, "pictures")])
def test_busy_port_is_one_line_and_exit_2(run_folder, port_pair, offset, what):
    with socket.socket() as busy:
        busy.bind(("127.0.0.1", port_pair + offset))
        busy.listen()
        done = subprocess.run(command(run_folder, port_pair), capture_output=True, text=True, cwd=ROOT, timeout=30)
    assert (done.returncode, done.stdout) == (2, "")
    (line,) = done.stderr.splitlines()
    assert what in line
    assert f"127.0.0.1:{port_pair + offset}" in line
    assert "choose another --port" in line


@pytest.mark.parametrize(
    ("more", "line"),
    [
        (["--port", "0"], "port must be from 1 to 65534: 0"),
        (["--port", "65535"], "port must be from 1 to 65534: 65535"),
        (["--run-dir", "/nonexistent"], "no such run folder: /nonexistent"),
        (["--pair-word", "abc"], "pairing word is too short: abc"),
        (["--host", "203.0.113.1"], "203.0.113.1"),
    ],
)
def test_wrong_arguments_are_one_line_and_exit_2(run_folder, port_pair, more, line):
    done = subprocess.run(command(run_folder, port_pair, *more), capture_output=True, text=True, cwd=ROOT, timeout=30)
    assert (done.returncode, done.stdout) == (2, "")
    assert line in done.stderr
    assert len(done.stderr.splitlines()) == 1


def test_systemd_hears_ready_watchdog_and_stopping(run_folder, port_pair, tmp_path):
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as notified:
        notified.settimeout(10)
        notified.bind(str(tmp_path / "notify"))
        environment = {"NOTIFY_SOCKET": str(tmp_path / "notify"), "WATCHDOG_USEC": "10000000"}
        with web(run_folder, port_pair, environment) as (process, _):
            assert notified.recv(100) == b"READY=1"
            assert notified.recv(100) == b"WATCHDOG=1"
            process.send_signal(signal.SIGINT)
            heard = notified.recv(100)
            while heard == b"WATCHDOG=1":
                heard = notified.recv(100)
            assert heard == b"STOPPING=1"
            assert process.wait(10) == 0
