"""Frozen dataclasses filled from TOML or JSON, with every key, type and range checked.

One reader serves settings, scenes, hardware files and protocol messages, so a wrong key is refused in the same words
everywhere. Standard library only, because the light guard reads its settings with it.

A field is declared as ``exposure_us: Annotated[float, Within(10, 1e6)] = 8000.0``. Supported types: bool, int, float, str,
Path, Literal, ``X | None``, ``tuple[X, ...]``, ``dict[str, object]`` (kept as it is) and nested dataclasses.
"""

import dataclasses
import math
import tomllib
import types
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

from shared.errors import Refused

T = TypeVar("T")


@dataclass(frozen=True)
class Within:
    """Closed range for a number, or for each number of a tuple."""

    low: float
    high: float


@dataclass(frozen=True)
class Length:
    """Closed range for the length of a string or tuple."""

    low: int
    high: int


def read_toml(path: Path) -> dict[str, Any]:
    """Parse a TOML file; raises Refused naming the file, and line and column where the text is not TOML."""
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise Refused("no such file", str(path), "check the path") from None
    except IsADirectoryError:
        raise Refused("this is a folder, not a TOML file", str(path), "name a file inside it") from None
    except UnicodeDecodeError as error:
        raise Refused(f"{path}: not UTF-8 text at byte {error.start}", remedy="save the file as UTF-8") from None
    except OSError as error:
        raise Refused(
            f"{path}: cannot be read ({error.strerror})", remedy="check the path and its permissions"
        ) from None
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise Refused(f"{path}: not valid TOML, {error}", remedy="correct the file there") from None


def from_toml(kind: type[T], path: Path) -> T:
    """Read ``path`` into dataclass ``kind``; raises Refused naming file and key."""
    return filled(kind, read_toml(path), str(path))


def filled(kind: type[T], values: Mapping[str, Any], source: str, prefix: str = "") -> T:
    """Make a ``kind`` from a mapping.

    ``source`` names the file or message in errors, ``prefix`` the key that led here. Raises Refused for an unknown or missing
    key, a wrong type, or a value outside its range.
    """
    if not isinstance(values, Mapping):
        raise Refused(f"{source}: {prefix or 'the whole'} must be a table", values, "write it as key = value pairs")
    hints = _hints(kind)  # type: ignore[arg-type]
    for key in values:
        if key not in hints:
            known = ", ".join(sorted(hints))
            raise Refused(f"{source}: unknown key", _joined(prefix, key), f"known here: {known}")
    arguments: dict[str, Any] = {}
    for field in dataclasses.fields(kind):  # type: ignore[arg-type]
        key = _joined(prefix, field.name)
        if field.name in values:
            arguments[field.name] = _checked(hints[field.name], values[field.name], source, key)
        elif field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING:
            raise Refused(f"{source}: missing key", key, "add it")
    try:
        return kind(**arguments)
    except ValueError as error:
        raise Refused(f"{source}: {prefix or 'file'}", str(error), "correct it") from None


def plain(value: Any) -> Any:
    """Turn dataclasses, paths and tuples into what JSON or TOML can hold; the inverse of ``filled``."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [plain(item) for item in value]
    return str(value) if isinstance(value, Path) else value


def _joined(prefix: str, key: str) -> str:
    return f"{prefix}.{key}" if prefix else str(key)


@cache
def _hints(kind: type) -> dict[str, Any]:
    hints = get_type_hints(kind, include_extras=True)
    return {field.name: hints[field.name] for field in dataclasses.fields(kind)}


def _checked(hint: Any, value: Any, source: str, key: str) -> Any:
    limits: tuple[Any, ...] = ()
    if get_origin(hint) is Annotated:
        hint, *rest = get_args(hint)
        limits = tuple(rest)
    result = _typed(hint, value, source, key)
    for limit in limits:
        _check_limit(limit, result, source, key)
    return result


def _typed(hint: Any, value: Any, source: str, key: str) -> Any:
    origin = get_origin(hint)
    if origin in (Union, types.UnionType):
        (inner,) = (choice for choice in get_args(hint) if choice is not type(None))
        return None if value is None else _checked(inner, value, source, key)
    if origin is Literal:
        if value not in get_args(hint) or isinstance(value, bool):
            raise Refused(
                f"{source}: {key} is not one of {', '.join(map(str, get_args(hint)))}", value, "choose one of those"
            )
        return value
    if origin is tuple:
        return _sequence(hint, value, source, key)
    if origin is dict:
        return _of(dict, value, source, key, "a table")
    if dataclasses.is_dataclass(hint):
        return filled(hint, value, source, key)  # type: ignore[arg-type]
    return _scalar(hint, value, source, key)


def _sequence(hint: Any, value: Any, source: str, key: str) -> tuple[Any, ...]:
    items = _of((list, tuple), value, source, key, "a list")
    inner = get_args(hint)
    if inner[-1] is Ellipsis:
        return tuple(_checked(inner[0], item, source, f"{key}[{index}]") for index, item in enumerate(items))
    if len(items) != len(inner):
        raise Refused(f"{source}: {key} must have {len(inner)} items", value, "give exactly that many")
    pairs = enumerate(zip(inner, items, strict=True))
    return tuple(_checked(one, item, source, f"{key}[{index}]") for index, (one, item) in pairs)


def _scalar(hint: Any, value: Any, source: str, key: str) -> Any:
    if hint is bool:
        return _of(bool, value, source, key, "true or false")
    if hint is float:
        try:
            number = float(_of((int, float), value, source, key, "a number"))
        except OverflowError:  # a whole number of more digits than a float holds
            number = math.inf
        if not math.isfinite(number):
            raise Refused(f"{source}: {key} must be finite", value, "give an ordinary number")
        return number
    if hint is int:
        return _of(int, value, source, key, "a whole number")
    if hint is Path:
        return Path(_of(str, value, source, key, "a path in quotes"))
    if hint is str:
        text = _of(str, value, source, key, "text in quotes")
        if not text.isprintable() and any("\ud800" <= character <= "\udfff" for character in text):
            raise Refused(f"{source}: {key} holds half a character (a lone surrogate)", ascii(text), "send whole ones")
        return text
    raise TypeError(f"{key}: fields of type {hint} are not supported")


def _of(kind: type | tuple[type, ...], value: Any, source: str, key: str, wanted: str) -> Any:
    if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
        raise Refused(f"{source}: {key} must be {wanted}", value, "correct the value")
    return value


def _check_limit(limit: Any, value: Any, source: str, key: str) -> None:
    if value is None:
        return
    if isinstance(limit, Within):
        for number in value if isinstance(value, tuple) else (value,):
            if not limit.low <= number <= limit.high:
                raise Refused(
                    f"{source}: {key} must be from {limit.low:g} to {limit.high:g}", number, "choose a value inside"
                )
    elif isinstance(limit, Length) and not limit.low <= len(value) <= limit.high:
        raise Refused(
            f"{source}: {key} must have {limit.low} to {limit.high} items or characters, not {len(value)}",
            remedy="shorten or complete it",
        )
