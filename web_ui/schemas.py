"""What the interface takes and gives, derived from the dataclasses of the protocol, so that each thing is described once.

The schemas write the OpenAPI document and check nothing themselves: what comes in is checked by ``shared.bounded.filled``, in the
same words as settings and protocol messages.
"""

import dataclasses
import types
from collections.abc import Mapping
from functools import cache
from typing import Annotated, Any, Literal, Union, get_args, get_origin, get_type_hints

from apiflask import Schema
from marshmallow import fields, post_load, pre_load, validate

from shared.bounded import Length, Within, filled, plain


class Mirror(Schema):
    """A schema whose input becomes the dataclass it was derived from."""

    mirrored: type = object

    @pre_load
    def check(self, data: object, **_: object) -> object:
        """Raise Refused, naming the key, for what the dataclass does not take."""
        filled(self.mirrored, data, self.mirrored.__name__)  # type: ignore[arg-type]
        return data

    @post_load
    def build(self, data: Mapping[str, Any], **_: object) -> Any:
        """The dataclass; those inside it were built already."""
        return filled(self.mirrored, plain(data), self.mirrored.__name__)


@cache
def schema_of(kind: type, *, answer: bool = False, part: bool = False) -> type[Schema]:
    """Schema class that mirrors dataclass ``kind``; in an ``answer`` every key is always present.

    As ``part`` of another it is a class of its own: the OpenAPI layer cannot describe one class both alone and inside another.
    """
    hints = get_type_hints(kind, include_extras=True)
    members: dict[str, Any] = {"mirrored": kind, "__doc__": kind.__doc__}
    for field in dataclasses.fields(kind):
        options: dict[str, Any] = {"required": True}
        if not answer and (default := _default(field)) is not dataclasses.MISSING:
            options = {"load_default": default}
        members[field.name] = _field(hints[field.name], answer, options)
    ending = "" if not part else "Part" if answer else "AskedPart"
    return type(f"{kind.__name__}{ending}", (Mirror,), members)


def _default(field: "dataclasses.Field[Any]") -> Any:
    return field.default_factory() if field.default_factory is not dataclasses.MISSING else field.default


def _field(hint: Any, answer: bool, options: dict[str, Any]) -> fields.Field[Any]:
    """Marshmallow's field for a type as ``shared.bounded`` knows them."""
    limits: tuple[Any, ...] = ()
    if get_origin(hint) is Annotated:
        hint, *rest = get_args(hint)
        limits = tuple(rest)
    origin = get_origin(hint)
    if origin in (Union, types.UnionType):
        (inner,) = (choice for choice in get_args(hint) if choice is not type(None))
        return _field(inner, answer, {**options, "allow_none": True})
    if origin is Literal:
        return fields.String(validate=validate.OneOf(get_args(hint)), **options)
    if origin is tuple:
        numbers = tuple(limit for limit in limits if isinstance(limit, Within))
        inner = Annotated[(get_args(hint)[0], *numbers)] if numbers else get_args(hint)[0]
        return fields.List(_field(inner, answer, {}), validate=_validators(limits, list), **options)
    if dataclasses.is_dataclass(hint):
        return fields.Nested(schema_of(hint, answer=answer, part=True), **options)  # type: ignore[arg-type]
    plain: dict[type, type[fields.Field[Any]]] = {
        bool: fields.Boolean,
        int: fields.Integer,
        float: fields.Float,
        str: fields.String,
    }
    return plain[hint](validate=_validators(limits, hint), **options)


def _validators(limits: tuple[Any, ...], kind: type) -> list[Any]:
    found: list[Any] = []
    for limit in limits:
        if isinstance(limit, Length):
            found.append(validate.Length(limit.low, limit.high))
        elif isinstance(limit, Within) and kind is not list:
            found.append(validate.Range(limit.low, limit.high))
    return found
