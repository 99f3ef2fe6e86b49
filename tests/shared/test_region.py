"""Named areas. Outside checks: matplotlib's point-in-polygon test for polygons, scipy's distance transform for lines."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from matplotlib.path import Path as Outline
from scipy.ndimage import distance_transform_edt

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
lines = st.builds(
    lambda name, width, points: Region(name, "line", (width, *(n for point in points for n in point))),
    names,
    st.integers(1, 400),
    st.lists(st.tuples(whole, whole), min_size=2, max_size=20),
)


@unhurried
@given(rectangles | polygons | lines)
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
        ("v:line:5,1,1,9", "a line needs its width and 2 to 200 points"),
        ("v:line:5,1,1", "a line needs its width and 2 to 200 points"),
        ("v:line:0,1,1,9,9", "a line is 1 to 400 pixels wide: 0"),
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


@pytest.mark.parametrize(
    ("text", "share"),
    [
        ("a:0,0,80,60", 1.0),
        ("a:-5,0,10,10", 0.5),
        ("a:75,55,10,10", 0.25),
        ("a:polygon:70,0,89,0,89,9", 0.5),
        ("a:90,0,5,5", 0.0),
    ],
)
def test_how_much_of_a_region_lies_in_the_picture(text: str, share: float) -> None:
    assert Region.parse(text).share_inside((60, 80)) == pytest.approx(share)


def test_a_region_is_clipped_to_the_picture_and_refused_outside() -> None:
    assert len(Region.parse("tip:-5,-5,10,10").indices((60, 80))) == 25
    assert len(Region.parse("tip:70,50,1000,1000").indices((60, 80))) == 100
    for text in (
        "tip:80,0,5,5",
        "tip:0,60,5,5",
        "tip:-5,0,5,5",
        "tip:polygon:100,100,120,100,110,120",
        "v:line:9,100,1,120,1",
    ):
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


ends = st.tuples(st.integers(0, 79), st.integers(0, 59))


@unhurried
@given(ends, ends, st.integers(1, 21))
def test_a_line_holds_what_lies_within_half_its_width(start: tuple[int, int], end: tuple[int, int], width: int) -> None:
    """scipy.ndimage.distance_transform_edt from a drawn line, which is up to 0.71 px off the true one."""
    held = np.zeros(60 * 80, bool)
    held[Region("v", "line", (width, *start, *end)).indices((60, 80))] = True
    steps = np.linspace(0, 1, 400)
    drawn = np.ones((60, 80), bool)
    drawn[
        np.round(start[1] + steps * (end[1] - start[1])).astype(int),
        np.round(start[0] + steps * (end[0] - start[0])).astype(int),
    ] = False
    distance = distance_transform_edt(drawn).reshape(-1)
    assert held[distance <= width / 2 - 0.75].all()
    assert not held[distance > width / 2 + 0.75].any()
    assert held[start[1] * 80 + start[0]]
    assert held[end[1] * 80 + end[0]]


def test_a_bent_line_has_round_corners_and_counts_no_pixel_twice() -> None:
    found = Region.parse("v:line:3,10,10,20,10,20,20").indices((60, 80))
    assert len(set(found)) == len(found)
    rows, columns = np.divmod(found, 80)
    assert set(rows[columns == 15]) == {9, 10, 11}
    assert set(columns[rows == 15]) == {19, 20, 21}


def test_place_is_the_region_without_its_name() -> None:
    for text in ("1,2,3,4", "polygon:1,1,9,1,5,9", "line:5,1,1,9,9"):
        assert Region.parse(f"tip:{text}").place == text
