"""A picture as the page takes it, on the stream or by single request.

4 bytes "tpm1", age in ms and length of the header as little-endian 32-bit numbers, the header as JSON, the JPEG.
"""

from struct import Struct

from shared.errors import Refused
from shared.frame_bus import BusPicture

_PREFIX = Struct("<4sII")
_MAGIC = b"tpm1"


def numbered_header(picture: BusPicture) -> bytes:
    """The writer's header, JSON, with the number of the publication in it. Raises Refused where it is no JSON object."""
    if not picture.header.startswith(b"{"):
        raise Refused("a picture's header is not a JSON object", picture.header[:80].decode(errors="replace"))
    comma = b"" if picture.header[1:].lstrip().startswith(b"}") else b","
    return b'{"publication":%d%s%s' % (picture.publication, comma, picture.header[1:])


def age_ms(published_ns: int, now_ns: int) -> int:
    """Whole milliseconds between two moments of one clock, as many as the message can hold."""
    return min(max(0, now_ns - published_ns) // 1_000_000, 0xFFFF_FFFF)


def prefix(age: int, header: bytes) -> bytes:
    """What stands before the header; ``age`` in ms."""
    return _PREFIX.pack(_MAGIC, age, len(header))
