"""Memory of all processes of the demo while it images, shows and records: proportional set size, so shared pages count once.

It records for long enough that the maps' store is full.
"""

import contextlib
import json
import subprocess
import sys
import tempfile
import time
import urllib.request

import psutil


def rows(seconds: float = 40.0) -> list[dict[str, object]]:
    """One row: megabytes in all, and of each process."""
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "device", "demo", "--json", "--port", "0", "--data", folder]
        demo = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        assert demo.stdout is not None
        try:
            address = json.loads(demo.stdout.readline())
            cookie = _paired(address)
            _asked(address, cookie, "recording", {"act": "start", "case": ""})
            end = time.monotonic() + seconds
            while time.monotonic() < end:
                _asked(address, cookie, "light", {"act": "on"})
                time.sleep(0.3)
            found = [(_name(one), one.memory_full_info().pss / 1e6) for one in _family(demo.pid)]
        finally:
            demo.terminate()
            demo.wait(20)
            demo.stdout.close()
    parts = {f"{name}_mb": round(megabytes, 1) for name, megabytes in found}
    total_mb = sum(megabytes for _, megabytes in found)
    return [{"stage": "memory of the demo", "size": "1456x1088", "all_mb": round(total_mb, 1), **parts}]


def _family(pid: int) -> list[psutil.Process]:
    parent = psutil.Process(pid)
    return [parent, *parent.children(recursive=True)]


def _name(process: psutil.Process) -> str:
    words = process.cmdline()
    parent = process.parent()
    if parent is not None and parent.cmdline() == words:
        return "maps_reader"
    with contextlib.suppress(ValueError):
        return words[words.index("-m") + 1]
    return process.name()


def _paired(address: dict[str, str]) -> str:
    request = urllib.request.Request(
        f"{address['url']}/api/v1/pair",
        json.dumps({"word": address["pair"]}).encode(),
        {"Content-Type": "application/json"},
    )
    with urllib.request.urlopen(request, timeout=10) as answer:
        return str(answer.headers["Set-Cookie"].partition(";")[0])


def _asked(address: dict[str, str], cookie: str, what: str, body: dict[str, str]) -> None:
    headers = {"Content-Type": "application/json", "Cookie": cookie, "Origin": address["url"]}
    request = urllib.request.Request(f"{address['url']}/api/v1/{what}", json.dumps(body).encode(), headers)
    urllib.request.urlopen(request, timeout=10).close()


if __name__ == "__main__":
    for row in rows():
        print(row)
