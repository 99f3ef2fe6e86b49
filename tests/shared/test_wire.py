"""Messages of both protocols: every one comes back equal, and whatever else arrives is refused in one line."""

import dataclasses
import json
import types
from functools import cache
from typing import Annotated, Any, Literal, Union, get_args, get_origin, get_type_hints

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shared.bounded import Length, Within
from shared.errors import Refused
from shared.protocol.control import ANSWERS, REQUESTS, Hello, SetContours, StartExport
from shared.protocol.light import FROM_GUARD, TO_GUARD
from shared.protocol.wire import LONGEST_MESSAGE_BYTES, by_name, decoded, encoded

unhurried = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
"""A busy machine is no failure."""

TABLES: dict[str, dict[str, type[Any]]] = {
    "requests": REQUESTS,
    "answers": ANSWERS,
    "to the guard": dict(TO_GUARD),
    "from the guard": dict(FROM_GUARD),
}
KINDS = [(table, kind) for table, kinds in TABLES.items() for kind in kinds]


def values_of(hint: Any, low: float = -(2.0**53), high: float = 2.0**53, size: tuple[int, int] = (0, 8)) -> Any:
    """Strategy for what a field of this type may hold, limits included."""
    origin = get_origin(hint)
    if origin is Annotated:
        inner, *limits = get_args(hint)
        for limit in limits:
            if isinstance(limit, Within):
                low, high = limit.low, limit.high
            if isinstance(limit, Length):
                size = (limit.low, min(limit.high, limit.low + 8))
        return values_of(inner, low, high, size)
    if origin is Literal:
        return st.sampled_from(get_args(hint))
    if origin in (Union, types.UnionType):
        (inner,) = (one for one in get_args(hint) if one is not type(None))
        return st.none() | values_of(inner, low, high, size)
    if origin is tuple:
        item = values_of(get_args(hint)[0], low, high)
        return st.lists(item, min_size=size[0], max_size=size[1]).map(tuple)
    if dataclasses.is_dataclass(hint):
        return messages_of(hint)
    return {
        bool: st.booleans(),
        int: st.integers(int(low), int(high)),
        float: st.floats(low, high, allow_nan=False),
        str: st.text(st.characters(exclude_categories=("Cs",)), min_size=size[0], max_size=size[1]),
    }[hint]


@cache
def messages_of(kind: Any) -> st.SearchStrategy[Any]:
    """Strategy for messages of this dataclass."""
    hints = get_type_hints(kind, include_extras=True)
    return st.builds(kind, **{field.name: values_of(hints[field.name]) for field in dataclasses.fields(kind)})


@pytest.mark.parametrize(("table", "name"), KINDS, ids=[f"{table}: {name}" for table, name in KINDS])
@unhurried
@given(data=st.data())
def test_every_message_comes_back_equal(table: str, name: str, data: st.DataObject) -> None:
    message = data.draw(messages_of(TABLES[table][name]))
    line = encoded(message)
    assert b"\n" not in line
    assert json.loads(line)["kind"] == name
    assert decoded(line, TABLES[table]) == message


@unhurried
@given(st.binary(max_size=200) | st.text(max_size=100).map(str.encode))
def test_whatever_arrives_is_refused_in_one_line(data: bytes) -> None:
    with pytest.raises(Refused) as refused:
        decoded(data, REQUESTS)
    assert "\n" not in refused.value.line


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (b"", "message is not JSON"),
        (b"[1, 2]", "message is not a JSON object: [1, 2]"),
        (b"{}", "unknown kind of message; known: AddLateNote, AddNote, "),
        (b'{"kind": "Sing"}', "unknown kind of message: Sing; known: "),
        (b'{"kind": ["Light"]}', "unknown kind of message: ['Light']"),
        (b'{"kind": "Light"}', "Light: missing key: act; add it"),
        (
            b'{"kind": "Light", "act": "blink"}',
            "Light: act is not one of on, hold, off, brighter, dimmer, rearm: blink",
        ),
        (b'{"kind": "Light", "act": "on", "level": 1}', "Light: unknown key: level; known here: act"),
        (b'{"kind": "SetExposure", "exposure_us": 10, "gain": 1}', "exposure_us must be from 20 to 1e+06: 10"),
        (b'{"kind": "SetExposure", "exposure_us": NaN, "gain": 1}', "exposure_us must be finite: nan"),
        (b'{"kind": "SetContours", "percent": [10, 20, 30, 40, 50]}', "percent must have 0 to 4 items"),
        (b'{"kind": "AddNote", "text": ""}', "text must have 1 to 2000"),
        (b"[" * 200_000, "message is not JSON"),
    ],
)
def test_what_does_not_fit_is_refused_by_its_key(line: bytes, words: str) -> None:
    with pytest.raises(Refused) as refused:
        decoded(line, REQUESTS)
    assert words in refused.value.line


def test_too_long_a_message_is_not_even_read() -> None:
    with pytest.raises(Refused, match="message too long: 262145; at most 262144 bytes"):
        decoded(b" " * (LONGEST_MESSAGE_BYTES + 1), REQUESTS)


def test_a_message_of_one_protocol_is_unknown_in_the_other() -> None:
    for line in (encoded(Hello()), encoded(StartExport("flap", ("csv",)))):
        with pytest.raises(Refused, match="unknown kind of message"):
            decoded(line, TO_GUARD)


def test_what_json_cannot_hold_is_never_sent() -> None:
    with pytest.raises(ValueError, match="JSON"):
        encoded(SetContours((float("nan"),)))


def test_the_table_is_by_class_name() -> None:
    assert by_name(Hello, SetContours) == {"Hello": Hello, "SetContours": SetContours}
