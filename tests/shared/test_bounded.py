"""Typed, bounded dataclasses: what fits comes back equal, what does not is refused by its key."""

import json
import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any, Literal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shared.bounded import Length, Within, filled, from_toml, plain, read_toml
from shared.errors import Refused

unhurried = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
"""A busy machine is no failure."""


@dataclass(frozen=True)
class Berth:
    """One place at the quay."""

    depth_m: Annotated[float, Within(0.5, 30)] = 4.0
    bollards: Annotated[int, Within(0, 12)] = 2


@dataclass(frozen=True)
class Quay:
    """Every supported type once."""

    name: Annotated[str, Length(1, 20)]
    kind: Literal["stone", "wood"] = "stone"
    lit: bool = False
    folder: Path = Path("/srv/quay")
    note: Annotated[str, Length(1, 10)] | None = None
    depths_m: Annotated[tuple[float, ...], Within(0, 30), Length(0, 3)] = ()
    corner: tuple[int, float] = (0, 0.0)
    berth: Berth = field(default_factory=Berth)
    berths: Annotated[tuple[Berth, ...], Length(0, 3)] = ()
    extra: dict[str, object] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.kind == "wood" and self.lit:
            raise ValueError("a wooden quay has no lamps")


words = st.text(st.characters(exclude_categories=("Cs",)), min_size=1, max_size=10)
berths = st.builds(Berth, st.floats(0.5, 30), st.integers(0, 12))
quays = st.builds(
    Quay,
    name=words,
    kind=st.just("stone"),
    lit=st.booleans(),
    folder=st.sampled_from([Path("/a/b"), Path("c")]),
    note=st.none() | words,
    depths_m=st.lists(st.floats(0, 30), max_size=3).map(tuple),
    corner=st.tuples(st.integers(-(2**40), 2**40), st.floats(allow_nan=False, allow_infinity=False)),
    berth=berths,
    berths=st.lists(berths, max_size=3).map(tuple),
    extra=st.dictionaries(words, st.integers() | words, max_size=3),
)


@unhurried
@given(quays)
def test_plain_and_filled_are_inverse_also_through_json(quay: Quay) -> None:
    assert filled(Quay, plain(quay), "quay") == quay
    assert filled(Quay, json.loads(json.dumps(plain(quay))), "quay") == quay


anything: st.SearchStrategy[Any] = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=8,
)
keys = st.sampled_from(["name", "kind", "lit", "folder", "note", "depths_m", "corner", "berth", "berths", "extra", "x"])


@unhurried
@given(st.dictionaries(keys, anything, max_size=6))
def test_whatever_comes_is_filled_or_refused_in_one_line(values: dict[str, Any]) -> None:
    found: Quay | Refused
    try:
        found = filled(Quay, values, "quay.toml")
    except Refused as refused:
        found = refused
    if isinstance(found, Refused):
        assert found.line.startswith("quay.toml: ")
        assert "\n" not in found.line
    else:
        assert filled(Quay, plain(found), "quay.toml") == found


@pytest.mark.parametrize(
    ("values", "line"),
    [
        ({}, "q: missing key: name; add it"),
        ({"name": "a", "nmae": 1}, "q: unknown key: nmae; known here: berth, berths, "),
        ({"name": 3}, "q: name must be text in quotes: 3"),
        ({"name": ""}, "q: name must have 1 to 20 items or characters, not 0"),
        ({"name": "a", "kind": "iron"}, "q: kind is not one of stone, wood: iron"),
        ({"name": "a", "lit": 1}, "q: lit must be true or false: 1"),
        ({"name": "a", "corner": [1]}, "q: corner must have 2 items: [1]"),
        ({"name": "a", "corner": [True, 1.0]}, "q: corner[0] must be a whole number: True"),
        ({"name": "a", "corner": [1.5, 1.0]}, "q: corner[0] must be a whole number: 1.5"),
        ({"name": "a", "depths_m": [1, 31]}, "q: depths_m must be from 0 to 30: 31"),
        ({"name": "a", "depths_m": [1, math.nan]}, "q: depths_m[1] must be finite: nan"),
        ({"name": "a", "depths_m": 3}, "q: depths_m must be a list: 3"),
        ({"name": "a", "depths_m": [1, 2, 3, 4]}, "q: depths_m must have 0 to 3 items or characters, not 4"),
        ({"name": "a", "berth": {"depth_m": 0.4}}, "q: berth.depth_m must be from 0.5 to 30: 0.4"),
        ({"name": "a", "berth": 3}, "q: berth must be a table: 3"),
        ({"name": "a", "berths": [{}, {"bollards": 13}]}, "q: berths[1].bollards must be from 0 to 12: 13"),
        ({"name": "a", "berths": [{"bollard": 1}]}, "q: unknown key: berths[0].bollard; known here: bollards, depth_m"),
        ({"name": "a", "note": ""}, "q: note must have 1 to 10"),
        ({"name": "a", "extra": []}, "q: extra must be a table: []"),
        ({"name": "a", "kind": "wood", "lit": True}, "q: file: a wooden quay has no lamps"),
        ({"name": "a", "depths_m": [10**400]}, "q: depths_m[0] must be finite"),
        ({"name": "\ud800"}, "q: name holds half a character"),
    ],
)
def test_what_is_wrong_is_named_with_its_key_and_value(values: dict[str, Any], line: str) -> None:
    with pytest.raises(Refused) as refused:
        filled(Quay, values, "q")
    assert refused.value.line.startswith(line)


def test_limits_themselves_are_inside() -> None:
    assert filled(Berth, {"depth_m": 0.5, "bollards": 12}, "q") == Berth(0.5, 12)
    assert filled(Berth, {"depth_m": 30}, "q").depth_m == 30.0


def test_a_toml_file_is_read(tmp_path: Path) -> None:
    file = tmp_path / "quay.toml"
    file.write_text('name = "north"\n[berth]\ndepth_m = 7\n', encoding="utf-8")
    assert from_toml(Quay, file) == Quay("north", berth=Berth(7.0))


@pytest.mark.parametrize(
    ("content", "line"),
    [
        (b"name = ", "not valid TOML"),
        (b'name = "a"\nname = "b"\n', "not valid TOML"),
        (b'a = 1\nname = "\xff"\n', "not UTF-8 text at byte 14"),
    ],
)
def test_a_file_that_is_no_toml_says_where(tmp_path: Path, content: bytes, line: str) -> None:
    file = tmp_path / "quay.toml"
    file.write_bytes(content)
    with pytest.raises(Refused) as refused:
        read_toml(file)
    assert str(file) in refused.value.line
    assert line in refused.value.line


def test_a_missing_file_and_a_folder_are_refused(tmp_path: Path) -> None:
    with pytest.raises(Refused, match=r"no such file: .*away"):
        read_toml(tmp_path / "away.toml")
    with pytest.raises(Refused, match="this is a folder"):
        read_toml(tmp_path)
