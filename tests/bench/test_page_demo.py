"""A tablet's browser on the real demo: touch, values, a killed imager."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest
from playwright.sync_api import Page, expect

from tests.bench.conftest import SCENE
from tests.bench.running_demo import Demo, running_demo
from tests.web_ui.browser.conftest import LANDSCAPE, expect_live, point_on_picture
from tests.web_ui.browser.test_live_place import DIFFERENT_PICTURES

pytestmark = pytest.mark.browser

BASE_AT, TIP_AT = (0.25, 0.5), (0.75, 0.5)
TIP_PERCENT = 35.0
SETTLED = """() => /Light (on|tripped)/.test(document.getElementById("light-word").textContent)"""
SHOWN = r"""() => {
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


@contextmanager
def finger_on_light(page: Page) -> Iterator[None]:
    """Press and hold; pressed again after a trip, as a person would."""
    box = page.locator("#act-light").bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    word = page.locator("#light-word")
    for _ in range(5):
        page.mouse.down()
        page.wait_for_function(SETTLED)
        if "on" in (word.text_content() or ""):
            break
        page.mouse.up()
        page.mouse.down()
        expect(word).not_to_have_text("Light tripped")
        page.mouse.up()
    try:
        yield
    finally:
        page.mouse.up()


def test_the_job_by_touch_and_a_killed_imager(steady_demo: Demo, opened: Callable[..., Page]) -> None:
    demo = steady_demo
    demo.full_light()
    page = opened(f"{demo.url}/#pair={demo.word}", LANDSCAPE)
    expect_live(page)
    assert page.evaluate(DIFFERENT_PICTURES) == [728, 544]
    with finger_on_light(page):
        expect(page.locator("#light-word")).to_have_text("Light on 100 %")
        labels = page.locator("#labels .label")
        page.touchscreen.tap(*point_on_picture(page, *BASE_AT))
        expect(labels).to_have_count(1)
        page.touchscreen.tap(*point_on_picture(page, *TIP_AT))
        expect(labels).to_have_count(2)
        page.locator("#act-dye").tap()
        expect(page.locator("#recording-word")).to_contain_text("Rec ")
    with finger_on_light(page):
        shown, uncertainty = page.wait_for_function(SHOWN, timeout=20_000).json_value()
        assert abs(shown - TIP_PERCENT) <= 1 + 3 * uncertainty
        demo.child("imager").kill()
        expect(page.locator("#band")).to_contain_text("NOT LIVE")
    expect_live_again(page)
    assert demo.state()["light"]["state"] != "lit"


def expect_live_again(page: Page) -> None:
    """The page returns by itself, with pictures that change."""
    expect(page.locator("#live-word")).to_have_text("LIVE", timeout=30_000)
    page.evaluate(DIFFERENT_PICTURES)
