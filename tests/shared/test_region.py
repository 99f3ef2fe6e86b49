"""Named areas. Outside check of which pixels a polygon holds: matplotlib's own point-in-polygon test."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from matplotlib.path import Path as Outline

from shared.errors import Refused
from shared.region import Region

unhurried = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
"""A busy machine is no failure."""

names = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9 .\-]{0,20}[A-Za-z0-9]", fullmatch=True)
whole = st.integers(-5000, 5000)
rectangles = st.builds(
    lambda name, x, y, w, h: Region(name, "rectangle", (x, y, w, h)),
    names,
    whole,
    whole,
    st.integers(1, 5000),
    st.integers(1, 5000),
)
polygons = st.builds(
    lambda name, points: Region(name, "polygon", tuple(n for point in points for n in point)),
    names,
    st.lists(st.tuples(whole, whole), min_size=3, max_size=20),
)


@unhurried
@given(rectangles | polygons)
def test_text_and_region_are_inverse(region: Region) -> None:
    assert Region.parse(str(region)) == region


@unhurried
@given(st.text(max_size=60))
def test_any_text_is_a_region_or_refused_in_one_line(text: str) -> None:
    found: Region | Refused
    try:
        found = Region.parse(text)
    except Refused as refused:
        found = refused
    if isinstance(found, Refused):
        assert "\n" not in found.line
    else:
        assert Region.parse(str(found)) == found


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("tip", "not a region: tip; write name:x,y,width,height or name:polygon:"),
        ("tip:1,2,3", "a rectangle needs x, y and a positive width and height: (1, 2, 3)"),
        ("tip:1,2,0,4", "positive width and height: (1, 2, 0, 4)"),
        ("tip:1,2,inf,4", "not a region"),
        ("tip:polygon:1,1,9,1", "polygon"),
        ("tip:polygon:1,1,9,1,5", "polygon"),
        (":1,2,3,4", "a region's name is 1 to 40 letters"),
        ("a/b:1,2,3,4", "a region's name is 1 to 40 letters, digits, spaces, dots or dashes: a/b"),
        (f"{'a' * 41}:1,2,3,4", "a region's name"),
    ],
)
def test_what_is_wrong_says_what_and_how(text: str, words: str) -> None:
    with pytest.raises(Refused) as refused:
        Region.parse(text)
    assert words in refused.value.line


def test_a_rectangle_holds_exactly_its_pixels() -> None:
    picture = np.zeros((60, 80), bool)
    picture[10:30, 20:50] = True
    found = Region.parse("tip:20,10,30,20").indices(picture.shape)
    assert sorted(found) == list(np.flatnonzero(picture))


def test_a_region_is_clipped_to_the_picture_and_refused_outside() -> None:
    assert len(Region.parse("tip:-5,-5,10,10").indices((60, 80))) == 25
    assert len(Region.parse("tip:70,50,1000,1000").indices((60, 80))) == 100
    for text in ("tip:80,0,5,5", "tip:0,60,5,5", "tip:-5,0,5,5", "tip:polygon:100,100,120,100,110,120"):
        with pytest.raises(Refused, match="outside the picture"):
            Region.parse(text).indices((60, 80))


@unhurried
@given(st.lists(st.tuples(st.integers(0, 79), st.integers(0, 59)), min_size=3, max_size=3, unique=True))
def test_a_triangle_holds_what_lies_inside_and_nothing_far_outside(points: list[tuple[int, int]]) -> None:
    """matplotlib.path.Path.contains_points: sure inside with a margin of a pixel, sure outside likewise."""
    (ax, ay), (bx, by), (cx, cy) = points
    if abs((bx - ax) * (cy - ay) - (cx - ax) * (by - ay)) < 200:
        return  # a sliver is all edge
    region = Region("tip", "polygon", (ax, ay, bx, by, cx, cy))
    held = np.zeros(60 * 80, bool)
    held[region.indices((60, 80))] = True
    ys, xs = np.divmod(np.arange(60 * 80), 80)
    outline = Outline(points + points[:1])
    pixels = np.column_stack((xs, ys))
    margins = [outline.contains_points(pixels, radius=radius) for radius in (1.5, -1.5)]
    sure_inside, perhaps = np.logical_and(*margins), np.logical_or(*margins)
    assert held[sure_inside].all()
    assert not held[~perhaps].any()


def test_around_is_a_square_centred_on_the_touch() -> None:
    region = Region.around("A", 100, 50, 20)
    assert region.bounds == (80, 30, 121, 71)
    held = region.indices((200, 200))
    ys, xs = np.divmod(held, 200)
    assert (xs.mean(), ys.mean()) == (100.0, 50.0)
