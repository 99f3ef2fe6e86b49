"""One message, one JSON object, on a Unix socket: encoding shared by both protocols. Standard library only.

A message is a frozen dataclass; on the wire it is ``{"kind": "StepLight", "direction": "up"}``. What does not fit is refused
with the name of the key, as in settings.
"""

import json
from typing import Any, TypeVar

from shared.bounded import filled, plain
from shared.errors import Refused

LONGEST_MESSAGE_BYTES = 262_144

T = TypeVar("T")


def encoded(message: object) -> bytes:
    """JSON text of a message dataclass, without a line end."""
    return json.dumps(
        {"kind": type(message).__name__, **plain(message)}, separators=(",", ":"), allow_nan=False
    ).encode()


def decoded(data: bytes, kinds: dict[str, type[T]], longest_bytes: int = LONGEST_MESSAGE_BYTES) -> T:
    """Message dataclass of one of ``kinds`` (by class name); raises Refused for anything else."""
    if len(data) > longest_bytes:
        raise Refused("message too long", len(data), f"at most {longest_bytes} bytes")
    try:
        values: Any = json.loads(data)
    except (ValueError, RecursionError):
        raise Refused(
            "message is not JSON", data[:80].decode(errors="replace"), "send one JSON object a line"
        ) from None
    if not isinstance(values, dict):
        raise Refused("message is not a JSON object", str(values)[:80], "send one JSON object a line")
    kind = values.pop("kind", None)
    if not isinstance(kind, str) or kind not in kinds:
        raise Refused("unknown kind of message", kind, f"known: {', '.join(sorted(kinds))}")
    return filled(kinds[kind], values, kind)


def by_name(*kinds: type[T]) -> dict[str, type[T]]:
    """Table that ``decoded`` looks up."""
    return {kind.__name__: kind for kind in kinds}
