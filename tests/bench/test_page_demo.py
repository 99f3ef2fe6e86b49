"""A tablet's browser on the real demo: touch, values, a killed imager."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest
from playwright.sync_api import Page, TimeoutError, expect

from tests.bench.conftest import SCENE
from tests.bench.running_demo import Demo, running_demo
from tests.web_ui.browser.conftest import LANDSCAPE, expect_live, point_on_picture
from tests.web_ui.browser.test_live_place import DIFFERENT_PICTURES

pytestmark = pytest.mark.browser

BASE_AT, TIP_AT = (0.25, 0.5), (0.75, 0.5)
TIP_PERCENT = 35.0
LIT = """() => document.getElementById("light-word").textContent.startsWith("Light on")"""
PRESS_MS, PRESSES = 2_000, 10
SHOWN_OR_TRIPPED = r"""() => {
  if (document.getElementById("light-word").textContent === "Light tripped") return "tripped";
  const value = document.querySelector(".label[data-name=A] .label-value")?.textContent ?? "";
  const match = /^(\d+) ± (\d+) %$/.exec(value);
  return match && document.getElementById("since-injection").textContent >= "Dye 0:04" ? match.slice(1).map(Number) : null;
}"""


@pytest.fixture(scope="module")
def steady_demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Demo]:
    """The bench scene with one curve for both halves: the tip is at 35 % of the base at every moment."""
    folder = tmp_path_factory.mktemp("page-demo")
    base, tip = SCENE.split('name = "tip"')
    curve = base[base.index("arrival_s") : base.index("level = 1.0")]
    scene = base + 'name = "tip"' + tip[: tip.index("arrival_s")] + curve + f"level = {TIP_PERCENT / 100}\n"
    (folder / "steady.toml").write_text(scene.replace("fps = 30.0", "fps = 15.0"))
    with running_demo(folder, "--scene", str(folder / "steady.toml")) as running:
        yield running


NEWEST_OF_CURVES = """async () => {
  const { curves } = await (await fetch("/api/v1/curves")).json();
  const at = curves[0].signal.findLastIndex((signal, index) => signal !== null && curves[1].signal[index] !== null);
  return curves.map(({ signal, signal_u, baseline }) => [signal[at] - baseline, signal_u[at]]);
}"""


@contextmanager
def finger_on_light(page: Page) -> Iterator[None]:
    """Press and hold; pressed again after a trip, as a person would."""
    box = page.locator("#act-light").bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    for _ in range(PRESSES):
        page.mouse.down()
        try:
            page.wait_for_function(LIT, timeout=PRESS_MS)
        except TimeoutError:
            page.mouse.up()  # after a trip this press has only armed the light again
        else:
            break
    try:
        yield
    finally:
        page.mouse.up()


def value_shown(page: Page) -> tuple[int, int]:
    """The tip's percentage and its uncertainty as they stand on the page once the dye has come; light is held for it."""
    for _ in range(5):
        with finger_on_light(page):
            found = page.wait_for_function(SHOWN_OR_TRIPPED, timeout=20_000).json_value()
        if found != "tripped":
            return found[0], found[1]
    raise AssertionError("the light trips again and again: this machine is too busy")


def test_the_job_by_touch_and_a_killed_imager(steady_demo: Demo, opened: Callable[..., Page]) -> None:
    demo = steady_demo
    demo.full_light()
    page = opened(f"{demo.url}/#pair={demo.word}", LANDSCAPE)
    expect_live(page)
    assert page.evaluate(DIFFERENT_PICTURES) == [728, 544]
    with finger_on_light(page):
        labels = page.locator("#labels .label")
        page.touchscreen.tap(*point_on_picture(page, *BASE_AT))
        expect(labels).to_have_count(1)
        page.touchscreen.tap(*point_on_picture(page, *TIP_AT))
        expect(labels).to_have_count(2)
        page.locator("#act-dye").tap()
        expect(page.locator("#recording-word")).to_contain_text("Rec ")
    shown, uncertainty = value_shown(page)
    assert abs(shown - TIP_PERCENT) <= 1 + 3 * uncertainty
    base, tip = page.evaluate(NEWEST_OF_CURVES)
    assert abs(100 * tip[0] / base[0] - TIP_PERCENT) <= 1 + 300 * tip[1] / base[0]
    with finger_on_light(page):
        demo.child("imager").kill()
        expect(page.locator("#band")).to_contain_text("NOT LIVE")
    expect_live_again(page)
    assert demo.state()["light"]["state"] != "lit"


def expect_live_again(page: Page) -> None:
    """The page returns by itself, with pictures that change."""
    expect(page.locator("#live-word")).to_have_text("LIVE", timeout=30_000)
    page.evaluate(DIFFERENT_PICTURES)
