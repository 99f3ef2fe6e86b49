"""The page in Debian's chromium, headless: from the frame bus to the picture drawn on its canvas, with 8 further viewers.

Fake imager, web process, the other viewers and the browser share this machine; chromium decodes and draws on the processor. What
counts is the moment when the picture is drawn and the page tells the device so; what the screen then takes is not in it.
"""

import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median

import numpy as np
from playwright.sync_api import Page, sync_playwright

from tests import chromium
from tests.perf.picture_server import WORD, free_port_pair, paired_cookie, running

VIEWERS = 8
RATE_HZ = 30.0
WARM_UP_S = 3.0

WATCH = """() => {
  const published = new Map();
  window.drawnAfter = [];
  let drawn = false;
  const draw = CanvasRenderingContext2D.prototype.drawImage;
  CanvasRenderingContext2D.prototype.drawImage = function (...how) {
    drawn ||= this.canvas.id === "canvas";
    return draw.apply(this, how);
  };
  const Plain = window.WebSocket;
  window.WebSocket = class extends Plain {
    constructor(...how) {
      super(...how);
      this.addEventListener("message", ({ data }) => {
        if (typeof data === "string") return;
        const header = JSON.parse(new TextDecoder().decode(new Uint8Array(data, 12, new DataView(data).getUint32(8, true))));
        published.set(header.publication, header.published_ns / 1e6);
      });
    }
    send(word) {
      const number = Number(String(word).split(" ")[1]);
      if (drawn) window.drawnAfter.push(performance.timeOrigin + performance.now() - published.get(number));
      drawn = false;
      super.send(word);
    }
  };
}"""


@contextmanager
def fake_device(folder: str) -> Iterator[None]:
    """The fake imager with real JPEGs of about 100 kB at the camera's rate."""
    command = [sys.executable, "-m", "tests.web_ui.fake_device", "--run-dir", folder, "--data-dir", folder]
    with subprocess.Popen(command) as process:
        try:
            while not (Path(folder) / "frame_bus").exists():
                assert process.poll() is None, "the fake imager ended"
                time.sleep(0.05)
            yield
        finally:
            process.terminate()


def drawn_ms(page: Page, url: str, seconds: float) -> list[float]:
    """Milliseconds from publication to drawn, of every picture that was drawn in that time."""
    page.add_init_script(f"({WATCH})()")
    page.goto(f"{url}/#pair={WORD}")
    page.wait_for_function("() => document.getElementById('live-word').textContent === 'LIVE'", timeout=60_000)
    page.wait_for_timeout(1000 * WARM_UP_S)
    page.evaluate("() => { window.drawnAfter = []; }")
    page.wait_for_timeout(1000 * seconds)
    wall_minus_monotonic_ms = (time.time_ns() - time.monotonic_ns()) / 1e6
    found: list[float] = page.evaluate("() => window.drawnAfter")
    return [ms - wall_minus_monotonic_ms for ms in found]


def measured(seconds: float) -> list[float]:
    """One run of everything together."""
    with tempfile.TemporaryDirectory() as folder, fake_device(folder):
        port = free_port_pair()
        server = ("web_ui", "--run-dir", folder, "--data-dir", folder, "--port", str(port), "--pair-word", WORD)
        with running(*server) as (_, ready), sync_playwright() as driver:
            url = json.loads(ready)["url"]
            browser = driver.chromium.launch(executable_path=chromium.PATH, args=chromium.FLAGS)
            page = browser.new_page(viewport={"width": 1180, "height": 820})
            others = ("127.0.0.1", str(port + 1), f"http://127.0.0.1:{port}", paired_cookie(url), str(VIEWERS))
            with running("tests.perf.viewers", *others, str(seconds + WARM_UP_S + 60)) as (_, connected):
                assert connected == "connected\n", connected
                found = drawn_ms(page, url, seconds)
            browser.close()
    return found


def rows(seconds: float = 15.0) -> list[dict[str, object]]:
    """Medians of three runs."""
    turns = [measured(seconds) for _ in range(3)]
    return [
        {
            "stage": f"drawn on the page, {VIEWERS} further viewers",
            "size": f"1456x1088 at {RATE_HZ:g}/s",
            "p50_ms": round(median(float(np.percentile(turn, 50)) for turn in turns), 1),
            "p99_ms": round(median(float(np.percentile(turn, 99)) for turn in turns), 1),
            "drawn_per_s": round(median(len(turn) for turn in turns) / seconds, 1),
        }
    ]


if __name__ == "__main__":
    for row in rows():
        print(row)
