"""Pictures of the page on the running demo, in every state, at both ways to hold a tablet, into tests/screenshots/.

``python -m tests.web_ui.browser.screenshots [flap] [limb] [nodes]``. Two tablets are at one device: the first controls, the upright
one watches until it is given control. The scenes run at ten frames a second (``--fps``), because the browser draws on the same
processor. The picture of the README is made on the way: web_ui/page.png.
"""

import argparse
import json
import re
import signal
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import psutil
from PIL import Image
from playwright.sync_api import Browser, Page, expect, sync_playwright
from playwright.sync_api import TimeoutError as TooLate

from shared.scene.description import ready_scenes
from tests import chromium
from tests.web_ui.browser.conftest import (
    LANDSCAPE,
    PORTRAIT,
    STOP_S,
    expect_live,
    open_sheet,
    point_on_picture,
)

HOME = Path(__file__).resolve().parents[3]
FOLDER = HOME / "tests" / "screenshots"
README_PICTURE = HOME / "web_ui" / "page.png"
README_BYTES = 400_000
SHEETS = ("Regions", "Contours", "Note", "Exposure", "Case", "Cautions")
LOOKED_AFTER = (
    ("commissioning", "#commissioning", "#commissioning-next button"),
    ("check", "#commissioning/check", ".walk-go"),
    ("device", "#device", "#device-network-facts dd"),
)
LIGHT_PERCENT = 60
TOO_BUSY = "the light trips again and again: this machine is too busy; try --fps 5"
LIGHT_TRIES = 20
SINCE_INJECTION = """(wanted) => {
  const [, minutes, seconds] = /(\\d+):(\\d+)/.exec(document.getElementById("since-injection").textContent) ?? [];
  return 60 * minutes + Number(seconds) >= wanted;
}"""
QUIETEN = """() => {
  [...document.querySelectorAll("#line-acts button")].at(-1)?.click();
  document.activeElement?.blur();
}"""
LIT = """() => {
  const words = (id) => document.getElementById(id).textContent;
  const wish = document.getElementById("reference-wish");
  return words("live-word") === "LIVE" && words("light-word").startsWith("Light on")
    && !words("labels").includes("unlit") && !words("labels").includes("no picture")
    && (wish.hidden || words("reference-wish-words").startsWith("Touch"));
}"""
ACT = """fetch("/api/v1/light", {method: "POST", headers: {"content-type": "application/json"}, body: JSON.stringify({act})})"""
FINGER_DOWN = f"""() => {{
  const say = (act) => {ACT}.catch(() => {{}});
  clearInterval(window.finger);
  window.finger = setInterval(() => say("on"), 300);
  return say("on");
}}"""
FINGER_UP = f"""() => {{
  clearInterval(window.finger);
  const act = "off";
  return {ACT}.catch(() => {{}});
}}"""
REARM = f"""() => {{
  const act = "rearm";
  return {ACT}.catch(() => {{}});
}}"""
LIGHT_SETTLED = """() => /Light (on|tripped)/.test(document.getElementById("light-word").textContent)"""


@dataclass(frozen=True)
class Places:
    """Where to touch, as shares of the picture, and when the dye has filled the tissue."""

    reference: tuple[float, float]
    regions: dict[str, tuple[float, float]]
    filled_s: int


SCENES = {
    "flap": Places((0.16, 0.42), {"Base": (0.27, 0.60), "Middle": (0.47, 0.44), "Tip": (0.69, 0.50)}, 50),
    "limb": Places((0.66, 0.70), {"Channel": (0.14, 0.385), "Skin": (0.80, 0.42)}, 60),
    "nodes": Places((0.426, 0.496), {"Second": (0.604, 0.303), "Skin": (0.25, 0.25)}, 60),
}


@dataclass(frozen=True)
class Demo:
    """A demo that runs."""

    url: str
    pair: str
    process: psutil.Process

    def imager(self) -> psutil.Process:
        """The imager among the demo's children."""
        return next(child for child in self.process.children() if "device.imager" in child.cmdline())


