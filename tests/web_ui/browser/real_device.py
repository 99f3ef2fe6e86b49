"""The whole device behind a real browser: guard, imager, reader of maps and page run; only camera and ring are simulated."""

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from playwright.sync_api import Page, TimeoutError

from tests.bench.running_demo import Demo, running_demo
from tests.scenes import as_toml, two_halves

BASE_AT, TIP_AT = (0.25, 0.5), (0.75, 0.5)
TIP_PERCENT = 35.0
_TISSUE = {"arrival_s": 1.0, "alpha": 2.0, "beta": 0.5, "level": 1.0}
SCENE = as_toml(
    two_halves(
        364,
        272,
        0.5,
        _TISSUE,
        {**_TISSUE, "level": TIP_PERCENT / 100},
        title="Two halves on the harbour-town clinic's bench",
        camera={"fps": 15.0},
        optics={"vignetting": 0.2, "leakage": 0.05, "ambient": 0.01},
        dye={"half_life_s": 20.0, "recirculation": 0.4},
    )
)
"""Both halves fill alike, so that the tip is at 35 % of the base at every moment; small pictures, so that all is soon done."""

SETTINGS = "[light]\nlease_ms = 400\n[recording]\nleast_free_mb = 50\n"
"""Tests run beside each other: a frame may be late without the light being tripped."""

LIT = """() => document.getElementById("light-word").textContent.startsWith("Light on")"""
UNTIL = """([selector, least]) => {
  if (document.getElementById("light-word").textContent === "Light tripped") return "tripped";
  return document.querySelector(selector).textContent >= least ? "there" : null;
}"""
PRESS_MS, PRESSES = 4_000, 8
LIT_IN_A_ROW = 20
DARK_IN_A_ROW = 30
"""So many, and it is no few dark frames of an exposure that changes: a busy machine tripped the light."""


@contextmanager
def real_device(folder: Path) -> Iterator[Demo]:
    """A demo on a small scene."""
    (folder / "halves.toml").write_text(SCENE)
    (folder / "settings.toml").write_text(SETTINGS)
    options = ("--scene", str(folder / "halves.toml"), "--settings", str(folder / "settings.toml"))
    with running_demo(folder, *options) as demo:
        yield demo


class FingerOnLight:
    """A finger on the page's Light button; lifted and pressed again after a trip, as a person would."""

    def __init__(self, page: Page) -> None:
        self._page = page

    def __enter__(self) -> "FingerOnLight":
        self.press()
        return self

    def __exit__(self, *_: object) -> None:
        self._page.mouse.up()

    def press(self) -> None:
        """Lit, or the test fails."""
        self._page.mouse.move(*self._middle())
        for _ in range(PRESSES):
            self._page.mouse.down()
            with suppress(TimeoutError):
                self._page.wait_for_function(LIT, timeout=PRESS_MS)
                return
            self._page.mouse.up()  # after a trip this press has only armed the light again
        raise AssertionError("the light does not come on: is this machine too busy?")

    def until(self, selector: str, least: str) -> None:
        """Hold until the words of that element are at least these."""
        while self._page.wait_for_function(UNTIL, arg=[selector, least], timeout=30_000).json_value() == "tripped":
            self.again()

    def again(self) -> None:
        """Lift, and press anew."""
        self._page.mouse.up()
        self.press()

    def _middle(self) -> tuple[float, float]:
        box = self._page.locator("#act-light").bounding_box()
        assert box is not None
        return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def steady_light(demo: Demo, finger: FingerOnLight) -> None:
    """Hold until enough pictures in a row were lit: the baseline is the mean of about the last second of light."""
    with demo.stream() as stream:
        lit = dark = 0
        while lit < LIT_IN_A_ROW:
            lit, dark = (lit + 1, 0) if stream.picture().header["lit"] else (0, dark + 1)
            if dark == DARK_IN_A_ROW:
                finger.again()
                dark = 0
