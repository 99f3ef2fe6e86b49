"""Scrubbing a recording in Debian's chromium, headless: from a touch of the bar of time to that moment's picture on the canvas.

Fake imager at 30 pictures a second, web process and browser share this machine; the recording is at full size, in percent
with contours. Single touches at random moments, each after the last picture had come to rest; and a finger that moves along the bar
for some seconds, for whom each picture's age counts, from when the finger was at its moment.
"""

import json
import tempfile
from pathlib import Path
from statistics import median

import numpy as np
from playwright.sync_api import Page, sync_playwright

from device.simulate import simulate
from shared.protocol.review import ReviewRegion
from shared.recording.afterwards import Marks, write_marks
from shared.scene.description import Scene
from tests import chromium
from tests.perf.page_drawn import fake_device
from tests.perf.picture_server import WORD, free_port_pair, running

SECONDS = 30.0
TOUCHES, DRAG_S = 40, 6.0
NAME = "flap"
MARKS = Marks(ReviewRegion("base:180,500,60,60", 0.0), (ReviewRegion("tip:1000,500,60,60", 0.0),))
FLAP = Path(__file__).parents[2] / "shared/scene/ready/flap.toml"

TOUCHED = """async (at) => {
  const [bar, canvas] = ["review-time", "review-canvas"].map((id) => document.getElementById(id));
  const drawn = () => Math.abs(Number(canvas.dataset.time) - at) < 0.6 * Number(bar.step);
  const turn = () => new Promise(requestAnimationFrame);
  const begun = performance.now();
  bar.value = String(at);
  bar.dispatchEvent(new Event("input"));
  while (!drawn()) await turn();
  const took = performance.now() - begun;
  while (canvas.width < 1000) await turn();
  return took;
}"""

DRAGGED = """async (seconds) => {
  const [bar, canvas] = ["review-time", "review-canvas"].map((id) => document.getElementById(id));
  const [asked, ages] = [[], []];
  const look = new MutationObserver(() => {
    const shown = Number(canvas.dataset.time);
    const wish = asked.findLast(({ at }) => Math.abs(at - shown) < 0.6 * Number(bar.step));
    if (wish !== undefined) ages.push(performance.now() - wish.when);
  });
  look.observe(canvas, { attributes: true, attributeFilter: ["data-time"] });
  const begun = performance.now();
  for (let gone = 0; gone < 1000 * seconds; gone = performance.now() - begun) {
    bar.value = String(Number(bar.max) * (0.1 + 0.8 * gone / (1000 * seconds)));
    asked.push({ at: Number(bar.value), when: performance.now() });
    bar.dispatchEvent(new Event("input"));
    await new Promise(requestAnimationFrame);
  }
  look.disconnect();
  return ages;
}"""


def measured(page: Page, seed: int) -> tuple[list[float], list[float]]:
    """Milliseconds of each touch, and the age of each picture under a moving finger."""
    moments_s = np.random.default_rng(seed).uniform(0.5, SECONDS - 0.5, TOUCHES)
    touches = [page.evaluate(TOUCHED, float(at_s)) for at_s in np.round(moments_s * 30) / 30]
    return touches, page.evaluate(DRAGGED, DRAG_S)


def rows() -> list[dict[str, object]]:
    """Medians of three runs in one browser."""
    with tempfile.TemporaryDirectory() as folder:
        recorded = Path(folder) / "recordings" / f"{NAME}.zarr"
        recorded.parent.mkdir()
        simulate(Scene.load(FLAP), recorded, SECONDS, seed=1)
        write_marks(recorded, MARKS)
        with fake_device(folder):
            server = (
                "web_ui",
                "--run-dir",
                folder,
                "--data-dir",
                folder,
                "--port",
                str(free_port_pair()),
                "--pair-word",
                WORD,
            )
            with running(*server) as (_, ready), sync_playwright() as driver:
                browser = driver.chromium.launch(executable_path=chromium.PATH, args=chromium.FLAGS)
                page = browser.new_page(viewport={"width": 1180, "height": 820})
                page.goto(f"{json.loads(ready)['url']}/#pair={WORD}")
                page.locator("#live").wait_for()
                page.evaluate(f"location.hash = '#review/{NAME}'")
                page.wait_for_function("() => document.getElementById('review-canvas').width > 1000", timeout=60_000)
                page.wait_for_function("() => document.querySelectorAll('#review-labels .label').length > 1")
                measured(page, 0)
                turns = [measured(page, seed) for seed in (1, 2, 3)]
                browser.close()
    found: dict[str, object] = {"stage": "scrubbing a recording", "size": "1456x1088, in percent"}
    for index, name in enumerate(("touch", "moving")):
        for share in (50, 95):
            found[f"{name}_p{share}_ms"] = round(median(float(np.percentile(turn[index], share)) for turn in turns), 1)
    found["pictures_per_s"] = round(median(len(turn[1]) for turn in turns) / DRAG_S, 1)
    return [found]


if __name__ == "__main__":
    for row in rows():
        print(row)