@contextmanager
def demo(scene: str, fps: float, data: Path) -> Iterator[Demo]:
    """The whole device on a ready scene, slowed to ``fps``."""
    slowed = data / f"{scene}.toml"
    slowed.write_text(re.sub(r"(?m)^fps = .*$", f"fps = {fps:.1f}", ready_scenes()[scene].read_text()))
    command = [sys.executable, "-m", "device", "demo", "--json", "--port", "0", "--data", str(data)]
    with subprocess.Popen([*command, "--scene", str(slowed)], stdout=subprocess.PIPE) as process:
        try:
            assert process.stdout is not None
            line = json.loads(process.stdout.readline())
            yield Demo(line["url"], line["pair"], psutil.Process(process.pid))
        finally:
            process.send_signal(signal.SIGTERM)
            process.wait(2 * STOP_S)


class Tablet:
    """One page, and the folder its pictures go to."""

    def __init__(self, browser: Browser, size: tuple[int, int]) -> None:
        viewport = {"width": size[0], "height": size[1]}
        self.page: Page = browser.new_context(viewport=viewport, has_touch=True).new_page()
        self.page.set_default_timeout(20_000)
        self._suffix = "landscape" if size == LANDSCAPE else "portrait"

    def keep(self, name: str) -> Path:
        path = FOLDER / f"{name}-{self._suffix}.png"
        self.page.screenshot(path=path)
        return path

    def pair(self, demo: Demo) -> None:
        self.page.goto("about:blank")
        self.page.goto(f"{demo.url}/#pair={demo.pair}")
        expect_live(self.page)

    def tap(self, at: tuple[float, float]) -> None:
        self.page.touchscreen.tap(*point_on_picture(self.page, *at))

    def region(self, name: str, at: tuple[float, float]) -> None:
        """Touch a spot, and give the region there its name."""
        labels = self.page.locator("#labels .label")
        there = labels.count()
        self.tap(at)
        expect(labels).to_have_count(there + 1)
        self.page.mouse.move(*point_on_picture(self.page, *at))
        self.page.mouse.down()
        menu = self.page.locator("#spot-menu")
        expect(menu).to_be_visible()
        self.page.mouse.up()
        menu.get_by_role("button", name="Rename").click()
        ready = menu.get_by_role("button", name=name, exact=True)
        if ready.count():
            ready.click()
        else:
            menu.get_by_label("Other name").fill(name)
            menu.get_by_role("button", name="Keep name").click()
        expect(labels.filter(has_text=name)).to_have_count(1)
        expect(labels).to_have_count(there + 1)

    def view(self, wanted: str) -> None:
        word = self.page.locator("#view-word")
        for _ in range(3):
            before = word.text_content() or ""
            if before == wanted:
                break
            self.page.locator("#act-view").click()
            expect(word).not_to_have_text(before)
        expect(word).to_have_text(wanted)

    def quieten(self) -> None:
        """Put the line away, and the ring round what was touched last."""
        self.page.evaluate(QUIETEN)


class Lamp:
    """A finger that stays on the light of the page that controls, while that page is touched elsewhere too.

    Presses again after a trip, as a person would on a machine that is too busy.
    """

    def __init__(self, page: Page) -> None:
        self._page = page

    def hold(self) -> None:
        self._page.evaluate(FINGER_DOWN)
        for _ in range(LIGHT_TRIES):
            self._page.wait_for_function(LIGHT_SETTLED)
            if "on" in (self._page.locator("#light-word").text_content() or ""):
                return
            self.let_go()
            self._page.evaluate(REARM)
            expect(self._page.locator("#light-word")).not_to_have_text("Light tripped")
            self._page.evaluate(FINGER_DOWN)
        raise SystemExit(TOO_BUSY)

    def let_go(self) -> None:
        self._page.evaluate(FINGER_UP)

    def brighten(self, percent: int) -> None:
        level = self._page.locator("#light-level")
        while (now := level.text_content()) != f"set to {percent}\u00a0%":
            self._page.locator("#act-brighter").click()
            expect(level).not_to_have_text(now or "")


class Album:
    """Both tablets at one demo."""

    def __init__(self, browser: Browser, demo: Demo, scene: str) -> None:
        self._demo = demo
        self._scene, self._places = scene, SCENES[scene]
        self._hand, self._watching = Tablet(browser, LANDSCAPE), Tablet(browser, PORTRAIT)
        self._both = (self._hand, self._watching)
        self._lamp = Lamp(self._hand.page)

    def close(self) -> None:
        for tablet in self._both:
            tablet.page.context.close()

    def keep(self, name: str) -> None:
        for tablet in self._both:
            tablet.keep(f"{self._scene}-{name}")

    def lit(self) -> None:
        """Wait until the light is on and seen in the picture."""
        for _ in range(LIGHT_TRIES):
            self._lamp.hold()
            with suppress(TooLate):
                self._hand.page.wait_for_function(LIT, timeout=5_000)
                return
        raise SystemExit(TOO_BUSY)

    def keep_lit(self, name: str) -> None:
        """Both tablets, live and lit before and after: taking a picture can cost a busy machine the light's lease."""
        for tablet in self._both:
            for _ in range(LIGHT_TRIES):
                self._lamp.hold()
                with suppress(TooLate):
                    tablet.page.wait_for_function(LIT, timeout=5_000)
                    tablet.keep(f"{self._scene}-{name}")
                    if tablet.page.evaluate(LIT):
                        break
            else:
                raise SystemExit(TOO_BUSY)

    def pairing(self) -> None:
        for tablet in self._both:
            tablet.page.goto(self._demo.url)
            expect(tablet.page.get_by_label("Word shown by the device")).to_be_visible()
        self.keep("pairing")

    def aim(self) -> None:
        """Grey, first dark, then lit; nothing is set yet."""
        for tablet in self._both:
            tablet.pair(self._demo)
        self._hand.view("grey")
        self._hand.quieten()
        self.keep("unlit")
        self._lamp.brighten(LIGHT_PERCENT)
        self._lamp.hold()
        self.keep_lit("grey")

    def mark(self) -> None:
        """Reference, and regions by name."""
        self._hand.tap(self._places.reference)
        expect(self._hand.page.locator("#labels .label")).to_have_count(1)
        for name, at in self._places.regions.items():
            self._hand.region(name, at)

    def dye(self) -> None:
        """Dye in, and the picture once it has filled the tissue."""
        self.lit()
        self._hand.page.locator("#act-dye").click()
        expect(self._hand.page.locator("#recording-word")).to_contain_text("Rec ")
        self._hand.keep(f"{self._scene}-dye-in")
        self._hand.quieten()
        self._hand.view("relative")
        self._watching.page.wait_for_function(SINCE_INJECTION, arg=self._places.filled_s, timeout=120_000)
        self._hand.quieten()
        self.keep_lit("relative")

    def compare(self) -> None:
        self._hand.view("side by side")
        self._hand.quieten()
        self.keep_lit("side-by-side")
        self._hand.view("relative")

    def draw(self) -> None:
        """A polygon half drawn, on the first tablet only."""
        page = self._hand.page
        open_sheet(page, "Regions")
        page.locator("#draw-polygon").click()
        for corner in ((0.3, 0.3), (0.5, 0.25), (0.6, 0.55)):
            self._hand.tap(corner)
        self._hand.keep(f"{self._scene}-drawing")
        page.locator("#drawing-cancel").click()

    def freeze(self) -> None:
        """Closer, and held on the first tablet while all else goes on."""
        page = self._hand.page
        self.lit()
        page.locator("#tools-open").click()
        page.locator("#zoom-closer").click()
        page.locator("#freeze").click()
        expect(page.locator("#frozen-word")).to_contain_text("2 s")
        self._hand.keep(f"{self._scene}-frozen")
        page.locator("#frozen-back").click()
        page.locator("#zoom-whole").click()
        page.locator("#tools-open").click()

    def still(self) -> None:
        page = self._hand.page
        page.locator("#act-still").click()
        page.locator("#line").get_by_role("button", name="Show").click()
        page.wait_for_function("() => document.getElementById('still-picture').naturalWidth > 0")
        self._hand.keep(f"{self._scene}-still")
        page.keyboard.press("Escape")

    def die(self) -> None:
        """The imager is killed while the light is on: not live, and after its return the light says why it is off."""
        self._lamp.hold()
        self._demo.imager().kill()
        for tablet in self._both:
            expect(tablet.page.locator("#band")).to_be_visible()
            tablet.keep(f"{self._scene}-not-live")
        for tablet in self._both:
            expect(tablet.page.locator("#live-word")).to_have_text("LIVE", timeout=60_000)
            expect(tablet.page.locator("#light-word")).to_have_text("Light tripped")
        self.keep("tripped")
        self._lamp.let_go()

    def sheets(self) -> None:
        self._lamp.let_go()
        for tablet in self._both:
            page = tablet.page
            for name in SHEETS:
                open_sheet(page, name)
                expect(page.get_by_role("region", name=name)).to_be_visible()
                tablet.keep(f"{self._scene}-sheet-{name.lower()}")
            page.keyboard.press("Escape")

    def look_after_itself(self) -> None:
        """What comes next in commissioning, the guide of the check, and the device's own state."""
        for tablet in self._both:
            page = tablet.page
            for name, address, seen in LOOKED_AFTER:
                page.evaluate("(address) => { location.hash = address; }", address)
                expect(page.locator(seen).first).to_be_visible()
                if name == "check":
                    page.locator(seen).click()
                    expect(page.locator(".guide")).to_be_visible()
                tablet.keep(f"{self._scene}-{name}")
            page.evaluate("() => { location.hash = '#live'; }")
            expect_live(page)

    def hand_over(self) -> None:
        """The upright tablet asks for control, is listed and invites, and gets it."""
        hand, watching = self._hand.page, self._watching.page
        watching.locator("#role").click()
        self._watching.keep(f"{self._scene}-watching")
        watching.locator("#tablets-ask").click()
        expect(hand.locator("#asked-text")).to_contain_text("asks for control")
        self._hand.keep(f"{self._scene}-asked")
        hand.locator("#role").click()
        hand.locator("#tablets-invite").click()
        hand.wait_for_function("() => document.getElementById('invitation-picture').naturalWidth > 0")
        self._hand.keep(f"{self._scene}-invitation")
        hand.keyboard.press("Escape")
        hand.get_by_role("button", name="Give control").click()
        expect(watching.locator("#role")).to_have_text("You control")
        self._watching.keep(f"{self._scene}-in-control")
        watching.keyboard.press("Escape")

    def question(self) -> None:
        page = self._hand.page
        page.locator("#act-record").click()
        expect(page.locator("#line-text")).to_contain_text("Stop the recording?")
        self._hand.keep(f"{self._scene}-question")
        page.locator("#line").get_by_role("button", name="Stop").click()
        expect(page.locator("#recording-word")).to_have_text("Not recording")


def lean_copy(picture: Path, out: Path, most_bytes: int) -> None:
    """Write ``picture`` with its colours rounded as finely as fits into ``most_bytes``."""
    whole = np.asarray(Image.open(picture).convert("RGB"), np.int32)
    for step in (4, 6, 8, 12, 16):
        rounded = np.clip((whole + step // 2) // step * step, 0, 255).astype(np.uint8)
        Image.fromarray(rounded).save(out, optimize=True)
        if out.stat().st_size <= most_bytes:
            return
    raise SystemExit(f"{out} is larger than {most_bytes} bytes even with few colours")


def take_flap(album: Album, data: Path) -> None:
    """Every state of the page."""
    album.pairing()
    album.aim()
    album.mark()
    album.dye()
    lean_copy(FOLDER / "flap-relative-landscape.png", README_PICTURE, README_BYTES)
    album.compare()
    album.draw()
    album.freeze()
    album.still()
    album.question()
    album.sheets()
    album.die()
    album.hand_over()


def take_scene(album: Album, _: Path) -> None:
    """What the scene is for."""
    album.aim()
    album.mark()
    album.dye()


def main() -> None:
    """Take all pictures, or those of the scenes named."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("scenes", nargs="*", metavar="SCENE", help=f"of {', '.join(SCENES)}; all of them")
    parser.add_argument("--fps", type=float, default=10.0, help="frames a second of the simulated camera")
    arguments = parser.parse_args()
    unknown = set(arguments.scenes) - set(SCENES)
    if unknown:
        parser.error(f"no such scene: {', '.join(sorted(unknown))}; there are {', '.join(SCENES)}")
    FOLDER.mkdir(exist_ok=True)
    take: Callable[[Album, Path], None]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium.PATH, args=chromium.FLAGS)
        for scene in arguments.scenes or SCENES:
            take = take_flap if scene == "flap" else take_scene
            with tempfile.TemporaryDirectory() as folder, demo(scene, arguments.fps, Path(folder)) as running:
                album = Album(browser, running, scene)
                take(album, Path(folder))
                album.close()
        browser.close()
    print(f"pictures are in {FOLDER}, the README's in {README_PICTURE}")


if __name__ == "__main__":
    main()
